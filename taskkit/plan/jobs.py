"""Jobs: which machine does what on which field, along which lines."""

from __future__ import annotations

import pydantic

from taskkit.plan.base import (
    CropReference,
    FieldReference,
    LineReference,
    MachineReference,
    OperationReference,
    PlanObject,
    PlanValue,
    ProductReference,
    RowEndReference,
    ShiftReference,
    VarietyReference,
    WorkerReference,
)
from taskkit.plan.headlands import Headland
from taskkit.plan.scalars import Date, Listed, Text
from taskkit.plan.words import Order, Purpose

__all__ = ["BoundaryChoice", "Job", "JobLine"]


class JobLine(PlanValue):
    """A guidance line that a job uses, and where the pattern lies for it."""

    word = "line of a job"

    line: LineReference
    """A line of the job's field, its own or a shared one."""
    shift: ShiftReference | None = None
    """A shift of that line, by its date."""


class BoundaryChoice(PlanValue):
    """The outline that a job goes by."""

    word = "choice of a boundary"

    purpose: Purpose | None = None
    season: Text | None = None


class Job(PlanObject):
    """One piece of work on one field."""

    word = "job"

    name: Text
    field: FieldReference
    machine: MachineReference | None = None
    lines: Listed[JobLine] = ()
    """The guidance lines to steer by."""
    boundary: BoundaryChoice | None = None
    """The outline to go by, where it is not the usual one."""
    headland: Headland | None = None
    """The headland of this job, where it is not the field's."""
    headland_worked: Order | None = None
    """Whether the headland is worked before the main field or after it."""
    row_end: RowEndReference | None = None
    """The row-end plan of this job, where it is not that of the field or the machine."""
    start: Date | None = None
    """The day on which it is to begin."""
    end: Date | None = None
    """The day on which it is to be done."""
    worker: WorkerReference | None = None
    operation: OperationReference | None = None
    crop: CropReference | None = None
    variety: VarietyReference | None = None
    """The variety of that crop."""
    product: ProductReference | None = None

    @pydantic.model_validator(mode="after")
    def _ends_after_it_begins(self) -> Job:
        if self.start and self.end and self.end < self.start:
            raise ValueError("`end` is before `start`")
        return self
