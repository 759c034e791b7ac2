"""What a plan needs and lacks: the sample as it is, and with single things taken away or spoiled."""

from __future__ import annotations

import datetime
import importlib
import pkgutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import taskkit.readiness
from taskkit.findings import Kind, Severity
from taskkit.geometry.line import LonLatLine, Part
from taskkit.plan.files import load_plan
from taskkit.plan.model import (
    Action,
    BoundaryChoice,
    DepthWord,
    Field,
    Headland,
    Origin,
    Plan,
    Position,
    Purpose,
    Recorded,
    ReferencePoint,
    Sector,
    Step,
    TurnShape,
)
from taskkit.plan.quantities import Area, Length, Speed
from taskkit.readiness import Answer, Readiness, State, Topic, readiness

SAMPLE = Path(__file__).resolve().parents[2] / "samples" / "larkmoor"
ON = datetime.date(2026, 11, 25)
BOW_TIE = (Part(LonLatLine([(9.4, 54.6), (9.41, 54.61), (9.41, 54.6), (9.4, 54.61)])),)

Change = Callable[[Plan], Plan]


@pytest.fixture(scope="module")
def sample() -> Plan:
    return load_plan(SAMPLE)


def changing(collection: str, called: str, /, **update: Any) -> Change:
    """The change of one object of the plan, by its name; a function is given the old value."""

    def change(plan: Plan) -> Plan:
        objects = getattr(plan, collection)
        assert called in {one.name for one in objects}
        return plan.model_copy(
            update={collection: tuple(_changed(one, update) if one.name == called else one for one in objects)}
        )

    return change


def _changed(node: Any, update: dict[str, Any]) -> Any:
    return node.model_copy(
        update={name: value(getattr(node, name)) if callable(value) else value for name, value in update.items()}
    )


def first(**update: Any) -> Callable[[Any], Any]:
    """The change of the first of several objects."""
    return lambda objects: (_changed(objects[0], update), *objects[1:])


def one(**update: Any) -> Callable[[Any], Any]:
    """The change of one object."""
    return lambda node: _changed(node, update)


def mere(**update: Any) -> Change:
    return changing("fields", "Mere Piece", **update)


def job(**update: Any) -> Change:
    return changing("jobs", "Drill Mere Piece", **update)


def outline(**update: Any) -> Change:
    return mere(boundaries=first(**update))


def line(**update: Any) -> Change:
    return mere(lines=first(**update))


def drill(**update: Any) -> Change:
    return changing("machines", "Tractor and 3 m drill", **update)


def row_end(**update: Any) -> Change:
    return changing("row_end_plans", "3 m drill, mounted", **update)


def without(action: Action) -> Callable[[tuple[Step, ...]], tuple[Step, ...]]:
    return lambda steps: tuple(step for step in steps if step.action is not action)


def replaced(uuid_of: str) -> Callable[[Plan], Plan]:
    """The job on Mere Piece with another row-end plan."""

    def change(plan: Plan) -> Plan:
        other = next(plan_.uuid for plan_ in plan.row_end_plans if plan_.name == uuid_of)
        return changing("jobs", "Drill Mere Piece", row_end=other)(plan)

    return change


def everywhere(*changes: Change) -> Change:
    def change(plan: Plan) -> Plan:
        for one_ in changes:
            plan = one_(plan)
        return plan

    return change


FISHTAIL = everywhere(row_end(turn=TurnShape.FISHTAIL), drill(tractor=one(reversing=False)))
NO_SPEEDS = everywhere(
    row_end(leaving=without(Action.SPEED), entering=without(Action.SPEED)),
    drill(working_speed=None, turning_speed=None),
)
PARISH = [(9.0, 54.0), (9.3, 54.0), (9.3, 54.3), (9.0, 54.3)]
AWAY = Position(lon_deg=54.6, lat_deg=9.41)

FINE, ATTENTION, MISSING = State.FINE, State.ATTENTION, State.MISSING
CASES: dict[Topic, dict[str, tuple[State, Change]]] = {
    Topic.BOUNDARY: {
        "boundary-missing": (MISSING, mere(boundaries=())),
        "boundary-unfit": (MISSING, outline(parts=BOW_TIE)),
        "boundary-of-unknown-source": (ATTENTION, outline(source=None)),
        "boundary-undated": (ATTENTION, outline(date=None)),
        "boundary-old": (ATTENTION, outline(date=datetime.date(2021, 11, 25))),
        "boundary-dated-ahead": (ATTENTION, outline(date=datetime.date(2026, 11, 26))),
        "boundary-accuracy-unknown": (ATTENTION, outline(accuracy=None)),
        "boundary-inaccurate": (ATTENTION, outline(accuracy=Length("31 cm"))),
        "boundary-frame-inaccurate": (ATTENTION, outline(origin=Origin(frame="DHDN"))),
        "boundary-short-of-edge": (ATTENTION, outline(recorded=Recorded.ANTENNA)),
        "boundary-area-implausible": (ATTENTION, outline(parts=(Part(LonLatLine(PARISH)),))),
        "boundary-area-differs": (ATTENTION, mere(declared_area=Area("8.1 ha"))),
    },
    Topic.LINES: {
        "guidance-line-missing": (MISSING, everywhere(mere(lines=()), job(lines=()))),
        "guidance-line-not-chosen": (ATTENTION, job(lines=())),
        "guidance-line-ends-inside": (ATTENTION, line(a=Position(lon_deg=9.411, lat_deg=54.6135))),
        "guidance-line-short": (ATTENTION, line(b=Position(lon_deg=9.4092, lat_deg=54.6126))),
        "guidance-line-far-away": (ATTENTION, line(a=AWAY, b=Position(lon_deg=54.61, lat_deg=9.41))),
        "line-spacing-beyond-width": (ATTENTION, line(spacing=Length("3.02 m"))),
    },
    Topic.HEADLAND: {
        "headland-missing": (MISSING, mere(headland=None)),
        "headland-depth-open": (MISSING, mere(headland=Headland(depth=DepthWord.AUTO))),
        "headland-shallow": (ATTENTION, mere(headland=Headland(depth=Length("6 m")))),
    },
    Topic.ROW_END: {
        "row-end-missing": (MISSING, everywhere(mere(row_end=None), drill(row_end=None))),
        "row-end-sequence-empty": (MISSING, row_end(entering=())),
        "step-without-opposite": (MISSING, row_end(entering=without(Action.REAR_HITCH_LOWER))),
        "turn-unsaid": (ATTENTION, row_end(skip=None, side=None)),
        "turn-needs-reversing": (MISSING, FISHTAIL),
        "turn-too-tight": (ATTENTION, row_end(turn=TurnShape.FLAT_U)),
        "row-end-of-another-machine": (ATTENTION, replaced("24 m sprayer")),
    },
    Topic.MACHINE: {
        "job-without-machine": (MISSING, job(machine=None)),
        "field-without-job": (ATTENTION, lambda plan: plan.model_copy(update={"jobs": plan.jobs[1:]})),
        "machine-measure-missing": (MISSING, drill(tractor=one(turning_radius=None))),
        "machine-measure-unknown": (ATTENTION, drill(tools=first(clear_of_soil=None))),
    },
    Topic.SPEEDS: {
        "speed-missing": (MISSING, NO_SPEEDS),
        "turning-speed-over-working": (ATTENTION, row_end(turning_speed=Speed("20 mph"))),
    },
    Topic.FRAME: {
        "steering-frame-unknown": (ATTENTION, lambda plan: plan.model_copy(update={"steering_frame": "unknown"})),
    },
    Topic.VALUES: {
        "value-implausible": (ATTENTION, drill(tools=first(fold_time=None, working_width=Length("300 m")))),
    },
    Topic.NAMES: {
        "field-unnamed": (MISSING, mere(name=" ")),
        "field-name-twice": (ATTENTION, changing("fields", "Long Acre", name="Mere Piece", code="007")),
        "field-without-customer": (
            ATTENTION,
            everywhere(mere(customer=None), changing("farms", "Home Farm", customer=None)),
        ),
        "field-without-farm": (ATTENTION, mere(farm=None)),
    },
}


def of_field(plan: Plan, field: Field) -> Readiness:
    return readiness(plan, on=ON, fields=[field])


def rules(asked: Readiness) -> set[str]:
    return {found.rule for answer in asked for found in answer.findings}


def test_of_the_sample_only_the_outline_that_nobody_moved_needs_attention(sample: Plan) -> None:
    asked = readiness(sample, on=ON)

    assert {field.name: str(field.state) for field in asked.fields if field.state is not State.FINE} == {
        "Skew Piece": "needs attention"
    }
    assert rules(asked) == {"boundary-short-of-edge"}
    assert asked.state is State.ATTENTION
    (found,) = (found for answer in asked for found in answer.findings)
    assert 'taskkit edit PLAN "Skew Piece" --shift-outline "1.5 m"' in found.hint


@pytest.mark.parametrize(
    ("rule", "change", "topic", "state"),
    [
        pytest.param(rule, change, topic, state, id=rule)
        for topic, cases in CASES.items()
        for rule, (state, change) in cases.items()
    ],
)
def test_each_thing_that_is_taken_away_or_spoiled_is_told(
    sample: Plan, rule: str, change: Change, topic: Topic, state: State
) -> None:
    plan = change(sample)
    asked = of_field(plan, plan.fields[0])

    told = [answer for answer in asked if rule in {found.rule for found in answer.findings}]
    assert [(answer.topic, answer.state) for answer in told] == [(topic, state)]
    assert rule not in rules(of_field(sample, sample.fields[0]))
    for found in told[0].findings:
        assert "{" not in found.message + found.hint
    assert asked.state is State.MISSING or state is State.ATTENTION


def test_every_kind_has_such_a_case() -> None:
    modules = [
        importlib.import_module(f"taskkit.readiness.{module.name}")
        for module in pkgutil.iter_modules(taskkit.readiness.__path__)
    ]

    kinds = {kind.name for module in modules for kind in vars(module).values() if isinstance(kind, Kind)}

    assert kinds == {rule for cases in CASES.values() for rule in cases}


@pytest.mark.parametrize(
    ("leaving", "entering", "told"),
    [
        (Action.REAR_HITCH_RAISE, Action.REAR_HITCH_LOWER, False),
        (Action.REAR_HITCH_RAISE, Action.REAR_PTO_ON, True),
        (Action.REMOTE_VALVE_EXTEND, Action.REMOTE_VALVE_RETRACT, False),
        (Action.REMOTE_VALVE_EXTEND, Action.REMOTE_VALVE_FLOAT, False),
        (Action.REMOTE_VALVE_EXTEND, Action.REMOTE_VALVE_EXTEND, True),
        (Action.SECTIONS_OFF, Action.SECTIONS_ON, False),
        (Action.NOTE, Action.REAR_PTO_ON, True),
    ],
)
def test_what_is_switched_on_one_way_is_switched_back_on_the_other(
    sample: Plan, leaving: Action, entering: Action, told: bool
) -> None:
    plan = row_end(leaving=(step(leaving),), entering=(step(entering),))(sample)

    assert ("step-without-opposite" in rules(of_field(plan, plan.fields[0]))) is told


def test_another_valve_does_not_move_one_back(sample: Plan) -> None:
    first_valve, second_valve = step(Action.REMOTE_VALVE_EXTEND), step(Action.REMOTE_VALVE_RETRACT, valve=2)
    plan = row_end(leaving=(first_valve,), entering=(second_valve,))(sample)

    answer = topic(of_field(plan, plan.fields[0]), Topic.ROW_END)

    said = [found.message for found in answer.findings if found.rule == "step-without-opposite"]
    assert len(said) == 2
    assert "`remote valve extend 1` leaving the row" in said[0]


def step(action: Action, *, valve: int = 1) -> Step:
    argument = {"text": "look"} if action is Action.NOTE else {"valve": valve} if "valve" in action else {}
    return Step.model_validate({"action": action, "at": Length("0 m"), "reference": ReferencePoint.TOOL, **argument})


def topic(asked: Readiness, wanted: Topic) -> Answer:
    return next(answer for answer in asked if answer.topic is wanted)


def test_a_missing_speed_step_on_the_way_back_only_needs_attention(sample: Plan) -> None:
    plan = row_end(entering=without(Action.SPEED))(sample)

    (found,) = topic(of_field(plan, plan.fields[0]), Topic.ROW_END).findings

    assert (found.rule, found.severity) == ("step-without-opposite", Severity.WARNING)


def test_where_passes_do_not_end_no_turn_is_asked_for(sample: Plan) -> None:
    wheel = next(field for field in sample.fields if field.name == "Wheel Field")
    (done,) = of_field(sample, wheel).fields[0].jobs
    assert [str(answer.topic) for answer in done.answers] == ["lines", "machine", "speeds"]

    sector = Sector(start_heading_deg=10, end_heading_deg=200)
    plan = changing("fields", "Wheel Field", lines=first(sector=sector))(sample)
    (done,) = of_field(plan, next(f for f in plan.fields if f.name == "Wheel Field")).fields[0].jobs
    assert {found.rule for answer in done.answers for found in answer.findings} == {"headland-missing"}


def test_a_trailed_tool_needs_the_lengths_of_the_hitch(sample: Plan) -> None:
    plan = changing(
        "machines",
        "Tractor and 6 m drill",
        tractor=None,
        tools=first(hitch_to_axle=None, lengthwise_offset=None, name=None),
    )(sample)
    asked = readiness(plan, on=ON, jobs=[other for other in plan.jobs if other.name == "Drill Three Nook"])

    missing, unknown = topic(asked, Topic.MACHINE).findings
    assert missing.facts["measures"] == "turning radius, length from hitch to axle of its tool"
    assert unknown.facts["measures"] == (
        "whether it may reverse, length from rear axle to hitch, how far behind the hitch its tool works"
    )

    plan = changing("machines", "Tractor and 6 m drill", tools=first(attachment=None))(sample)
    asked = readiness(plan, on=ON, jobs=[other for other in plan.jobs if other.name == "Drill Three Nook"])
    (unknown,) = topic(asked, Topic.MACHINE).findings
    assert unknown.facts["measures"] == "whether 6 m drill is mounted, trailed or steered"


def test_a_machine_without_tools_has_no_working_width(sample: Plan) -> None:
    plan = drill(tools=())(sample)

    assert topic(of_field(plan, plan.fields[0]), Topic.MACHINE).findings[0].facts["measures"] == "working width"


def test_straight_on_needs_no_shape_of_a_turn(sample: Plan) -> None:
    plan = row_end(turn=TurnShape.STRAIGHT_ON, side=None, skip=None)(sample)
    plan = changing("fields", "Mere Piece", headland=Headland(depth=Length("1 m")))(plan)

    assert rules(of_field(plan, plan.fields[0])) == set()


def test_the_outline_that_a_job_goes_by_is_looked_at_too(sample: Plan) -> None:
    plan = changing("jobs", "Drill Long Acre", boundary=BoundaryChoice(purpose=Purpose.OFFICIAL))(sample)

    asked = of_field(plan, plan.fields[1])

    field_answer, job_answer = (answer for answer in asked if answer.topic is Topic.BOUNDARY)
    assert field_answer.state is State.FINE
    assert [found.rule for found in job_answer.findings] == ["boundary-inaccurate"]


def test_another_outline_can_be_asked_for(sample: Plan) -> None:
    choice = BoundaryChoice(purpose=Purpose.OFFICIAL)
    asked = readiness(sample, on=ON, fields=sample.fields[:2], boundary=choice)

    mere, long_acre = (next(a for a in field.answers if a.topic is Topic.BOUNDARY) for field in asked.fields)
    assert [found.message for found in mere.findings] == ["There is no official boundary."]
    assert long_acre.facts[0]["boundary"] == "official boundary 2026"


def test_a_shared_line_counts_on_each_of_its_fields(sample: Plan) -> None:
    plan = changing("jobs", "Drill Long Acre", lines=[])(sample)
    parish = next(other.lines for other in plan.jobs if other.name == "Drill Elbow Field")[:1]
    plan = changing("jobs", "Drill Long Acre", lines=parish)(plan)

    asked = of_field(plan, plan.fields[1])

    assert [facts["line"] for facts in asked.fields[0].jobs[0].answers[0].facts] == ["Parish line"]


def test_an_empty_plan_is_ready_and_says_nothing(sample: Plan) -> None:
    empty = Plan(uuid=sample.uuid, name="Empty", steering_frame="ETRS89")

    assert readiness(empty, on=ON).state is State.FINE
    assert of_field(empty, Field(uuid=sample.uuid, name="Bare")).state is State.MISSING
