"""The machine of a job: is there one, with the measures, times and speeds that a turn is reckoned from."""

from __future__ import annotations

from collections.abc import Sequence

from taskkit.findings import Finding, Severity, Where, kind
from taskkit.plan.model import Action, Attachment, Job, Machine, Plan, ReferencePoint, RowEndPlan, Step
from taskkit.plan.quantities import Length, Speed
from taskkit.readiness.answers import Answer, Facts, Topic

__all__ = ["machine_of", "on_machine", "on_speeds", "working_width"]

_PRACTICE = "common practice, no source"

MISSING = kind(
    "job-without-machine",
    Severity.ERROR,
    "The job has no machine.",
    hint="Write under `machine` of the job which one does it.",
    why="Neither the width nor the radius of a turn is known.",
    source=_PRACTICE,
)
NO_JOB = kind(
    "field-without-job",
    Severity.WARNING,
    "No job is planned on the field, so nothing is known of a machine.",
    hint="Write a job: its field, machine and lines.",
    why="What the machine needs to turn by itself cannot be looked at.",
    source=_PRACTICE,
)
MEASURE_MISSING = kind(
    "machine-measure-missing",
    Severity.ERROR,
    "Of {machine} the plan does not know: {measures}.",
    hint="Measure it on the machine and write it in the plan.",
    why="A turn cannot be reckoned without it.",
    source=_PRACTICE,
)
MEASURE_UNKNOWN = kind(
    "machine-measure-unknown",
    Severity.WARNING,
    "Of {machine} the plan does not know: {measures}.",
    hint="Measure it on the machine and write it in the plan; times with a stopwatch.",
    why="Row ends come out ragged: the tool is lifted or lowered too early or too late.",
    source=_PRACTICE,
)
SPEED_MISSING = kind(
    "speed-missing",
    Severity.ERROR,
    "There is no {which} speed.",
    hint="Write it in the row-end plan or with the machine.",
    why="Distances on the way come from times and speeds; and nobody should have to guess how fast it turns.",
    source=_PRACTICE,
)
TURNS_FAST = kind(
    "turning-speed-over-working",
    Severity.WARNING,
    "The machine turns at {turning}, and works at {working}.",
    hint="Turn no faster than you work, or see whether the two are exchanged.",
    why="A turn by itself at speed tips over, or leaves its track.",
    source=_PRACTICE,
)


def machine_of(plan: Plan, job: Job | None) -> Machine | None:
    """The machine of a job."""
    return next((one for one in plan.machines if job and one.uuid == job.machine), None)


def working_width(machine: Machine | None) -> Length | None:
    """The widest working width among the tools of a machine."""
    widths = [tool.working_width for tool in machine.tools if tool.working_width] if machine else []
    return max(widths, key=lambda width: width.metres, default=None)


def on_machine(
    job: Job | None, machine: Machine | None, row_end: RowEndPlan | None, *, where: Where, turns: bool
) -> Answer:
    """The answer on a job's machine.

    Args:
        job: the job, None for a field without one.
        machine: its machine.
        row_end: the row-end plan that it follows.
        where: the job or field.
        turns: whether its passes end, so that it has to turn.
    """
    if machine is None:
        return Answer(Topic.MACHINE, findings=((MISSING if job else NO_JOB).at(where),))
    width = working_width(machine)
    radius = machine.tractor.turning_radius if machine.tractor else None
    facts: Facts = {
        "machine": machine.name,
        "code": machine.code,
        "working_width_m": width.metres if width else None,
        "working_width": str(width) if width else None,
        "turning_radius_m": radius.metres if radius else None,
        "turning_radius": str(radius) if radius else None,
        "tools": len(machine.tools),
    }
    missing = [] if width else ["working width"]
    unknown: list[str] = []
    if turns:
        missing += _missing_for_turns(machine)
        unknown += _unknown_for_turns(machine, row_end)
    findings: list[Finding] = []
    if missing:
        findings.append(MEASURE_MISSING.at(where, machine=machine.name, measures=", ".join(missing)))
    if unknown:
        findings.append(MEASURE_UNKNOWN.at(where, machine=machine.name, measures=", ".join(unknown)))
    return Answer(Topic.MACHINE, (facts,), tuple(findings))


def on_speeds(machine: Machine | None, row_end: RowEndPlan | None, *, where: Where, turns: bool) -> Answer:
    """The answer on the speeds: those of the row-end plan, of its steps, or of the machine, in that order."""
    working = _first(
        row_end.working_speed if row_end else None,
        _speed_in(row_end.entering[::-1]) if row_end else None,
        machine.working_speed if machine else None,
    )
    turning = _first(
        row_end.turning_speed if row_end else None,
        _speed_in(row_end.leaving) if row_end else None,
        machine.turning_speed if machine else None,
    )
    wanted = {"working": working, **({"turning": turning} if turns else {})}
    findings = [SPEED_MISSING.at(where, which=which) for which, speed in wanted.items() if speed is None]
    if turns and working and turning and not turning <= working:
        findings.append(TURNS_FAST.at(where, turning=str(turning), working=str(working)))
    facts: Facts = {
        "working_m_s": working.metres_per_second if working else None,
        "working": str(working) if working else None,
        "turning_m_s": turning.metres_per_second if turning else None,
        "turning": str(turning) if turning else None,
    }
    return Answer(Topic.SPEEDS, (facts,), tuple(findings))


def _missing_for_turns(machine: Machine) -> list[str]:
    missing = []
    if machine.tractor is None or machine.tractor.turning_radius is None:
        missing.append("turning radius")
    for tool in machine.tools:
        if tool.attachment in (Attachment.TRAILED, Attachment.STEERED) and tool.hitch_to_axle is None:
            missing.append(f"length from hitch to axle of {tool.name or 'its tool'}")
    return missing


def _unknown_for_turns(machine: Machine, row_end: RowEndPlan | None) -> list[str]:
    steps = (*row_end.leaving, *row_end.entering) if row_end else ()
    lifts = any(step.action in (Action.REAR_HITCH_RAISE, Action.REAR_HITCH_LOWER) for step in steps)
    behind = {step.reference for step in steps} & {ReferencePoint.HITCH, ReferencePoint.TOOL}
    pulled = any(tool.attachment in (Attachment.TRAILED, Attachment.STEERED) for tool in machine.tools)
    tractor = machine.tractor
    unknown = []
    if tractor is None or tractor.reversing is None:
        unknown.append("whether it may reverse")
    if (behind or pulled) and (tractor is None or tractor.rear_axle_to_hitch is None):
        unknown.append("length from rear axle to hitch")
    for tool in machine.tools:
        name = tool.name or "its tool"
        if tool.attachment is None:
            unknown.append(f"whether {name} is mounted, trailed or steered")
        if tool.lengthwise_offset is None and ReferencePoint.TOOL in behind:
            unknown.append(f"how far behind the hitch {name} works")
        if lifts and (tool.clear_of_soil is None or tool.at_depth is None):
            unknown.append(f"how long {name} takes to lift and to lower")
    return unknown


def _first(*speeds: Speed | None) -> Speed | None:
    return next((speed for speed in speeds if speed), None)


def _speed_in(steps: Sequence[Step]) -> Speed | None:
    return next((step.speed for step in steps if step.speed), None)
