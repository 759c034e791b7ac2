"""The look at a plan, field by field and job by job."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Sequence

from taskkit.findings import Finding, Severity, Where, kind
from taskkit.plan.choices import headland_of, row_end_of
from taskkit.plan.model import BoundaryChoice, Field, Job, Plan
from taskkit.plan.quantities import Length
from taskkit.plan.sense import outliers
from taskkit.readiness.answers import Answer, FieldAnswers, JobAnswers, Readiness, Topic
from taskkit.readiness.lines import has_row_ends, lines_for, on_lines
from taskkit.readiness.machines import machine_of, on_machine, on_speeds, working_width
from taskkit.readiness.outlines import on_boundary
from taskkit.readiness.row_ends import on_headland, on_row_end

__all__ = ["readiness"]

_PRACTICE = "common practice, no source"

FRAME_UNKNOWN = kind(
    "steering-frame-unknown",
    Severity.WARNING,
    "The plan does not say in which frame its degrees are.",
    hint="Write `steering_frame`: the frame of the correction service that the machines steer by, such as ETRS89.",
    why="The same degrees in another frame lie up to metres away on the ground.",
    source=_PRACTICE,
)
IMPLAUSIBLE = kind(
    "value-implausible",
    Severity.WARNING,
    "{label} is {value}; from {least} to {most} is usual.",
    hint="Look whether the unit is right.",
    why="A slip of the pen here is a machine in the ditch there.",
    source=_PRACTICE,
)
UNNAMED = kind(
    "field-unnamed",
    Severity.ERROR,
    "The field has no name.",
    hint="Write its `name`.",
    why="The driver finds it by name only.",
    source=_PRACTICE,
)
NAMED_TWICE = kind(
    "field-name-twice",
    Severity.WARNING,
    "{count} fields of that farm are called {name}.",
    hint="Give each a name of its own, or write a code.",
    why="In the terminal's list they look the same.",
    source=_PRACTICE,
)
NO_CUSTOMER = kind(
    "field-without-customer",
    Severity.WARNING,
    "The field has no customer, and its farm has none.",
    hint="Write its `customer`, or that of its farm.",
    why="Terminals list fields by customer and farm; this one hides in a list without a name.",
    source=_PRACTICE,
)
NO_FARM = kind(
    "field-without-farm",
    Severity.WARNING,
    "The field has no farm.",
    hint="Write its `farm`.",
    why="Terminals list fields by customer and farm; this one hides in a list without a name.",
    source=_PRACTICE,
)


def readiness(
    plan: Plan,
    *,
    on: datetime.date,
    fields: Sequence[Field] | None = None,
    jobs: Sequence[Job] | None = None,
    boundary: BoundaryChoice | None = None,
) -> Readiness:
    """What export and turning by itself need of a plan and lack, and what is there.

    Args:
        plan: the whole.
        on: the day on which the age of outlines is judged.
        fields: the fields to look at, all where nothing is said.
        jobs: the jobs to look at, likewise; with some given, fields without any of them are passed over.
        boundary: the outline of each field that counts, where it is not the usual one and a job says no other.
    """
    chosen = plan.jobs if jobs is None else jobs
    asked = []
    for field in plan.fields if fields is None else fields:
        own = [job for job in chosen if job.field == field.uuid]
        if own or jobs is None:
            asked.append(_on_field(plan, field, own, on, boundary))
    return Readiness(plan.name, (_on_frame(plan), _on_values(plan)), tuple(asked))


def _on_frame(plan: Plan) -> Answer:
    where = Where(id=str(plan.uuid))
    unknown = plan.steering_frame.strip().lower() in ("", "unknown")
    facts = {"frame": plan.steering_frame, "crs": plan.steering_crs}
    return Answer(Topic.FRAME, (facts,), (FRAME_UNKNOWN.at(where),) if unknown else ())


def _on_values(plan: Plan) -> Answer:
    findings = tuple(
        IMPLAUSIBLE.at(
            Where(id=str(one.leaf.owner)),
            label=one.leaf.label,
            value=str(one.leaf.value),
            least=one.least,
            most=one.most,
        )
        for one in outliers(plan)
    )
    return Answer(Topic.VALUES, findings=findings)


def _on_field(
    plan: Plan, field: Field, jobs: Sequence[Job], on: datetime.date, boundary: BoundaryChoice | None
) -> FieldAnswers:
    machines = [machine for job in jobs if (machine := machine_of(plan, job))]
    half = _half(working_width(machines[0])) if machines else None
    answers = (_on_names(plan, field), on_boundary(plan, field, on=on, choice=boundary, half_width=half))
    each: Sequence[Job | None] = jobs or [None]
    return FieldAnswers(
        field.uuid, field.name, field.code, answers, tuple(_on_job(plan, field, job, on, boundary) for job in each)
    )


def _on_job(
    plan: Plan, field: Field, job: Job | None, on: datetime.date, boundary: BoundaryChoice | None
) -> JobAnswers:
    where = Where(id=str(job.uuid if job else field.uuid))
    choice = (job.boundary if job else None) or boundary
    outline = field.boundary(choice.purpose, season=choice.season) if choice else field.boundary()
    machine = machine_of(plan, job)
    row_end = row_end_of(plan, field, job=job)
    made_for = next((one for one in plan.machines if row_end and one.uuid == row_end.machine), None)
    lines = lines_for(plan, field, job)
    turns = not lines or any(map(has_row_ends, lines))
    width = working_width(machine)
    answers = []
    if job and job.boundary:
        answers.append(on_boundary(plan, field, on=on, choice=job.boundary, half_width=_half(width)))
    answers.append(
        on_lines(
            plan,
            field,
            job,
            outline=outline,
            width_m=width.metres if width else None,
            width=str(width) if width else None,
        )
    )
    if turns:
        answers.append(on_headland(headland_of(field, job), row_end, machine, lines, where=where))
        # Without a job there is no machine, and the row-end plan may be the machine's.
        if job or row_end:
            answers.append(on_row_end(row_end, machine, lines, where=where, made_for=made_for))
    answers.append(on_machine(job, machine, row_end, where=where, turns=turns))
    if job:
        answers.append(on_speeds(machine, row_end, where=where, turns=turns))
    return JobAnswers(job.uuid if job else None, job.name if job else None, tuple(answers))


def _half(width: Length | None) -> Length | None:
    return Length.of(round(width.metres / 2, 3)) if width else None


def _on_names(plan: Plan, field: Field) -> Answer:
    where = Where(id=str(field.uuid))
    farm = next((one for one in plan.farms if one.uuid == field.farm), None)
    owner = field.customer or (farm.customer if farm else None)
    customer = next((one for one in plan.customers if one.uuid == owner), None)
    findings: list[Finding] = []
    same = Counter((one.farm, one.name, one.code) for one in plan.fields)[field.farm, field.name, field.code]
    if not field.name.strip():
        findings.append(UNNAMED.at(where))
    elif same > 1:
        findings.append(NAMED_TWICE.at(where, name=field.name, count=same))
    if farm is None:
        findings.append(NO_FARM.at(where))
    if customer is None:
        findings.append(NO_CUSTOMER.at(where))
    facts = {
        "field": field.name,
        "code": field.code,
        "farm": farm.name if farm else None,
        "customer": " ".join(filter(None, (customer.first_name, customer.name))) if customer else None,
    }
    return Answer(Topic.NAMES, (facts,), tuple(findings))
