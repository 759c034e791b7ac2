import math
from uuid import UUID, uuid5

import pytest

from taskkit.errors import InputError
from taskkit.geometry.geodesy import area_m2, distance_m
from taskkit.geometry.headland_passes import Change
from taskkit.geometry.line import MetreLine, Part
from taskkit.geometry.plane import LocalPlane
from taskkit.headland import lay_out
from taskkit.plan.model import Boundary, Corner, Feature, Field, Headland, IslandHeadland, Side, SideHeadland

PLANE = LocalPlane(9.5, 54.0)
RECTANGLE = [(-200, -100), (200, -100), (200, 100), (-200, 100)]
HOLE = [(-10, -10), (10, -10), (10, 10), (-10, 10)]


def uuid(name):
    return uuid5(UUID(int=0), name)


def degrees(points):
    return PLANE.to_degrees(MetreLine(points))


def text(points):
    return ", ".join(f"{lon:.12f} {lat:.12f}" for lon, lat in degrees(points))


def corner(place):
    ((lon, lat),) = degrees([place])
    return Corner(lon_deg=lon, lat_deg=lat)


def feature(name, kind, place):
    return Feature(uuid=uuid(name), name=name, kind=kind, place=place)


def field(*rings, sides=(), features=()):
    outer, *holes = [degrees(ring) for ring in rings]
    outline = Boundary(uuid=uuid("outline"), parts=(Part(outer, holes),))
    return Field(uuid=uuid("field"), name="Long Acre", boundaries=(outline,), sides=sides, features=features)


def side(name, start, end):
    return Side(uuid=uuid(name), name=name, start=start, end=end)


def laid(land, headland, **how):
    return lay_out(land, boundary=land.boundary(), headland=headland, **how)


def metres(line):
    return [(round(x, 3) + 0.0, round(y, 3) + 0.0) for x, y in PLANE.to_plane(line)]


ROAD = side("road side", corner((-200, -100)), corner((200, -100)))


def test_a_field_is_divided_into_main_field_and_headland_on_the_ground():
    land = field(RECTANGLE)
    layout = laid(land, Headland(depth="2 passes"), spacing_m=6.0)

    ((main,), (rest,)) = layout.main_field, layout.headland
    assert sorted(metres(main.outer)) == [(-188, -88), (-188, 88), (188, -88), (188, 88)]
    assert [sorted(metres(ring))[0] for ring in rest.rings] == [(-200, -100), (-188, -88)]
    # At 200 m from the origin the plane is true to a tenth of a millimetre.
    assert layout.main_field_m2 == pytest.approx(376 * 176, rel=1e-7)
    assert layout.main_field_m2 + layout.headland_m2 == pytest.approx(area_m2(land.boundary().parts), rel=1e-9)
    assert (layout.passes_asked, layout.passes_that_fit, layout.changes) == (2, 2, ())


def test_headland_passes_lie_half_a_spacing_and_more_from_the_boundary():
    layout = laid(field(RECTANGLE), Headland(depth="12 m"), spacing_m=6.0)
    first, second = layout.passes
    assert (first.number, first.closed, second.number, second.closed) == (1, True, 2, True)
    assert sorted(metres(first.line))[0] == (-197, -97)
    ends = [tuple(point) for point in second.line.points[:2]]
    assert distance_m(ends[0], end=ends[1]) in (pytest.approx(382, abs=0.001), pytest.approx(182, abs=0.001))


def test_a_side_has_its_own_depth_and_passes_say_what_they_run_along():
    headland = Headland(depth="6 m", sides=(SideHeadland(side=ROAD.uuid, depth="none"),))
    layout = laid(field(RECTANGLE, sides=(ROAD,)), headland, spacing_m=6.0)
    assert sorted(metres(layout.main_field[0].outer))[0] == (-194, -100)
    assert [metres(one.line) for one in layout.passes] == [[(197, -100), (197, 97), (-197, 97), (-197, -100)]]
    assert [(s.first, s.part, s.side) for s in layout.passes[0].stretches] == [(0, 0, None)]


def test_passes_may_be_given_as_one_line_per_side():
    headland = Headland(depth="6 m", sides=(SideHeadland(side=ROAD.uuid, depth="6 m"),))
    land = field(RECTANGLE, sides=(ROAD,))
    (whole,) = laid(land, headland, spacing_m=6.0).passes
    lines = laid(land, headland, spacing_m=6.0, one_line_per_side=True).passes
    assert [s.side for s in whole.stretches].count(ROAD.uuid) == 1
    assert {one.stretches[0].side: (one.closed, len(one.line)) for one in lines} == {
        ROAD.uuid: (False, 2),
        None: (False, 4),
    }


def test_a_corner_may_be_a_point_feature():
    gate = feature("gate", "access", f"POINT ({text([(199, -101)])})")
    road = side("road side", corner((-200, -100)), Corner(point=gate.uuid))
    headland = Headland(depth="6 m", sides=(SideHeadland(side=road.uuid, depth="24 m"),))
    layout = laid(field(RECTANGLE, sides=(road,), features=(gate,)), headland)
    assert sorted(metres(layout.main_field[0].outer))[0] == (-194, -76)


def test_holes_and_features_are_islands():
    pole = feature("pole", "pole", f"POINT ({text([(100, 0)])})")
    pond = feature("pond", "water", f"POLYGON (({text([(-110, -5), (-90, -5), (-90, 5), (-110, 5), (-110, -5)])}))")
    islands = (
        IslandHeadland(hole=1, depth="none"),
        IslandHeadland(feature=pond.uuid, depth="3 m"),
        IslandHeadland(feature=pole.uuid, depth="1 pass"),
    )
    layout = laid(field(RECTANGLE, HOLE, features=(pole, pond)), Headland(depth="none", islands=islands), spacing_m=4.0)
    expected = 400 * 200 - 20 * 20 - math.pi * 16 - (20 * 10 + 2 * 30 * 3 + math.pi * 9)
    assert layout.main_field_m2 == pytest.approx(expected, abs=0.1)
    assert sorted((str(s.feature), s.part, s.hole) for p in layout.passes for s in p.stretches) == sorted(
        (str(f.uuid), None, None) for f in (pole, pond)
    )


def test_a_hole_has_the_depth_of_the_headland_where_nothing_else_is_said():
    layout = laid(field(RECTANGLE, HOLE), Headland(depth="6 m"), spacing_m=6.0)
    assert [[(s.part, s.hole) for s in one.stretches] for one in layout.passes] == [[(0, None)], [(0, 1)]]


def test_a_field_that_its_headland_uses_up_has_no_main_field_and_says_after_how_many_passes():
    layout = laid(field(RECTANGLE), Headland(depth="20 passes"), spacing_m=6.0)
    assert layout.main_field == ()
    assert layout.main_field_m2 == 0
    assert (layout.passes_asked, layout.passes_that_fit) == (20, 16)
    assert [change.change for change in layout.changes] == [Change.VANISHES]
    assert layout.headland_m2 == pytest.approx(80000, rel=1e-6)


def test_without_a_spacing_there_are_no_passes():
    layout = laid(field(RECTANGLE), Headland(depth="12 m"))
    assert (layout.passes, layout.passes_asked, layout.passes_that_fit) == ((), 0, 0)


def test_across_180_degrees_and_in_the_south_it_is_the_same():
    plane = LocalPlane(180.0, -45.0)
    outline = Boundary(uuid=uuid("outline"), parts=(Part(plane.to_degrees(MetreLine(RECTANGLE))),))
    land = Field(uuid=uuid("field"), name="Far Acre", boundaries=(outline,))
    layout = laid(land, Headland(depth="12 m"), spacing_m=6.0)
    assert layout.main_field_m2 == pytest.approx(376 * 176, rel=1e-6)
    assert {round(abs(lon)) for lon, _ in layout.main_field[0].outer} == {180}


BOW_TIE = [(-200, -100), (200, 100), (200, -100), (-200, 100)]
BELL = feature("bell", "obstacle", f"LINESTRING ({text([(0, 0), (9, 0)])})")
FAR = side("road side", Corner(lon_deg=-170.5, lat_deg=-54.0), corner((200, -100)))
ELSEWHERE = side("road side", corner((-200, -150)), corner((200, -100)))


@pytest.mark.parametrize(
    ("land", "headland", "message"),
    [
        (field(RECTANGLE), {"depth": "auto"}, "field Long Acre: the depth of the headland is left open (auto)"),
        (field(RECTANGLE), {"depth": "2 passes"}, "the depth of the headland is 2 passes, and no spacing is given"),
        (
            field(RECTANGLE, sides=(ROAD,)),
            {"depth": "6 m", "sides": (SideHeadland(side=ROAD.uuid, depth="auto"),)},
            "field Long Acre: the depth of side road side is left open",
        ),
        (
            field(RECTANGLE),
            {"depth": "6 m", "sides": (SideHeadland(side=ROAD.uuid, depth="3 m"),)},
            f"field Long Acre has no side {ROAD.uuid}",
        ),
        (
            field(RECTANGLE),
            {"depth": "6 m", "islands": (IslandHeadland(feature=BELL.uuid, depth="3 m"),)},
            f"field Long Acre has no feature {BELL.uuid}",
        ),
        (
            field(RECTANGLE),
            {"depth": "6 m", "islands": (IslandHeadland(hole=1, depth="3 m"),)},
            "field Long Acre: there is no hole 1: the outline has 0",
        ),
        (
            field(RECTANGLE, sides=(side("way", Corner(point=BELL.uuid), corner((0, 0))),), features=(BELL,)),
            {"depth": "6 m", "sides": (SideHeadland(side=uuid("way"), depth="3 m"),)},
            "field Long Acre: a corner of side way is a feature that is no point",
        ),
        (
            field(RECTANGLE, sides=(FAR,)),
            {"depth": "6 m", "sides": (SideHeadland(side=FAR.uuid, depth="3 m"),)},
            "the first corner of side road side lies nowhere near the outline",
        ),
        (
            field(RECTANGLE, sides=(ELSEWHERE,)),
            {"depth": "6 m", "sides": (SideHeadland(side=ELSEWHERE.uuid, depth="3 m"),)},
            "the first corner of side road side is 50.0 m from the nearest point of the outline",
        ),
        (field(BOW_TIE), {"depth": "6 m"}, "field Long Acre: part 1 of the outline is not sound"),
    ],
)
def test_what_cannot_be_laid_out_is_refused_in_words_that_name_the_field(land, headland, message):
    with pytest.raises(InputError) as refused:
        laid(land, Headland(**headland))
    assert message in str(refused.value)


def test_too_many_passes_are_refused_with_the_name_of_the_field():
    with pytest.raises(InputError, match="field Long Acre: 6000 headland passes are asked for"):
        laid(field(RECTANGLE), Headland(depth="6 m"), spacing_m=0.001)
