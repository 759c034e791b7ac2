"""Two plans held against each other."""

import dataclasses
import importlib.util
import json
import math
from pathlib import Path
from uuid import UUID

import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st

from taskkit.compare import Comparison, compare_plans
from taskkit.geometry.geodesy import destination
from taskkit.geometry.line import LonLatLine, Part
from taskkit.plan.leaves import changed, leaf_paths, leaves
from taskkit.plan.model import Action, DepthWord, Passes, Place, Plan, Position, Purpose, Step, StraightLine, TurnSide
from taskkit.plan.quantities import Area, Length, Speed


def _from_plan_room(name: str):
    spec = importlib.util.spec_from_file_location(name, Path(__file__).parents[1] / "plan" / f"{name}.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


plans, others = _from_plan_room("plans"), _from_plan_room("others")

PLAN: Plan = plans.small_plan()
FIELD, LINE, BOUNDARY = PLAN.fields[0], PLAN.fields[0].lines[0], PLAN.fields[0].boundaries[0]
SQUARE = BOUNDARY.parts[0]


def with_leaf(path: str, value, plan=PLAN, *, of=None, ordinal=()):
    leaf = next(x for x in leaves(plan) if x.path == path and x.ordinal == ordinal and of in (None, x.owner))
    return changed(plan, leaf, value)


def with_parts(*parts: Part) -> Plan:
    return with_leaf("fields.boundaries.parts", parts)


def with_members(item, **members):
    return item.model_copy(update=members)


def told(plan: Plan, **options):
    return [(d.kind, d.where, d.what, d.a, d.b) for d in compare_plans(PLAN, plan, **options).differences]


def kinds(plan: Plan, **options):
    return [d.kind for d in compare_plans(PLAN, plan, **options).differences]


def moved_ring(ring: LonLatLine, number: int, azimuth: float, metres: float) -> LonLatLine:
    points = ring.points.copy()
    points[number] = destination(tuple(points[number].tolist()), azimuth_deg=azimuth, distance_m=metres)
    return LonLatLine(points)


def test_a_plan_equals_itself():
    same = compare_plans(PLAN, plans.small_plan())

    assert same == Comparison((), None, 0.0)
    assert (same.equal, same.largest_move_mm) == (True, 0.0)


def test_a_boundary_point_moved_one_metre_north_is_told_with_direction_and_place():
    found = compare_plans(PLAN, with_parts(Part(moved_ring(SQUARE.outer, 2, 0, 1.0), SQUARE.holes)))

    (difference,) = found.differences
    assert (difference.kind, difference.where) == ("moved", "field Long Acre, worked boundary 2026: parts")
    assert difference.what == (
        "point 3 of the outer ring moved 1000.0 mm to the north (0 degrees), no other point of it farther"
    )
    assert found.largest_move_mm == pytest.approx(1000, abs=0.01)
    assert found.largest_move.where == difference.where
    assert (found.largest_move.lon_deg, found.largest_move.lat_deg) == (9.502, 54.001)
    # The outline moves less than its corner does: the distance to the moved edge.
    assert 990 < found.hausdorff_mm <= 1000.01


@pytest.mark.parametrize(("azimuth", "wind"), [(22, "north"), (90, "east"), (225, "south-west"), (350, "north")])
def test_the_direction_is_told_as_a_wind_too(azimuth, wind):
    ((_, _, what, _, _),) = told(with_parts(Part(moved_ring(SQUARE.outer, 0, azimuth, 0.5), SQUARE.holes)))

    assert f"500.0 mm to the {wind} ({azimuth} degrees)" in what


def test_the_length_and_direction_of_a_move_are_those_of_the_geodesic():
    b = Position(lon_deg=9.5021, lat_deg=54.0003)
    found = compare_plans(PLAN, with_leaf("fields.lines.b.lon_deg", 9.5021))
    found_both = compare_plans(PLAN, changed_line(b=b))

    # geographiclib 2 (C. F. F. Karney), an implementation of its own.
    for one, end in ((found, (54.0, 9.5021)), (found_both, (54.0003, 9.5021))):
        expected = Geodesic.WGS84.Inverse(54.0, 9.502, *end)
        assert one.largest_move.distance_mm == pytest.approx(expected["s12"] * 1000, abs=0.001)
        assert one.largest_move.azimuth_deg == pytest.approx(expected["azi1"], abs=1e-6)


def changed_line(**members) -> Plan:
    line = with_members(LINE, **members)
    return with_members(PLAN, fields=(with_members(FIELD, lines=(line, *FIELD.lines[1:])), *PLAN.fields[1:]))


def test_exchanged_ends_of_a_line_are_two_moves():
    found = told(changed_line(a=LINE.b, b=LINE.a))

    assert [(kind, where[-3:]) for kind, where, *_ in found] == [("moved", ", A"), ("moved", ", B")]
    assert "to the east (90 degrees)" in found[0][2]
    assert found[0][3:] == ("9.500000000 54.000000000", "9.502000000 54.000000000")


def test_a_move_within_the_tolerance_is_no_difference_but_is_told():
    plan = with_parts(Part(moved_ring(SQUARE.outer, 1, 120, 0.0009), SQUARE.holes))

    within, beyond = compare_plans(PLAN, plan), compare_plans(PLAN, plan, tolerance_mm=0.5)
    assert (within.equal, beyond.equal) == (True, False)
    assert within.largest_move_mm == beyond.largest_move_mm == pytest.approx(0.9, abs=0.001)
    assert 0.5 < within.hausdorff_mm < 0.91


def test_the_largest_of_all_moves_is_the_one_that_is_told():
    plan = with_parts(Part(moved_ring(moved_ring(SQUARE.outer, 1, 0, 0.3), 3, 180, 0.7), SQUARE.holes))
    plan = with_leaf("fields.lines.a.lat_deg", 54.000005, plan)

    found = compare_plans(PLAN, plan)
    assert (found.largest_move_mm, found.largest_move.azimuth_deg) == pytest.approx((700, 180), abs=0.01)
    assert [d.kind for d in found.differences] == ["moved", "moved"]


@pytest.mark.parametrize(
    "parts",
    [
        (Part(LonLatLine(SQUARE.outer.points[[2, 3, 0, 1]]), SQUARE.holes),),
        (Part(LonLatLine(SQUARE.outer.points[::-1]), SQUARE.holes),),
        (Part(LonLatLine(SQUARE.outer.points[[0, 1, 2, 3, 0]]), SQUARE.holes),),
    ],
    ids=["started elsewhere", "reversed", "closed"],
)
def test_other_ways_to_write_a_ring_are_no_difference(parts):
    assert compare_plans(PLAN, with_parts(*parts)).equal


def test_a_hole_that_went_and_a_part_that_came_are_told():
    further = Part(LonLatLine([(9.51, 54.0), (9.511, 54.0), (9.511, 54.001)]))
    found = told(with_parts(Part(SQUARE.outer), further))

    assert [(kind, what) for kind, _, what, *_ in found] == [
        ("missing", "A has the hole 1, B lacks it"),
        ("added", "B has the outer ring of part 2, A lacks it"),
    ]


def test_points_that_came_and_went_are_counted():
    points = SQUARE.outer.points
    more = LonLatLine([points[0], points[1], points[2], (9.501, 54.00105), points[3]])
    ((kind, _, what, a, b),) = told(with_parts(Part(more, SQUARE.holes)))
    fewer = compare_plans(with_parts(Part(more, SQUARE.holes)), PLAN)

    assert (kind, what, a, b) == ("points", "only B has 1 point of the outer ring", 0, 1)
    assert [(d.kind, d.what, d.a, d.b) for d in fewer.differences] == [
        ("points", "only A has 1 point of the outer ring", 1, 0)
    ]


def test_an_outline_too_tangled_to_tell_leaves_the_distance_out(monkeypatch):
    found = compare_plans(PLAN, PLAN)
    assert found.hausdorff_mm == 0
    real = compare_plans.__globals__["Ground"].compare_areas.__globals__["compare_outlines"]
    unable = lambda a, b: dataclasses.replace(real(a, b), hausdorff_mm=None)  # noqa: E731
    monkeypatch.setattr("taskkit.compare.places.compare_outlines", unable)

    assert compare_plans(PLAN, with_parts(Part(SQUARE.outer))).hausdorff_mm is None


def test_an_object_of_the_same_uuid_and_another_name_was_renamed():
    assert told(with_leaf("farms.name", "Hill Farm")) == [
        ("renamed", "farm Home Farm: name", "'Home Farm' in A, 'Hill Farm' in B", "Home Farm", "Hill Farm")
    ]


def test_an_object_of_the_same_name_and_another_uuid_has_another_identity_and_references_follow():
    found = told(with_leaf("customers.uuid", UUID(int=77)))

    assert [(kind, where) for kind, where, *_ in found] == [("identity", "customer Estate: uuid")]


def test_twins_by_name_are_matched_in_order():
    twins = [with_members(PLAN.farms[0], uuid=UUID(int=n), city=city) for n, city in ((50, "North"), (51, "South"))]
    others = [with_members(twin, uuid=UUID(int=twin.uuid.int + 10)) for twin in twins]
    fields = tuple(with_members(field, farm=None) for field in PLAN.fields)
    a, b = (with_members(PLAN, farms=tuple(farms), fields=fields) for farms in (twins, others))

    assert {d.kind for d in compare_plans(a, b).differences} == {"identity"}


def test_a_boundary_is_known_by_purpose_and_season():
    boundary = with_members(BOUNDARY, uuid=UUID(int=99))
    plan = with_members(PLAN, fields=(with_members(FIELD, boundaries=(FIELD.boundaries[1], boundary)), PLAN.fields[1]))

    assert kinds(plan) == ["identity"]
    assert kinds(with_leaf("fields.boundaries.purpose", Purpose.PHYSICAL)) == ["value"]


def test_what_one_plan_lacks_is_told_once_for_each_object():
    plan = with_members(PLAN, fields=(with_members(FIELD, lines=FIELD.lines[1:]),))

    assert told(plan) == [
        ("missing", "field Long Acre, line Along the lane", "A has it, B lacks it", "line Along the lane", None),
        ("missing", "field Pond Close", "A has it, B lacks it", "field Pond Close", None),
    ]
    assert [(d.kind, d.a, d.b) for d in compare_plans(plan, PLAN).differences] == [
        ("added", None, "line Along the lane"),
        ("added", None, "field Pond Close"),
    ]


def test_references_are_told_by_name():
    assert told(with_leaf("fields.row_end", None)) == [
        ("value", "field Long Acre: row end", "'Drill' in A, nothing in B", "Drill", None)
    ]


def test_steps_of_a_sequence_are_compared_by_their_place():
    row_end = PLAN.row_end_plans[0]
    step = Step(action=Action.NOTE, at=Length("3 m"), reference="tool", text="Fold")
    more = with_members(PLAN, row_end_plans=(with_members(row_end, leaving=(*row_end.leaving, step)),))
    fewer = with_members(PLAN, row_end_plans=(with_members(row_end, leaving=row_end.leaving[:1]),))

    assert told(more) == [
        ("added", "row-end plan Drill, leaving, step 3", "B has it, A lacks it", None,
         "row-end plan Drill, leaving, step 3"),
    ]  # fmt: skip
    assert [(kind, where) for kind, where, *_ in told(fewer)] == [("missing", "row-end plan Drill, leaving, step 2")]
    assert kinds(fewer, explained=lambda path, owner: path.startswith("row_end_plans.leaving.")) == []


@pytest.mark.parametrize(
    ("path", "value", "shown"),
    [
        ("fields.declared_area", Area("2 ha"), ("1.2 ha", "2 ha")),
        ("row_end_plans.side", TurnSide.LEFT, ("right", "left")),
        ("row_end_plans.skip", 2, (1, 2)),
        ("fields.code", None, ("007", None)),
        ("steering_frame", "unknown", ("ETRS89", "unknown")),
    ],
)
def test_values_are_shown_as_they_are_written(path, value, shown):
    ((kind, _, _, a, b),) = told(with_leaf(path, value))

    assert (kind, a, b) == ("value", *shown)


def test_dates_are_shown_as_year_month_day():
    ((_, _, what, a, b),) = told(with_leaf("fields.boundaries.date", None, of=BOUNDARY.uuid))

    assert (what, a, b) == ("2026-03-31 in A, nothing in B", "2026-03-31", None)


def test_quantities_are_compared_by_what_they_measure():
    assert compare_plans(PLAN, with_leaf("fields.lines.spacing", Length("300 cm"))).equal
    assert compare_plans(PLAN, with_leaf("fields.declared_area", Area("12000 m2"))).equal
    assert kinds(with_leaf("row_end_plans.leaving.speed", Speed("5 mph"), ordinal=(1,))) == ["value"]


@pytest.mark.parametrize(("spacing", "equal"), [("3.001 m", True), ("2.999 m", True), ("3.0011 m", False)])
def test_lengths_may_differ_by_the_tolerance(spacing, equal):
    assert compare_plans(PLAN, with_leaf("fields.lines.spacing", Length(spacing))).equal is equal


@pytest.mark.parametrize("tolerance", [-1, float("nan")])
def test_a_tolerance_has_to_be_a_length(tolerance):
    with pytest.raises(ValueError, match="a tolerance cannot be"):
        compare_plans(PLAN, PLAN, tolerance_mm=tolerance)


def test_what_is_explained_is_left_out_and_asked_by_the_owner_in_a():
    asked = set()

    def explained(path, owner):
        asked.add((path, owner))
        return path in ("name", "fields.lines.spacing", "fields.boundaries.parts")

    plan = with_leaf("name", "Other", with_leaf("fields.lines.spacing", Length("4 m")))
    plan = with_leaf("fields.boundaries.parts", (Part(moved_ring(SQUARE.outer, 0, 0, 9)),), plan)

    found = compare_plans(PLAN, plan, explained=explained)
    assert (found.equal, found.largest_move_mm) == (True, 0)
    assert ("fields.lines.spacing", LINE.uuid) in asked


def test_an_explained_place_leaves_the_largest_move_alone():
    plan = with_leaf("fields.lines.a.lat_deg", 54.01)

    assert compare_plans(PLAN, plan, explained=lambda path, _: ".a." in path).largest_move is None
    assert kinds(plan, explained=lambda path, _: path.endswith("a.lon_deg")) == ["moved"]


def test_an_object_is_left_out_where_all_its_values_are_explained():
    plan = with_members(PLAN, fields=(with_members(FIELD, boundaries=FIELD.boundaries[:1]), PLAN.fields[1]))
    official = FIELD.boundaries[1].uuid

    assert kinds(plan) == ["missing"]
    assert kinds(plan, explained=lambda path, owner: owner == official) == []
    assert kinds(plan, explained=lambda path, owner: owner == official and path != "fields.boundaries.parts") == [
        "missing"
    ]


def test_an_object_is_told_where_only_something_in_it_is_not_explained():
    plan = with_members(PLAN, fields=PLAN.fields[1:])

    assert kinds(plan, explained=lambda path, owner: path != "fields.lines.name") == ["missing"]
    assert kinds(plan, explained=lambda path, owner: True) == []


def test_every_leaf_counts():
    tried = set()
    for leaf in leaves(PLAN):
        if leaf.value in (None, ()) or (leaf.path.endswith("ing.action") and leaf.value in others.WITH_ARGUMENT):
            continue
        is_reference = isinstance(leaf.value, UUID) and not leaf.path.endswith("uuid")
        try:
            value = UUID(int=10**15) if is_reference else others.another(PLAN, leaf)
        except LookupError:
            assert leaf.path.endswith("lines.kind")
            continue

        assert len(compare_plans(PLAN, changed(PLAN, leaf, value)).differences) == 1, leaf.label
        tried.add(leaf.path)
    # What the small plan has no value for.
    assert len(set(leaf_paths()) - tried) < 10


@pytest.mark.parametrize("heading_deg", [359.9999999, 0.0000001, 360.0])
def test_headings_are_compared_round_the_circle(heading_deg):
    north = with_leaf("fields.lines.sector.start_heading_deg", heading_deg)

    assert compare_plans(PLAN, north).equal
    assert kinds(with_leaf("fields.lines.sector.start_heading_deg", 359.9)) == ["value"]


def line_of_kind(kind):
    return next(line for line in FIELD.lines if line.kind == kind)


def test_a_heading_may_differ_by_what_moves_a_kilometre_by_the_tolerance():
    heading = line_of_kind("A + heading").heading_deg
    degrees_per_mm = math.degrees(1e-6)
    plan = with_leaf("fields.lines.heading_deg", heading + 0.9 * degrees_per_mm)

    assert compare_plans(PLAN, plan).equal
    assert not compare_plans(PLAN, plan, tolerance_mm=0.8).equal


def with_path(*points):
    return with_leaf("fields.lines.path", LonLatLine(points), of=line_of_kind("curve").uuid)


PATH = [(9.5, 54.0), (9.501, 54.0002), (9.502, 54.0)]


def test_a_moved_point_of_a_curve_is_told_with_its_number():
    found = told(with_path(PATH[0], (9.501, 54.0003), PATH[2]))

    # One ten-thousandth of a degree of latitude at 54 degrees: 11.13 m (geographiclib agrees).
    length_mm = Geodesic.WGS84.Inverse(54.0002, 9.501, 54.0003, 9.501)["s12"] * 1000
    assert found[0][:3] == (
        "moved",
        "field Long Acre, line Brook: path",
        f"point 2 of the line moved {length_mm:.1f} mm to the north (0 degrees), no other point of it farther",
    )
    assert len(found) == 1


def test_points_of_a_curve_that_came_and_went_are_counted():
    assert [(d[0], d[2]) for d in told(with_path(PATH[0], PATH[2]))] == [("points", "only A has 1 point of the line")]
    more = with_path(*PATH, (9.503, 54.0))
    assert [(d[0], d[2]) for d in told(more)] == [("points", "only B has 1 point of the line")]
    # The new point lies 65.6 m beyond the end (0.001 degrees of longitude at latitude 54, geographiclib).
    beyond_mm = Geodesic.WGS84.Inverse(54, 9.502, 54, 9.503)["s12"] * 1000
    assert compare_plans(PLAN, more).hausdorff_mm == pytest.approx(beyond_mm, abs=0.01)


def test_a_curve_that_runs_the_other_way_is_one_difference():
    assert [(d[0], d[2]) for d in told(with_path(*PATH[::-1]))] == [("value", "B runs the other way")]


def test_another_kind_of_line_is_one_difference_in_words():
    line = line_of_kind("pivot")
    common = {name: getattr(line, name) for name in type(line).model_fields if name in StraightLine.model_fields}
    straight = StraightLine(**{**common, "kind": "straight", "a": line.centre, "b": LINE.b})
    lines = tuple(straight if one is line else one for one in FIELD.lines)
    plan = with_members(PLAN, fields=(with_members(FIELD, lines=lines), *PLAN.fields[1:]))

    assert told(plan) == [
        ("value", "field Long Acre, line Round: kind", "pivot in A, straight in B", "pivot", "straight")
    ]
    assert [d.what for d in compare_plans(plan, PLAN).differences] == ["straight in A, pivot in B"]


def test_features_are_compared_where_they_lie():
    gate, pond = FIELD.features
    moved = with_leaf("fields.features.place", Place(LonLatLine([(9.502, 54.0001)])), of=gate.uuid)
    assert [(d[0], d[1]) for d in told(moved)] == [("moved", "field Long Acre, feature Gate: place")]

    other = with_leaf("fields.features.place", Place((Part(SQUARE.outer),)), of=pond.uuid)
    assert [(d[0], d[2]) for d in told(other)] == [("missing", "A has the hole 1, B lacks it")]

    point = with_leaf("fields.features.place", gate.place, of=pond.uuid)
    assert [d[2] for d in told(point)] == ["an area in A, a point in B"]


def test_a_corner_that_became_a_feature_is_told_as_place_and_as_point():
    side = FIELD.sides[0]
    gate = side.model_copy(update={"start": side.end})
    plan = with_members(PLAN, fields=(with_members(FIELD, sides=(gate,)), *PLAN.fields[1:]))

    assert [(d[1], d[2]) for d in told(plan)] == [
        ("field Long Acre, side Lane, from", "9.500000000 54.000000000 in A, nothing in B"),
        ("field Long Acre, side Lane, from: point", "nothing in A, 'Gate' in B"),
    ]


def test_depths_of_other_sorts_differ():
    for depth in (Passes(3), DepthWord.AUTO, Length("12.0011 m")):
        ((kind, _, what, _, _),) = told(with_leaf("fields.headland.depth", depth))
        assert (kind, what) == ("value", f"12 m in A, {depth} in B")
    assert compare_plans(PLAN, with_leaf("fields.headland.depth", Length("12.0009 m"))).equal


def test_areas_and_shared_fields_are_shown_in_words():
    limit = with_leaf("fields.lines.limit", None, of=LINE.uuid)
    fields = with_leaf("shared_lines.fields", (FIELD.uuid,), of=PLAN.shared_lines[0].uuid)

    assert told(limit)[0][2] == "an area of 1 part in A, nothing in B"
    assert told(fields)[0][2] == "Long Acre, Pond Close in A, Long Acre in B"


def test_the_result_can_be_written_as_json():
    found = compare_plans(PLAN, with_parts(Part(moved_ring(SQUARE.outer, 2, 0, 1.0))))

    facts = json.loads(json.dumps(dataclasses.asdict(found)))
    assert facts["common_shift"] is None
    assert set(facts["differences"][0]) == {"kind", "what", "where", "a", "b"}


MIRROR = {"missing": "added", "added": "missing"}


def mirrored(comparison: Comparison):
    return sorted(
        (MIRROR.get(d.kind, d.kind), d.kind == "moved" or (str(d.b), str(d.a))) for d in comparison.differences
    )


def plain(comparison: Comparison):
    return sorted((d.kind, d.kind == "moved" or (str(d.a), str(d.b))) for d in comparison.differences)


@given(plans.plans())
@settings(max_examples=40)
def test_any_plan_equals_itself(plan):
    found = compare_plans(plan, plan)

    assert found.equal
    assert found.largest_move is None


@given(plans.plans(), plans.plans())
@settings(max_examples=40)
def test_what_a_has_beyond_b_is_what_b_lacks_of_a(a, b):
    there, back = compare_plans(a, b), compare_plans(b, a)

    assert plain(there) == mirrored(back)
    assert there.equal == back.equal


@given(st.integers(0, 3), st.floats(0, 359), st.floats(0.002, 2), st.sampled_from([1, 10, 500, 2500]))
def test_a_moved_corner_is_told_alike_from_both_sides(number, azimuth, metres, tolerance):
    plan = with_parts(Part(moved_ring(SQUARE.outer, number, azimuth, metres), SQUARE.holes))
    there, back = (compare_plans(*pair, tolerance_mm=tolerance) for pair in ((PLAN, plan), (plan, PLAN)))

    assert there.equal == back.equal == (there.largest_move_mm <= tolerance)
    assert there.largest_move_mm == pytest.approx(metres * 1000, abs=0.01)
    assert back.largest_move_mm == pytest.approx(there.largest_move_mm, abs=1e-3)
    assert abs(back.largest_move.azimuth_deg - there.largest_move.azimuth_deg) == pytest.approx(180, abs=0.01)
    assert back.hausdorff_mm == pytest.approx(there.hausdorff_mm, abs=0.02)


def test_the_heading_of_a_sector_may_differ_by_what_moves_its_end_by_the_tolerance():
    pivot = line_of_kind("pivot")
    degrees_per_mm = math.degrees(1e-3 / pivot.radius.metres)
    start = pivot.sector.start_heading_deg

    assert compare_plans(PLAN, with_leaf("fields.lines.sector.start_heading_deg", start + 0.9 * degrees_per_mm)).equal
    assert kinds(with_leaf("fields.lines.sector.start_heading_deg", start + 1.1 * degrees_per_mm)) == ["value"]
