"""Headland and row end of a job: how deep, which turn, and whether all that is switched is switched back."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from types import MappingProxyType

from taskkit.findings import Finding, Severity, Where, kind
from taskkit.plan.headlands import depth_m
from taskkit.plan.model import (
    Action,
    DepthWord,
    GuidanceLine,
    Headland,
    Machine,
    RowEndPlan,
    Step,
    TurnShape,
)
from taskkit.readiness.answers import Answer, Topic
from taskkit.readiness.machines import working_width

__all__ = ["on_headland", "on_row_end"]

_PRACTICE = "common practice, no source"

NO_HEADLAND = kind(
    "headland-missing",
    Severity.ERROR,
    "There is no headland depth.",
    hint="Write the `depth` of the headland of the field or the job: metres, or a number of passes.",
    why="The machine does not know where a pass ends and a turn may begin.",
    source=_PRACTICE,
)
OPEN_DEPTH = kind(
    "headland-depth-open",
    Severity.ERROR,
    "The headland depth is `auto` {place}, and is not found by this program yet.",
    hint="Write metres, or a number of passes.",
    why="The machine does not know where a pass ends and a turn may begin.",
    source=_PRACTICE,
)
SHALLOW = kind(
    "headland-shallow",
    Severity.WARNING,
    "The headland is {depth_m} m deep; a turn of {radius} and half the width of {width} take {needed_m} m.",
    hint="Make it deeper, or turn where there is room.",
    why="The tool swings over the edge of the field.",
    source="geometry: an arc of that radius that begins on the headland line, and half the width beyond it",
)
NO_PLAN = kind(
    "row-end-missing",
    Severity.ERROR,
    "There is no row-end plan.",
    hint="Write `row_end` of the job, the field or the machine.",
    why="Nothing says what is lifted, switched and slowed down at the end of a row.",
    source=_PRACTICE,
)
EMPTY = kind(
    "row-end-sequence-empty",
    Severity.ERROR,
    "The row-end plan {plan} has no steps {sequence} the row.",
    hint="Write its steps under `{key}`.",
    why="The tool goes through the turn as it went through the row, or does not work after it.",
    source=_PRACTICE,
)
NO_OPPOSITE = kind(
    "step-without-opposite",
    Severity.ERROR,
    "The row-end plan {plan} has `{action}` {sequence} the row and no `{opposite}` {other} it.",
    hint="Write that step too, or take this one out.",
    why="What was switched stays as it is: a tool in the air over a whole row, a lock that is on in the turn.",
    source=_PRACTICE,
)
UNSAID = kind(
    "turn-unsaid",
    Severity.WARNING,
    "The row-end plan {plan} does not say: {what}.",
    hint="Write it in the plan.",
    why="The driver chooses at each row end, or the terminal does.",
    source=_PRACTICE,
)
REVERSES = kind(
    "turn-needs-reversing",
    Severity.ERROR,
    "The turn is a {turn}, and {machine} may not be driven backwards.",
    hint="Choose a loop, or a flat U with passes left out.",
    why="A trailed tool folds up under the tractor.",
    source="the shapes of turns: which of them have an arc backwards",
)
TIGHT = kind(
    "turn-too-tight",
    Severity.WARNING,
    "A flat U to the next pass, {across_m} m away, is tighter than twice the radius, {needed_m} m.",
    hint="Leave out more passes, or choose a loop.",
    why="The machine cannot drive it and comes out beside the pass.",
    source="the shape of a flat U: two quarter circles and what is between them",
)
OF_ANOTHER = kind(
    "row-end-of-another-machine",
    Severity.WARNING,
    "The row-end plan {plan} was made for {other}, not for {machine}.",
    hint="Choose the plan of this machine, or copy it and look at every distance.",
    why="Distances come from the lengths and times of a machine.",
    source=_PRACTICE,
)

_REVERSING = (TurnShape.FISHTAIL, TurnShape.THREE_POINT)
_VALVE = (Action.REMOTE_VALVE_EXTEND, Action.REMOTE_VALVE_RETRACT, Action.REMOTE_VALVE_FLOAT)
_PAIRS = (
    (Action.REAR_HITCH_RAISE, Action.REAR_HITCH_LOWER),
    (Action.FRONT_WHEEL_DRIVE_ON, Action.FRONT_WHEEL_DRIVE_OFF),
    (Action.DIFFERENTIAL_LOCK_ON, Action.DIFFERENTIAL_LOCK_OFF),
    (Action.REAR_PTO_ON, Action.REAR_PTO_OFF),
    (Action.SECTIONS_ON, Action.SECTIONS_OFF),
)
_OPPOSITES = MappingProxyType(
    {
        **{a: (b,) for a, b in _PAIRS},
        **{b: (a,) for a, b in _PAIRS},
        **{one: tuple(other for other in _VALVE if other is not one) for one in _VALVE},
        Action.SPEED: (Action.SPEED,),
    }
)
"""For each action those that undo it; a valve is moved back by either of the two others."""


def on_headland(
    headland: Headland | None,
    row_end: RowEndPlan | None,
    machine: Machine | None,
    lines: Sequence[GuidanceLine],
    *,
    where: Where,
) -> Answer:
    """The answer on the headland of a job: the depth given, and whether a turn finds room in it at all."""
    if headland is None:
        return Answer(Topic.HEADLAND, findings=(NO_HEADLAND.at(where),))
    spacing_m = max((line.spacing.metres for line in lines), default=0.0)
    depth = depth_m(headland.depth, spacing_m=spacing_m)
    facts = {
        "depth": str(headland.depth),
        "depth_m": depth,
        "sides": len(headland.sides),
        "islands": len(headland.islands),
    }
    places = {"along the boundary": [headland.depth], "along a side": [one.depth for one in headland.sides]}
    places["round an island"] = [one.depth for one in headland.islands]
    findings = [OPEN_DEPTH.at(where, place=place) for place, depths in places.items() if DepthWord.AUTO in depths]
    radius = machine.tractor.turning_radius if machine and machine.tractor else None
    width = working_width(machine)
    straight_on = row_end is not None and row_end.turn is TurnShape.STRAIGHT_ON
    if depth is not None and radius and width and not straight_on:
        needed = radius.metres + width.metres / 2
        if depth < needed - 0.01:
            findings.append(
                SHALLOW.at(
                    where, depth_m=round(depth, 2), radius=str(radius), width=str(width), needed_m=round(needed, 2)
                )
            )
    return Answer(Topic.HEADLAND, (facts,), tuple(findings))


def on_row_end(
    row_end: RowEndPlan | None,
    machine: Machine | None,
    lines: Sequence[GuidanceLine],
    *,
    where: Where,
    made_for: Machine | None,
) -> Answer:
    """The answer on the row-end plan that a job follows.

    Args:
        row_end: the plan.
        machine: the machine of the job.
        lines: the lines of the job.
        where: the job or field.
        made_for: the machine that the row-end plan was made for, where it says one.
    """
    if row_end is None:
        return Answer(Topic.ROW_END, findings=(NO_PLAN.at(where),))
    facts = {
        "row_end": row_end.name,
        "turn": str(row_end.turn) if row_end.turn else None,
        "side": str(row_end.side) if row_end.side else None,
        "skip": row_end.skip,
        "leaving": len(row_end.leaving),
        "entering": len(row_end.entering),
    }
    findings = [*_sequences(row_end, where), *_turn(row_end, machine, lines, where)]
    if made_for is not None and machine is not None and made_for.uuid != machine.uuid:
        findings.append(OF_ANOTHER.at(where, plan=row_end.name, other=made_for.name, machine=machine.name))
    return Answer(Topic.ROW_END, (facts,), tuple(findings))


def _sequences(row_end: RowEndPlan, where: Where) -> Iterator[Finding]:
    both = {"leaving": row_end.leaving, "entering": row_end.entering}
    for sequence, steps in both.items():
        other = "entering" if sequence == "leaving" else "leaving"
        if not steps:
            yield EMPTY.at(where, plan=row_end.name, sequence=sequence, key=sequence)
            continue
        for step in dict.fromkeys((step.action, step.valve) for step in steps):
            opposites = _OPPOSITES.get(step[0], ())
            if both[other] and opposites and not _has(both[other], opposites, step[1]):
                severity = Severity.WARNING if step[0] is Action.SPEED else None
                valve = f" {step[1]}" if step[1] else ""
                yield NO_OPPOSITE.at(
                    where,
                    severity=severity,
                    plan=row_end.name,
                    action=f"{step[0]}{valve}",
                    sequence=sequence,
                    opposite=" or ".join(f"{one}{valve}" for one in opposites),
                    other=other,
                )


def _has(steps: Sequence[Step], actions: Sequence[Action], valve: int | None) -> bool:
    return any(step.action in actions and step.valve == valve for step in steps)


def _turn(
    row_end: RowEndPlan, machine: Machine | None, lines: Sequence[GuidanceLine], where: Where
) -> Iterator[Finding]:
    if row_end.turn is TurnShape.STRAIGHT_ON:
        return
    wanted = {"the shape of the turn": row_end.turn, "its first side": row_end.side, "passes to skip": row_end.skip}
    if unsaid := [what for what, value in wanted.items() if value is None]:
        yield UNSAID.at(where, plan=row_end.name, what=", ".join(unsaid))
    tractor = machine.tractor if machine else None
    if machine and row_end.turn in _REVERSING and tractor and tractor.reversing is False:
        yield REVERSES.at(where, turn=str(row_end.turn), machine=machine.name)
    if row_end.turn is TurnShape.FLAT_U and row_end.skip is not None and tractor and tractor.turning_radius and lines:
        across = (row_end.skip + 1) * min(line.spacing.metres for line in lines)
        needed = 2 * tractor.turning_radius.metres
        if across < needed - 0.01:
            yield TIGHT.at(where, across_m=round(across, 2), needed_m=round(needed, 2))
