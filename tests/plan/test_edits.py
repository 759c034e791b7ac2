"""Named changes of a plan: outlines moved outward, lines made longer, with their provenance and nothing else."""

from __future__ import annotations

import datetime
import difflib
from pathlib import Path

import pytest
from geographiclib.geodesic import Geodesic

from taskkit.errors import InputError, RefusedError
from taskkit.geometry.geodesy import area_m2
from taskkit.geometry.line import LonLatLine, Part
from taskkit.plan.edits import Why, extend_lines, former_kept, move_outline
from taskkit.plan.files import load_plan, rewrite
from taskkit.plan.model import (
    BoundaryChoice,
    CurvedLine,
    Field,
    HeadingLine,
    Plan,
    Position,
    Purpose,
    Recorded,
    StraightLine,
)
from taskkit.plan.quantities import Length
from taskkit.plan.selectors import selected

SAMPLE = Path(__file__).resolve().parents[2] / "samples" / "larkmoor" / "plan.yaml"
TODAY = datetime.date(2026, 11, 25)
GEODESIC = Geodesic.WGS84


@pytest.fixture(scope="module")
def plan() -> Plan:
    return load_plan(SAMPLE)


def named(plan: Plan, name: str) -> Field:
    return next(field for field in plan.fields if field.name == name)


def moved(plan: Plan, name: str, by: str, **options: BoundaryChoice) -> Field:
    new, _ = move_outline(plan, named(plan, name), by=Length(by), on=TODAY, **options)
    return named(new, name)


def changed_lines(plan: Plan, new: Plan) -> list[str]:
    text = SAMPLE.read_text("utf-8")
    both = (text.splitlines(), rewrite(text, plan, new, path=SAMPLE).splitlines())
    return [line for line in difflib.ndiff(*both) if line[:2] in ("+ ", "- ")]


def with_outline(plan: Plan, name: str, **update: object) -> Plan:
    field = named(plan, name)
    outline = field.boundaries[0].model_copy(update=update)
    return with_field(plan, name, boundaries=(outline, *field.boundaries[1:]))


def with_field(plan: Plan, name: str, **update: object) -> Plan:
    new = named(plan, name).model_copy(update=update)
    return plan.model_copy(update={"fields": tuple(new if f.name == name else f for f in plan.fields)})


def test_a_driven_outline_moves_to_the_edge_and_says_so(plan: Plan) -> None:
    new, done = move_outline(plan, named(plan, "Skew Piece"), by=Length("5 ft"), on=TODAY)

    outline = named(new, "Skew Piece").boundaries[0]
    # A rectangle of 400 m by 300 m, 1.524 m wider on each side.
    assert done.area_after_m2 == pytest.approx((400 + 2 * 1.524) * (300 + 2 * 1.524), rel=1e-5)
    assert done.area_after_m2 == pytest.approx(area_m2(outline.parts))
    assert outline.offset == Length("5 ft")
    assert outline.method == "driven with the 3 m drill; moved outward by 5 ft on 2026-11-25"
    old = named(plan, "Skew Piece").boundaries[0]
    kept = {name for name in type(old).model_fields if getattr(old, name) == getattr(outline, name)}
    assert set(type(old).model_fields) - kept == {"parts", "offset", "method"}


def test_moves_add_up(plan: Plan) -> None:
    new, _ = move_outline(plan, named(plan, "River Bend"), by=Length("1 m"), on=TODAY)

    assert named(new, "River Bend").boundaries[0].offset == Length("2.524 m")


def test_a_rewrite_for_it_changes_no_other_line(plan: Plan) -> None:
    new, _ = move_outline(plan, named(plan, "Skew Piece"), by=Length("5 ft"), on=TODAY)

    keys = {line[1:].split(":")[0].strip() for line in changed_lines(plan, new) if ":" in line}
    assert keys == {"area", "method", "offset", "to"}


def test_corners_of_sides_go_along(plan: Plan) -> None:
    field = moved(plan, "Skew Piece", "5 ft")

    corners = {tuple(place) for place in field.boundaries[0].parts[0].outer}
    assert (field.sides[0].end.lon_deg, field.sides[0].end.lat_deg) in corners
    assert field.sides[0].start == named(plan, "Skew Piece").sides[0].start


def test_another_outline_can_be_meant_and_sides_stay_with_the_usual_one(plan: Plan) -> None:
    plan = with_field(
        plan,
        "Long Acre",
        boundaries=tuple(b.model_copy(update={"recorded": None}) for b in named(plan, "Long Acre").boundaries),
    )

    field = moved(plan, "Long Acre", "2 m", boundary=BoundaryChoice(purpose=Purpose.OFFICIAL))

    assert [outline.offset for outline in field.boundaries] == [None, Length("2 m")]
    assert field.sides == named(plan, "Long Acre").sides


def test_a_pond_shrinks_while_the_field_grows(plan: Plan) -> None:
    (before,), (after,) = (
        field.boundaries[0].parts for field in (named(plan, "Mere Piece"), moved(plan, "Mere Piece", "1 m"))
    )

    assert area_m2([Part(after.outer)]) > area_m2([Part(before.outer)])
    assert area_m2([Part(after.holes[0])]) < area_m2([Part(before.holes[0])])


@pytest.mark.parametrize("by", ["0 m", "-1 m", "31 m"])
def test_a_length_that_cannot_be_meant_is_refused(plan: Plan, by: str) -> None:
    with pytest.raises(InputError, match="is moved outward"):
        moved(plan, "Skew Piece", by)


def test_what_would_spoil_the_outline_is_refused(plan: Plan) -> None:
    with pytest.raises(RefusedError, match="parts 1 and 2 would meet"):
        moved(plan, "Twin Leys", "7 m")
    with pytest.raises(RefusedError, match="in part 1: hole 1 closes"):
        moved(plan, "Twin Leys", "25 m")
    with pytest.raises(RefusedError, match="came from a map"):
        moved(with_outline(plan, "Mere Piece", recorded=Recorded.MAP), "Mere Piece", "1 m")
    bow_tie = (Part(LonLatLine([(9.4, 54.6), (9.41, 54.61), (9.41, 54.6), (9.4, 54.61)])),)
    with pytest.raises(RefusedError, match="crosses itself"):
        moved(with_outline(plan, "Mere Piece", parts=bow_tie), "Mere Piece", "1 m")
    with pytest.raises(InputError, match="has no physical boundary 2026"):
        moved(plan, "Mere Piece", "1 m", boundary=BoundaryChoice(purpose=Purpose.PHYSICAL, season="2026"))


def test_ends_move_along_the_geodesic_so_that_the_direction_stays(plan: Plan) -> None:
    """Held against geographiclib: on one geodesic the way to the old end and on is the whole way."""
    old = named(plan, "Mere Piece").lines[0]

    new, ends, left = extend_lines(plan, named(plan, "Mere Piece"), by=Length("300 m"))

    line = named(new, "Mere Piece").lines[0]
    assert isinstance(old, StraightLine)
    assert isinstance(line, StraightLine)
    assert ([end.end for end in ends], left) == (["A", "B"], ())
    whole, inner = (GEODESIC.Inverse(p.a.lat_deg, p.a.lon_deg, p.b.lat_deg, p.b.lon_deg) for p in (line, old))
    assert whole["s12"] == pytest.approx(inner["s12"] + sum(end.by_m for end in ends), abs=0.001)
    for place, end in ((old.a, ends[0]), (old.b, ends[1])):
        there = GEODESIC.Inverse(line.a.lat_deg, line.a.lon_deg, place.lat_deg, place.lon_deg)
        aside = there["s12"] * (there["azi1"] - whole["azi1"]) * 3.14159265 / 180
        assert aside == pytest.approx(0, abs=0.001), end


def test_ends_lie_beyond_the_edge_afterwards_and_a_second_time_nothing_moves(plan: Plan) -> None:
    for name in ("Mere Piece", "River Bend", "Twin Leys", "Skew Piece", "Elbow Field", "Three Nook"):
        new, ends, _ = extend_lines(plan, named(plan, name), by=Length("60 m"))
        again, more, left = extend_lines(new, named(new, name), by=Length("60 m"))
        assert ends, name
        assert (more, {stays.why for stays in left}) == ((), {Why.LONG_ENOUGH}), name
        assert again == new


def test_an_end_inside_the_field_is_moved_beyond_its_edge(plan: Plan) -> None:
    line = named(plan, "Mere Piece").lines[0]
    a, b = Position(lon_deg=9.411, lat_deg=54.6135), Position(lon_deg=9.4112, lat_deg=54.6135)
    plan = with_field(plan, "Mere Piece", lines=(line.model_copy(update={"a": a, "b": b}),))

    _, ends, _ = extend_lines(plan, named(plan, "Mere Piece"), by=Length("20 m"))

    west, east = 9.4093600, 9.4159500  # edges of the outline at that latitude, read off the sample
    metres = 111_320 * 0.5793  # of one degree of longitude at 54.6 degrees, from memory
    assert ends[0].place[0] == pytest.approx(west - 20 / metres, abs=2e-6 * 10)
    assert ends[1].place[0] == pytest.approx(east + 20 / metres, abs=2e-6 * 10)


def test_a_point_and_a_heading_stay_on_their_geodesic(plan: Plan) -> None:
    old = named(plan, "Three Nook").lines[0]
    new, (end,), _ = extend_lines(plan, named(plan, "Three Nook"), by=Length("900 m"))
    line = named(new, "Three Nook").lines[0]

    assert isinstance(old, HeadingLine)
    assert isinstance(line, HeadingLine)
    there = GEODESIC.Direct(line.a.lat_deg, line.a.lon_deg, line.heading_deg, end.by_m)
    assert (there["lat2"], there["lon2"]) == pytest.approx((old.a.lat_deg, old.a.lon_deg), abs=2e-9)
    assert there["azi2"] == pytest.approx(old.heading_deg, abs=1e-5)


def test_a_curve_goes_straight_on_at_its_ends(plan: Plan) -> None:
    old = named(plan, "River Bend").lines[0]
    new, _, _ = extend_lines(plan, named(plan, "River Bend"), by=Length("60 m"))
    line = named(new, "River Bend").lines[0]

    assert isinstance(old, CurvedLine)
    assert isinstance(line, CurvedLine)
    assert (line.path.points[1:-1] == old.path.points[1:-1]).all()


def test_a_shared_line_changes_for_all_and_that_is_said(plan: Plan) -> None:
    new, ends, _ = extend_lines(plan, named(plan, "Elbow Field"), by=Length("80 m"))

    assert new.shared_lines != plan.shared_lines
    assert {end.shared_with for end in ends if end.line == "Parish line"} == {("Long Acre",)}
    assert {end.shared_with for end in ends if end.line == "Up the west side"} == {()}


def test_what_has_no_ends_or_lies_aside_stays(plan: Plan) -> None:
    _, ends, left = extend_lines(plan, named(plan, "Wheel Field"), by=Length("20 m"))
    assert (ends, [stays.why for stays in left]) == ((), [Why.NO_ENDS, Why.NO_ENDS])

    aside = named(plan, "Skew Piece").lines[0]
    far = with_field(plan, "Mere Piece", lines=(aside,))
    _, ends, left = extend_lines(far, named(far, "Mere Piece"), by=Length("20 m"))
    assert (ends, [stays.why for stays in left]) == ((), [Why.ASIDE])

    a, b = Position(lon_deg=-170, lat_deg=-54), Position(lon_deg=-171, lat_deg=-54)
    beyond = aside.model_copy(update={"a": a, "b": b})
    far = with_field(plan, "Mere Piece", lines=(beyond,))
    assert extend_lines(far, named(far, "Mere Piece"), by=Length("20 m"))[2][0].why is Why.ASIDE


def test_lines_that_are_one_point_stay(plan: Plan) -> None:
    straight, curve = named(plan, "Mere Piece").lines[0], named(plan, "River Bend").lines[0]
    assert isinstance(straight, StraightLine)
    points = (
        straight.model_copy(update={"b": straight.a}),
        curve.model_copy(update={"path": LonLatLine([(9.41, 54.61), (9.41, 54.61)])}),
    )
    one = with_field(plan, "Mere Piece", lines=points)

    _, ends, left = extend_lines(one, named(one, "Mere Piece"), by=Length("20 m"))

    assert (ends, [stays.why for stays in left]) == ((), [Why.NO_ENDS, Why.NO_ENDS])


@pytest.mark.parametrize("by", ["-1 m", "2 km"])
def test_a_distance_beyond_the_edge_is_sensible(plan: Plan, by: str) -> None:
    with pytest.raises(InputError, match="beyond the edge"):
        extend_lines(plan, named(plan, "Mere Piece"), by=Length(by))


def test_the_plan_as_it_was_is_kept_under_the_next_free_name(tmp_path: Path) -> None:
    file = tmp_path / "plan.yaml"
    for _ in range(2):
        with former_kept(file, "as it was", on=TODAY):
            pass
    with pytest.raises(ZeroDivisionError), former_kept(file, "as it was", on=TODAY):
        raise ZeroDivisionError

    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "plan.before-2026-11-25-2.yaml",
        "plan.before-2026-11-25.yaml",
    ]


def test_a_folder_that_cannot_be_written_to_is_told_before_anything_changes(tmp_path: Path) -> None:
    with (
        pytest.raises(InputError, match="cannot be kept here"),
        former_kept(tmp_path / "no" / "plan.yaml", "", on=TODAY),
    ):
        raise AssertionError


def test_a_word_means_one_object_or_is_refused(plan: Plan) -> None:
    field = plan.fields[0]
    for word in (field.name, field.code or "", str(field.uuid), str(field.uuid).upper()):
        assert selected(plan.fields, word, kind="field") is field

    with pytest.raises(InputError, match="Did you mean 'Mere Piece'"):
        selected(plan.fields, "mere piece", kind="field")
    with pytest.raises(InputError, match="Name a field by its name"):
        selected(plan.fields, "zzz", kind="field")
    with pytest.raises(InputError, match="means 2 fields"):
        selected([field, field.model_copy(update={"uuid": plan.uuid})], field.name, kind="field")
