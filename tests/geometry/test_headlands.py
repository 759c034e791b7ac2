import math
from pathlib import Path

import counted
import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from taskkit.geometry import strips, wkb
from taskkit.geometry.depths import IslandDepth, SideDepth, edge_depths
from taskkit.geometry.headlands import headland, main_field, passes_asked, passes_that_fit
from taskkit.geometry.line import MetreLine
from taskkit.geometry.nearest import Unbounded
from taskkit.geometry.tolerances import DISTINCT_M, HEADLAND_LINE_M
from taskkit.gis.reading import read_areas

REFERENCE = Path(__file__).resolve().parents[1] / "reference"
RECTANGLE = [(0, 0), (400, 0), (400, 200), (0, 200)]
HOLED = [[(0, 0), (200, 0), (200, 100), (0, 100)], [(90, 40), (110, 40), (110, 60), (90, 60)]]
CORRIDOR = [
    *[(0, 0), (200, 0), (200, 90), (300, 90), (300, 0), (500, 0)],
    *[(500, 200), (300, 200), (300, 110), (200, 110), (200, 200), (0, 200)],
]
L_SHAPE = [(0, 0), (300, 0), (300, 100), (120, 100), (120, 240), (0, 240)]
SHAPES = {
    "rectangle": [RECTANGLE],
    "triangle": [[(0, 0), (300, 0), (0, 400)]],
    "hexagon": [[(100 * math.cos(n * math.pi / 3), 100 * math.sin(n * math.pi / 3)) for n in range(6)]],
    "pentagon": [[(0, 0), (300, 20), (340, 180), (120, 260), (-30, 120)]],
    "chamfered": [[(0, 0), (200, 0), (200, 90), (190, 100), (0, 100)]],
    "l-shape": [L_SHAPE],
    "corridor": [CORRIDOR],
    "holed": HOLED,
}


def part(*rings):
    return tuple(MetreLine(ring) for ring in rings)


def table(name):
    lines = (REFERENCE / name).read_text(encoding="utf-8").splitlines()
    return [line.split("\t") for line in lines if not line.startswith("#")][1:]


def assert_main_field_is_right(parts, edges, depth_m, main, step):
    """Judge each point of a raster, each corner of the main field, and points just beyond its edges."""
    points = counted.grid(parts, step)
    free = counted.clearance(points, edges, depth_m)
    truly = counted.inside(points, parts) & (free >= 0)
    doubtful = np.abs(free) <= 2 * HEADLAND_LINE_M
    # Where there is no headland, the edge of the outline is that of the main field.
    doubtful |= counted.distances(points, edges).min(axis=1) <= 1e-6
    assert (truly == counted.inside(points, main))[~doubtful].all()
    if not main:
        return
    lines = counted.edges_of(counted.rings_of(main))
    assert counted.clearance(lines[:, 0], edges, depth_m).min() >= -HEADLAND_LINE_M
    along = lines[:, 1] - lines[:, 0]
    length = np.hypot(*along.T)
    middle, out = lines.mean(axis=1), np.column_stack((along[:, 1], -along[:, 0])) / length[:, None]
    assert counted.clearance(middle, edges, depth_m).min() >= -HEADLAND_LINE_M
    beyond = (middle + 2.5 * HEADLAND_LINE_M * out)[length > 0.05]
    assert not (counted.inside(beyond, parts) & (counted.clearance(beyond, edges, depth_m) > 0)).any()


@pytest.mark.parametrize(("shape", "t_m", "area_m2", "parts", "holes"), table("insets.tsv"))
def test_main_fields_of_one_depth_have_the_area_of_the_closed_form(shape, t_m, area_m2, parts, holes):
    main = main_field(edge_depths([part(*SHAPES[shape])], depth_m=float(t_m)))

    # The length of all arcs, at most a circle for each reflex corner, times the error.
    slack = 1e-5 + 2 * math.pi * float(t_m) * HEADLAND_LINE_M
    assert counted.area_m2(main) == pytest.approx(float(area_m2), abs=slack)
    assert len(main) == int(parts)
    assert sum(len(rings) - 1 for rings in main) == int(holes)


@pytest.mark.parametrize(("shape", "passes", "spacing_m", "main_m2", "headland_m2", "_"), table("headlands.tsv"))
def test_main_field_and_headland_of_whole_passes_are_as_reckoned(shape, passes, spacing_m, main_m2, headland_m2, _):
    depths = edge_depths([part(*SHAPES[shape])], depth_m=int(passes) * float(spacing_m))
    main = main_field(depths)

    assert counted.area_m2(main) == pytest.approx(float(main_m2), abs=1e-4)
    assert counted.area_m2(headland(depths, main=main)) == pytest.approx(float(headland_m2), abs=1e-4)
    assert passes_that_fit(depths, spacing_m=float(spacing_m)) == int(passes)


def test_without_a_depth_the_whole_field_is_main_field():
    depths = edge_depths([part(*HOLED)], depth_m=0.0)
    main = main_field(depths)
    assert counted.area_m2(main) == pytest.approx(19600)
    assert headland(depths, main=main) == ()


def test_a_headland_has_the_main_field_as_its_hole_and_rings_that_run_round_their_ground():
    depths = edge_depths([part(RECTANGLE[::-1])], depth_m=12.0)
    (rings,) = headland(depths, main=main_field(depths))
    assert [sorted(ring)[0] for ring in rings] == [(0, 0), (12, 12)]
    x, y = rings[0].points.T
    assert (x * np.roll(y, -1) - np.roll(x, -1) * y).sum() > 0
    x, y = rings[1].points.T
    assert (x * np.roll(y, -1) - np.roll(x, -1) * y).sum() < 0


def test_a_side_without_headland_leaves_the_main_field_at_the_boundary():
    sides = [SideDepth((0, 0), (400, 0), 0.0)]
    depths = edge_depths([part(RECTANGLE)], depth_m=12.0, sides=sides)
    main = main_field(depths)
    assert [sorted(ring) for (ring,) in main] == [[(12, 0), (12, 188), (388, 0), (388, 188)]]
    assert counted.area_m2(headland(depths, main=main)) == pytest.approx(80000 - 376 * 188)


def test_a_strip_reaches_round_its_end_where_the_next_side_is_shallower():
    # The reflex corner of the L: the low side keeps 40 m, the one that goes up from it 10 m.
    sides = [SideDepth((300, 100), (120, 100), 40.0), SideDepth((120, 100), (120, 240), 10.0)]
    depths = edge_depths([part(L_SHAPE)], depth_m=0.0, sides=sides)
    # Round the corner a quarter of a disc of 40 m, and as much of the next one as the strip of 10 m leaves.
    cap = (10 * math.sqrt(40**2 - 10**2) + 40**2 * math.asin(10 / 40)) / 2
    expected = 46800 - (180 * 40 + math.pi * 40**2 / 2) - (140 * 10 - cap)
    assert counted.area_m2(main_field(depths)) == pytest.approx(expected, abs=math.pi * 40 * HEADLAND_LINE_M)


def test_a_deep_side_reaches_across_a_shallow_one_as_the_definition_says():
    # A notch 4 m wide: one of its edges keeps 24 m, the other none.
    notch = [(0, 0), (200, 0), (200, 100), (102, 100), (102, 50), (98, 50), (98, 100), (0, 100)]
    sides = [SideDepth((102, 100), (102, 50), 24.0)]
    depths = edge_depths([part(notch)], depth_m=0.0, sides=sides)
    depth_m = np.array([24.0 if tuple(e[0]) == (102, 100) else 0.0 for e in depths.edges])
    main = main_field(depths)
    assert_main_field_is_right([part(notch)], depths.edges, depth_m, main, 0.5)
    assert not counted.inside(np.array([(80.0, 75.0)]), main)[0]


def test_a_deep_side_reaches_into_another_part():
    west, east = part([(0, 0), (100, 0), (100, 100), (0, 100)]), part([(103, 0), (200, 0), (200, 100), (103, 100)])
    depths = edge_depths([west, east], depth_m=0.0, sides=[SideDepth((100, 0), (100, 100), 12.0)])
    main = main_field(depths)
    assert [sorted(ring)[0] for (ring,) in main] == [(0, 0), (112, 0)]
    assert counted.area_m2(main) == pytest.approx(8800 + 8800)


def test_a_deep_ring_reaches_into_another_part():
    west, east = part([(0, 0), (100, 0), (100, 100), (0, 100)]), part([(103, 0), (200, 0), (200, 100), (103, 100)])
    sides = [SideDepth((0, 0), (100, 100), 12.0), SideDepth((100, 100), (0, 0), 12.0)]
    main = main_field(edge_depths([west, east], depth_m=0.0, sides=sides))
    assert [sorted(ring)[0] for (ring,) in main] == [(12, 12), (112, 0)]


def test_islands_are_points_lines_and_areas_that_are_kept_clear_all_round():
    islands = [
        IslandDepth(MetreLine([(50, 50)]), 6.0, "pole"),
        IslandDepth(MetreLine([(150, 50), (250, 50), (250, 150)]), 6.0, "fence"),
        IslandDepth((part([(330, 80), (350, 80), (350, 120), (330, 120)]),), 6.0, "pond"),
    ]
    depths = edge_depths([part(RECTANGLE)], depth_m=0.0, islands=islands)
    main = main_field(depths)
    pole = math.pi * 36
    fence = 200 * 12 + math.pi * 36 - (36 - math.pi * 36 / 4)
    pond = 20 * 40 + 2 * (20 + 40) * 6 + math.pi * 36
    assert counted.area_m2(main) == pytest.approx(80000 - pole - fence - pond, abs=0.1)
    assert len(main[0]) == 4


def test_an_island_as_deep_as_the_boundary_is_kept_clear_too():
    islands = [IslandDepth((part([(330, 80), (350, 80), (350, 120), (330, 120)]),), 6.0, "pond")]
    main = main_field(edge_depths([part(RECTANGLE)], depth_m=6.0, islands=islands))
    pond = 20 * 40 + 2 * (20 + 40) * 6 + math.pi * 36
    assert counted.area_m2(main) == pytest.approx(388 * 188 - pond, abs=0.1)


def test_the_ground_of_an_island_is_no_main_field_even_where_passes_run_up_to_it():
    islands = [IslandDepth((part([(330, 80), (350, 80), (350, 120), (330, 120)]),), 0.0, "pond")]
    depths = edge_depths([part(RECTANGLE)], depth_m=0.0, islands=islands)
    main = main_field(depths)
    assert counted.area_m2(main) == pytest.approx(80000 - 800)
    assert counted.area_m2(headland(depths, main=main)) == pytest.approx(800)


def test_a_corner_that_stands_back_by_a_few_centimetres_counts():
    # Offsets of the polygon library pass over it: it stands back by less than a hundredth of the depth.
    ring = [(0, 0), (90, 0), (100, -0.2), (110, 0), (200, 0), (200, 100), (0, 100)]
    depths = edge_depths([part(ring)], depth_m=24.0)
    main = main_field(depths)
    assert_main_field_is_right([part(ring)], depths.edges, depths.depth_m, main, 0.5)
    assert min(y for _, y in main[0][0]) == pytest.approx(24 * math.hypot(1, 0.02) - 0.2, abs=HEADLAND_LINE_M)


@pytest.mark.parametrize(
    ("depth_m", "spacing_m", "asked"),
    [(0, 6, 0), (0.1, 6, 1), (5, 6, 1), (6, 6, 1), (6.001, 6, 2), (3 * 0.9144, 0.9144, 3), (20, 24, 1)],
)
def test_so_many_passes_are_asked_for_that_no_strip_is_left(depth_m, spacing_m, asked):
    assert passes_asked(np.array([depth_m]), spacing_m=spacing_m).tolist() == [asked]


@pytest.mark.parametrize("spacing_m", [0.0, -1.0, math.nan, math.inf])
def test_a_spacing_that_is_none_is_refused(spacing_m):
    with pytest.raises(ValueError, match="is not positive"):
        passes_asked(np.array([6.0]), spacing_m=spacing_m)


def test_as_many_passes_fit_as_leave_some_main_field():
    rectangle = [part(RECTANGLE)]
    assert passes_that_fit(edge_depths(rectangle, depth_m=600.0), spacing_m=6.0) == 16
    assert passes_that_fit(edge_depths(rectangle, depth_m=12.0), spacing_m=6.0) == 2
    assert passes_that_fit(edge_depths(rectangle, depth_m=0.0), spacing_m=6.0) == 0
    assert passes_that_fit(edge_depths(rectangle, depth_m=240.0), spacing_m=120.0) == 0
    # Passes along one side only: 200 m deep, and the last is cut to that.
    one = [SideDepth((0, 0), (400, 0), 190.0)]
    assert passes_that_fit(edge_depths(rectangle, depth_m=0.0, sides=one), spacing_m=6.0) == 32


def test_edges_among_which_the_nearest_cannot_be_found_in_time_are_refused(monkeypatch):
    def never(*_args, **_kwargs):
        raise Unbounded

    monkeypatch.setattr(strips.NearestEdge, "to", never)
    with pytest.raises(ValueError, match="would take minutes"):
        main_field(edge_depths([part(RECTANGLE)], depth_m=6.0))


@st.composite
def fields(draw):
    """A star with wild radii, perhaps with a hole; and a depth for each of its edges, in runs."""
    count = draw(st.integers(3, 14))
    radii = draw(st.lists(st.floats(30, 120), min_size=count, max_size=count))
    turns = [(n + draw(st.floats(0.1, 0.9))) * 2 * math.pi / count for n in range(count)]
    outer = [(r * math.cos(t), r * math.sin(t)) for r, t in zip(radii, turns, strict=True)]
    holes = [[(-5, -4), (6, -3), (0, 7)]] if draw(st.booleans()) else []
    breaks = sorted(draw(st.sets(st.integers(0, count - 1), min_size=2, max_size=4)))
    depth = st.sampled_from([0.0, 3.0, 6.5, 12.0, 24.0, 40.0])
    runs = [(a, b, draw(depth)) for a, b in zip(breaks, [*breaks[1:], breaks[0]], strict=True)]
    return outer, holes, runs, draw(depth)


@settings(max_examples=settings().max_examples // 2)
@given(fields())
def test_the_main_field_is_what_the_definition_says_point_by_point(field):
    outer, holes, runs, hole_depth_m = field
    outline = shapely.Polygon(outer, holes)
    assume(outline.is_valid and outline.exterior.is_ccw)
    sides = [SideDepth(outer[a], outer[b], depth_m) for a, b, depth_m in runs]
    depths = edge_depths([part(outer, *holes)], depth_m=0.0, sides=sides, holes={1: hole_depth_m} if holes else {})
    by_start = {}
    for first, last, depth_m in runs:
        for step in range((last - first) % len(outer)):
            by_start[outer[(first + step) % len(outer)]] = depth_m
    depth_m = np.array([by_start.get(tuple(start), hole_depth_m) for start in depths.edges[:, 0].tolist()])

    main = main_field(depths)

    assert_main_field_is_right([part(outer, *holes)], depths.edges, depth_m, main, 7.0)
    rest = headland(depths, main=main)
    assert counted.area_m2(main) + counted.area_m2(rest) == pytest.approx(outline.area, abs=1e-3)


@settings(max_examples=settings().max_examples // 4)
@given(fields(), st.floats(0, 20), st.floats(0, 20))
def test_a_deeper_headland_leaves_less(field, one, more):
    outer, holes, _, _ = field
    assume(shapely.Polygon(outer, holes).is_valid)
    wide, narrow = (main_field(edge_depths([part(outer, *holes)], depth_m=d)) for d in (one, one + more))
    corners = [ring.points for ring in counted.rings_of(narrow)]
    if not corners:
        return
    away = counted.distances(np.concatenate(corners), counted.edges_of(counted.rings_of(wide))).min(axis=1)
    inner = counted.inside(np.concatenate(corners), wide)
    assert (inner | (away <= 2 * HEADLAND_LINE_M)).all()


def rough_ring(count, noise_m):
    turn = np.arange(count) / count * 2 * np.pi
    radius = 300 * (1 + 0.3 * np.sin(3 * turn) + 0.1 * np.sin(11 * turn))
    radius = radius + noise_m * np.random.default_rng(1).normal(size=count)
    return np.column_stack((radius * np.cos(turn), radius * np.sin(turn)))


@pytest.mark.parametrize(("noise_m", "most_pieces"), [(0.0, 1.4), (0.02, 0.8), (0.3, 0.2)])
def test_a_ring_of_ten_thousand_points_is_put_together_from_few_pieces(monkeypatch, noise_m, most_pieces):
    class Enough(Exception):  # noqa: N818
        pass

    def counting(shapes, **_):
        if len(shapes) > 1:
            raise Enough(len(shapes), int(np.sum(shapely.get_num_coordinates(shapes))))
        return shapes[0]

    monkeypatch.setattr(strips.shapely, "union_all", counting)
    ring = rough_ring(10_000, noise_m)
    with pytest.raises(Enough) as found:
        main_field(edge_depths([part(ring)], depth_m=12.0))

    pieces, points = found.value.args
    assert pieces <= most_pieces * len(ring)
    assert points <= 7 * len(ring)


def test_points_of_a_fine_curve_are_passed_over_only_within_the_error():
    ring = rough_ring(600, 0.0)
    ((outer,),) = main_field(edge_depths([part(ring)], depth_m=12.0))
    places = np.concatenate((outer.points[::3], counted.edges_of([outer]).mean(axis=1)[::3]))
    least = counted.distances(places, counted.edges_of([ring])).min(axis=1)
    assert least == pytest.approx(12.0, abs=HEADLAND_LINE_M)


def test_the_main_field_of_a_rough_ring_of_ten_thousand_points_is_one_piece_at_its_distance():
    ring = rough_ring(10_000, 0.3)
    ((outer,),) = main_field(edge_depths([part(ring)], depth_m=12.0))
    least = counted.distances(outer.points[::100], counted.edges_of([ring])).min(axis=1)
    assert least == pytest.approx(12.0, abs=HEADLAND_LINE_M)


def real_fields(file):
    """The areas of a file in metres of its own grid, each as its parts, near the origin."""
    areas = wkb.read_areas(read_areas(file).shapes)
    middle = areas.xy.mean(axis=0)
    # Degrees are only how the parts are carried here: a millionth of a degree stands for a metre.
    for parts in areas.parts((areas.xy - middle) / 1e6):
        metres = [[ring.points * 1e6 for ring in p.rings] for p in parts]
        corner = metres[0][0][0]
        yield [tuple(MetreLine(ring - corner) for ring in rings) for rings in metres]


# Crop parcels of the Netherlands 2023 (CC0 1.0, RVO), fields of Denmark 2026 (CC0 1.0, Danish Agricultural Agency),
# parcels of Sweden 2023 (CC0 1.0, Swedish Board of Agriculture), field blocks of Schleswig-Holstein 2026
# (DL-DE-Zero 2.0, Land Schleswig-Holstein).
@pytest.mark.parametrize("file", ["nl.gpkg", "dk.zip", "se.zip", "de_sh.gpkg.zip"])
def test_real_boundaries_are_main_field_and_headland_and_nothing_else(shared_data, file, long):
    counted_ones = 0
    for number, parts in enumerate(real_fields(shared_data / file)):
        if not long and number % 20:
            continue
        before = counted.area_m2(parts)
        for depth_m in (6.0, 12.0, 24.0):
            depths = edge_depths(parts, depth_m=depth_m)
            main = main_field(depths)
            inner = counted.area_m2(main)
            assert inner + counted.area_m2(headland(depths, main=main)) == pytest.approx(
                counted.area_m2(parts), rel=1e-9, abs=1e-6
            )
            assert inner <= before + 1e-6
            before = inner
            if counted_ones < (20 if long else 1) and 5_000 < inner < 40_000:
                counted_ones += 1
                step = 0.5
                points = counted.grid(parts, step)
                kept = counted.inside(points, parts)
                kept[kept] &= (
                    counted.clearance(points[kept], depths.edges, np.zeros(len(depths.edges)) + 1e-9) >= depth_m
                )
                rim = sum(counted.length_m(ring, closed=True) for ring in counted.rings_of(main))
                # Each square that the line crosses is off by half of it at random, three times their root.
                assert kept.sum() * step**2 == pytest.approx(inner, abs=3 * step**2 * math.sqrt(rim / step))


@pytest.mark.parametrize("depth_m", [3.0, 12.0, 24.0])
def test_no_point_of_main_field_and_headland_repeats_the_one_before_it(depth_m):
    # Corners that bend a little inward and outward by turns: arcs of a fraction of a millimetre, and seams.
    way = [(100 * math.cos(a) * (1 + r), 60 * math.sin(a) * (1 + r)) for a, r in WAVY]
    depths = edge_depths([part(way, [(-10, -10), (10, -10), (10, 10), (-10, 10)])], depth_m=depth_m)

    main = main_field(depths)
    rest = headland(depths, main=main)

    assert main
    for ring in (ring for area in (*main, *rest) for ring in area):
        assert np.hypot(*(ring.points - np.roll(ring.points, 1, axis=0)).T).min() > DISTINCT_M


WAVY = [(n * math.pi / 30, 0.0005 * (n % 3)) for n in range(60)]


def test_a_ring_without_extent_is_left_out():
    speck = [(50, 50), (50.0001, 50), (50.0001, 50.0001)]
    field = shapely.Polygon(RECTANGLE, [speck, [(90, 40), (110, 40), (110, 60)]])

    ((outer, hole),) = strips.metre_parts([shapely.Polygon(speck), field])

    assert (len(outer), len(hole)) == (4, 3)


def test_points_too_near_to_the_last_kept_or_to_the_first_are_one():
    ring = [(0, 0), (0.0002, 0), (0.0004, 0), (9, 0), (9, 9), (0, 9), (0, 0.0002), (0, 0.0001)]

    ((outer,),) = strips.metre_parts([shapely.Polygon(ring)])

    assert outer.points.tolist() == [[0, 0], [0.0004, 0], [9, 0], [9, 9], [0, 9]]
