import pydantic
import pytest
from hypothesis import given
from plans import ORIGIN, numbered, places, small_plan

from taskkit.errors import InputError, RefusedError
from taskkit.geometry.line import LonLatLine
from taskkit.plan.files import dump_plan
from taskkit.plan.headlands import depth_m
from taskkit.plan.loading import plan_from
from taskkit.plan.members import class_of_kind, members
from taskkit.plan.model import (
    Corner,
    DepthWord,
    Feature,
    Field,
    HeadingLine,
    Headland,
    IslandHeadland,
    Job,
    Passes,
    PivotLine,
    Place,
    Plan,
    Propagation,
    SharedCurvedLine,
    Step,
    Tractor,
)
from taskkit.plan.quantities import Length
from taskkit.plan.yaml_text import Text

BEGIN = f"format: 2\nuuid: {numbered(1)}\nname: x\n"
LINE = "{name: L, a: {lon_deg: 1, lat_deg: 1}, b: {lon_deg: 2, lat_deg: 1}, spacing: 3 m}"


def loaded(text):
    return plan_from(Text(BEGIN + text))


def refused(text):
    with pytest.raises(InputError) as refusal:
        loaded(text)
    return refusal.value


@pytest.mark.parametrize(
    ("text", "depth", "metres"),
    [
        ("12 m", Length("12 m"), 12.0),
        ("40 ft", Length("40 ft"), 12.192),
        ("2 passes", Passes(2), 6.0),
        ("1 pass", Passes(1), 3.0),
        ("none", Length("0 m"), 0.0),
        ("auto", DepthWord.AUTO, None),
    ],
)
def test_a_headland_depth_is_a_length_a_number_of_passes_or_a_word(text, depth, metres):
    headland = Headland(depth=text)
    assert headland.depth == depth
    assert depth_m(headland.depth, spacing_m=3.0) == metres
    assert Headland(depth=str(headland.depth)) == headland


@pytest.mark.parametrize("text", ["2", "two passes", "1.5 passes", "-1 passes", "automatic", ""])
def test_no_other_depth_is_taken(text):
    with pytest.raises(pydantic.ValidationError, match="or a number of passes, such as 2 passes; or auto, or none"):
        Headland(depth=text)


def test_an_island_and_a_corner_are_said_in_one_way():
    for wrong in ({}, {"hole": 1, "feature": numbered(1)}, {"hole": 0}):
        with pytest.raises(pydantic.ValidationError):
            IslandHeadland(depth="1 m", **wrong)
    for wrong in ({}, {"lon_deg": 1}, {"lat_deg": 1}, {"lon_deg": 1, "lat_deg": 1, "point": numbered(1)}):
        with pytest.raises(pydantic.ValidationError, match="a corner is"):
            Corner(**wrong)


def test_a_valve_goes_with_the_action_of_one():
    step = Step(action="remote valve extend", at="1 m", reference="hitch", valve="2")
    assert step.valve == 2
    with pytest.raises(pydantic.ValidationError, match="the action 'remote valve float' needs `valve`"):
        Step(action="remote valve float", at="1 m", reference="hitch")
    with pytest.raises(pydantic.ValidationError, match="`valve` goes with an action of a remote valve only"):
        Step(action="sections on", at="1 m", reference="hitch", valve=1)
    with pytest.raises(pydantic.ValidationError):
        Step(action="remote valve float", at="1 m", reference="hitch", valve=0)


@pytest.mark.parametrize(("text", "truth"), [("yes", True), ("No", False), ("true", True), ("FALSE", False)])
def test_yes_and_no_are_words(text, truth):
    assert Tractor(reversing=text).reversing is truth
    with pytest.raises(pydantic.ValidationError, match="neither yes nor no"):
        Tractor(reversing="1")


@pytest.mark.parametrize("heading", ["-0.1", "360.1", "north", "1e1"])
def test_a_heading_is_between_0_and_360_degrees(heading):
    line = {"uuid": numbered(1), "name": "L", "spacing": "3 m", "a": {"lon_deg": 1, "lat_deg": 1}}
    assert HeadingLine(heading_deg="35.12345678", **line).heading_deg == 35.12345678
    with pytest.raises(pydantic.ValidationError):
        HeadingLine(heading_deg=heading, **line)


def test_a_job_does_not_end_before_it_begins():
    with pytest.raises(pydantic.ValidationError, match="`end` is before `start`"):
        Job(uuid=numbered(1), name="x", field=numbered(2), start="2026-04-02", end="2026-04-01")


@given(places)
def test_a_place_is_read_as_it_is_written(place):
    assert Place.parsed(str(place)) == place
    assert hash(Place.parsed(str(place))) == hash(place)
    assert (len(place.line) > 0) + (len(place.parts) > 0) == 1
    assert place.form == {1: "point"}.get(len(place.line), "line" if len(place.line) else "area")
    assert repr(place).startswith("Place(")


@pytest.mark.parametrize("text", ["", "POINT (1 2, 3 4)", "LINESTRING (1 2)", "CIRCLE (1 2)", "POINT EMPTY", "12"])
def test_no_other_place_is_taken(text):
    with pytest.raises(pydantic.ValidationError):
        Feature(uuid=numbered(1), name="x", kind="pole", place=text)
    with pytest.raises(ValueError, match="without points"):
        Place(LonLatLine([]))
    with pytest.raises(pydantic.ValidationError, match="a place is expected"):
        Feature(uuid=numbered(1), name="x", kind="pole", place=12)


@pytest.mark.parametrize("path", ["POINT (1 2)", "LINESTRING (1 2)", 12, LonLatLine([(1, 2)])])
def test_a_curve_has_at_least_two_points(path):
    with pytest.raises(pydantic.ValidationError):
        SharedCurvedLine(uuid=numbered(1), name="x", spacing="3 m", path=path, fields=())


def test_a_line_without_a_kind_is_straight_and_each_kind_has_its_own_keys():
    line = loaded(f"fields: [{{name: F, lines: [{LINE}]}}]\n").fields[0].lines[0]
    assert (line.kind, line.propagation) == ("straight", Propagation.BOTH)
    error = refused(f"fields: [{{name: F, lines: [{LINE[:-1]}, kind: circle}}]}}]\n")
    assert "`kind` is 'circle', but only 'straight' or 'A + heading' or 'curve' or 'pivot' or 'spiral' will do" in str(
        error
    )
    error = refused(f"fields: [{{name: F, lines: [{LINE[:-1]}, kind: pivot}}]}}]\n")
    assert "a line has no `a`" in str(error)
    error = refused("fields: [{name: F, lines: [{name: L, kind: pivot, spacing: 3 m}]}]\n")
    assert "`centre` is missing; line 4: `radius` is missing" in str(error)
    pivot = "{name: L, kind: pivot, spacing: 3 m, radius: 9, centre: {lon_deg: 1, lat_deg: 95}}"
    error = refused(f"fields: [{{name: F, lines: [{pivot}]}}]\n")
    assert "`radius` cannot be taken: '9' has no unit" in str(error)
    assert "`lat_deg` cannot be taken: 95 is beyond 90 degrees" in str(error)
    assert "=pivot" not in str(error)
    error = refused(f"fields: [{{name: F, lines: [{LINE[:-1]}, kind: {{straight}}}}]}}]\n")
    assert "`kind` takes one single value" in str(error)


FIELD = f"""\
fields:
  - name: F
    sides: [{{name: Lane, from: {{lon_deg: 1, lat_deg: 1}}, to: {{point: Gate}}}}]
    features: [{{name: Gate, kind: access, place: POINT (1 1)}}]
    lines: [{LINE}]
  - name: G
    features: [{{name: Gate, kind: access, place: POINT (2 1)}}]
shared_lines:
  - {{fields: [F, G], name: Both, kind: spiral, spacing: 3 m, path: "LINESTRING (1 1, 2 2)",
     shifts: [{{date: 2026-04-01, across: 3 m}}, {{date: 2026-04-02, across: 4 m}}]}}
crops: [{{name: Barley, varieties: [{{name: Early}}]}}, {{name: Oats, varieties: [{{name: Early}}]}}]
jobs:
  - shown
"""


def test_words_are_understood_where_they_stand():
    job = "{variety: Early, crop: Oats, lines: [{shift: 2026-04-02, line: Both}], field: G, name: J}"
    plan = loaded(FIELD.replace("shown", job))
    assert plan.jobs[0].variety == plan.crops[1].varieties[0].uuid
    assert plan.jobs[0].lines[0].line == plan.shared_lines[0].uuid
    assert plan.jobs[0].lines[0].shift == plan.shared_lines[0].shifts[1].uuid
    assert plan.fields[0].sides[0].end.point == plan.fields[0].features[0].uuid
    assert plan_from(Text(dump_plan(plan))) == plan


@pytest.mark.parametrize(
    ("job", "said"),
    [
        ("field: G, lines: [{line: L}]", "`line` names 'L', which the field G has not. Add it under `lines`."),
        ("field: F, lines: [{line: M}]", "`line` names 'M', which the field F has not"),
        ("field: F, lines: [{line: Bath}]", "Did you mean 'Both'?"),
        ("field: F, lines: [{line: L, shift: 2026-04-01}]", "`shift` names '2026-04-01', which the line L has not"),
        ("field: H, lines: [{line: L}]", "`field` names 'H', which the plan has not"),
        ("lines: [{line: L}]", "`line` 'L' cannot be understood without `field`. Name the field too."),
        ("field: F, variety: Early", "`variety` 'Early' cannot be understood without `crop`. Name the crop too."),
        ("field: F, headland: {depth: 1 m, sides: [{side: Line, depth: none}]}", "Did you mean 'Lane'?"),
        ("field: G, headland: {depth: 1 m, sides: [{side: Lane, depth: none}]}", "which the field G has not"),
        ("machine: ~", "`field` is missing"),
    ],
)
def test_a_word_that_means_nothing_there_is_told_at_its_line(job, said):
    error = refused(FIELD.replace("shown", f"{{name: J, {job}}}"))
    assert said in str(error)
    assert error.line == 16
    if "names 'H'" in said:
        assert "`line`" not in str(error)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ("F", "`fields` takes a list. Write `[one, another]`."),
        ("[F, [G]]", "`fields` takes single values"),
        ("[F, ~]", "`fields` takes single values"),
        ("[F, X]", "`fields` names 'X', which the plan has not"),
    ],
)
def test_a_list_of_words_is_a_list_of_words(fields, said):
    assert said in str(refused(FIELD.replace("[F, G]", fields).replace("  - shown", "").replace("jobs:\n", "")))


def test_two_shifts_of_one_day_need_a_uuid():
    text = FIELD.replace("2026-04-02", "2026-04-01").replace("  - shown", "").replace("jobs:\n", "")
    assert "the shift cannot be told from the shift" in str(refused(text))


def test_a_plan_that_refers_to_what_another_field_has_is_not_written():
    plan = small_plan()
    job = plan.jobs[1].model_copy(update={"lines": plan.jobs[0].lines[:1]})
    with pytest.raises(RefusedError, match="not among the lines of its field"):
        dump_plan(plan.model_copy(update={"jobs": (job,)}))
    field = plan.fields[1].model_copy(update={"variety": numbered(22)})
    with pytest.raises(RefusedError, match="without naming the crop that has it"):
        dump_plan(plan.model_copy(update={"fields": (plan.fields[0], field), "shared_lines": (), "jobs": ()}))


def test_members_know_what_may_stand_in_a_file_and_what_decides_a_class():
    table = {m.name: m for m in members(Field)} | {m.name: m for m in members(Plan)}
    assert table["code"].from_file
    assert not table["name"].from_file
    assert table["machines"].from_sheet
    assert not table["fields"].from_sheet
    kinds = {m.name: m for m in members(PivotLine)}
    assert (kinds["kind"].fixed, kinds["limit"].is_shape, kinds["limit"].many) == (True, True, False)
    assert class_of_kind(table["lines"].holds, "pivot") is PivotLine
    assert class_of_kind((PivotLine,), "whatever") is PivotLine
    assert ORIGIN.word == "origin"
