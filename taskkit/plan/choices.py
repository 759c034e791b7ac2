"""What holds where several could: the lines of a field, and the outline, headland and row end of a job."""

from __future__ import annotations

from uuid import UUID

from taskkit.plan.boundaries import Boundary
from taskkit.plan.fields import Field
from taskkit.plan.guidance import GuidanceLine
from taskkit.plan.headlands import Headland
from taskkit.plan.identity import derived
from taskkit.plan.jobs import Job
from taskkit.plan.model import Plan
from taskkit.plan.quantities import Length
from taskkit.plan.row_ends import RowEndPlan

__all__ = ["boundary_of", "copied_to", "headland_of", "line_on", "lines_of", "row_end_of", "spacing_of"]


def lines_of(plan: Plan, field: Field) -> tuple[GuidanceLine, ...]:
    """The guidance lines of a field: its own, then a copy of each that it shares with others.

    On the first field that shares it, a line keeps its UUID and those of its shifts; on another they are derived from
    that field's (``line_on``), so that they are the same each time.
    """
    shared = (line for line in plan.shared_lines if field.uuid in line.fields)
    return (*field.lines, *(_copy(line, field.uuid) for line in shared))


def spacing_of(plan: Plan, field: Field) -> Length | None:
    """The spacing that headland passes of a field go by: that of its first line; None without one, or where it is 0."""
    first = next(iter(lines_of(plan, field)), None)
    return first.spacing if first and first.spacing.metres > 0 else None


def line_on(plan: Plan, line: UUID, field: UUID) -> UUID:
    """The UUID that a line, as a job names it, has on a field: its own, or that of the copy of a shared line."""
    shared = next((one for one in plan.shared_lines if one.uuid == line), None)
    return line if shared is None or field == shared.fields[0] else copied_to(line, field)


def _copy(line: GuidanceLine, field: UUID) -> GuidanceLine:
    cls: type[GuidanceLine] = type(line).__bases__[0]
    values = {name: getattr(line, name) for name in cls.model_fields}
    if field != line.fields[0]:  # type: ignore[union-attr]
        values["uuid"] = copied_to(line.uuid, field)
        values["shifts"] = tuple(
            shift.model_copy(update={"uuid": copied_to(shift.uuid, field)}) for shift in line.shifts
        )
    return cls.model_validate(values)


def copied_to(one: UUID, field: UUID) -> UUID:
    """The UUID of the copy, on a field that is not its first, of a shared line or of a shift of one."""
    return derived(one, f"field/{field}")


def boundary_of(field: Field, job: Job | None = None) -> Boundary | None:
    """The outline of a field that a job goes by; without a job, or a choice of its own, the usual one."""
    choice = job.boundary if job else None
    return field.boundary(choice.purpose, season=choice.season) if choice else field.boundary()


def headland_of(field: Field, job: Job | None = None) -> Headland | None:
    """The headland of a job: its own, or else the field's."""
    return (job.headland if job else None) or field.headland


def row_end_of(plan: Plan, field: Field, *, machine: UUID | None = None, job: Job | None = None) -> RowEndPlan | None:
    """The row-end plan that a machine follows on a field.

    The first there is of: the job's, the field's for that machine, the field's, the machine's, the only one that was
    made for that machine.

    Args:
        plan: the whole.
        field: where.
        machine: which machine; that of the job where it is not given.
        job: for which job.
    """
    machine = machine or (job.machine if job else None)
    own = next((one for one in plan.machines if one.uuid == machine), None)
    made_for = [one.uuid for one in plan.row_end_plans if machine is not None and one.machine == machine]
    chosen = (
        job.row_end if job else None,
        next((one.row_end for one in field.row_ends if one.machine == machine), None),
        field.row_end,
        own.row_end if own else None,
        made_for[0] if len(made_for) == 1 else None,
    )
    uuid = next((one for one in chosen if one is not None), None)
    return next((one for one in plan.row_end_plans if one.uuid == uuid), None)
