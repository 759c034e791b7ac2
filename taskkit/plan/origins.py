"""Where coordinates came from: the reference system that they came in, and what brought them into the plan's frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from uuid import UUID

from taskkit.plan.base import Origin
from taskkit.plan.model import BoundaryChoice, Plan
from taskkit.plan.quantities import Length

if TYPE_CHECKING:
    from taskkit.geometry.datum import Placed

__all__ = ["OutlineOrigin", "origin_of", "outline_origins"]


@dataclass(frozen=True, slots=True)
class OutlineOrigin:
    """How the outline of a field came into the plan.

    Attributes:
        field: UUID of the field.
        name: its name.
        boundary: UUID of its outline.
        origin: the system that it came in.
        plain: whether it lies in the steering frame by itself: nothing moved it, and nobody had to guess.
    """

    field: UUID
    name: str
    boundary: UUID
    origin: Origin
    plain: bool


def origin_of(placed: Placed, *, epoch: float | None = None) -> Origin:
    """The origin of coordinates that were brought to a steering frame.

    Args:
        placed: how that was done.
        epoch: when the coordinates held, as a year; None where nobody says.
    """
    return Origin(
        crs=placed.crs_code or placed.crs_name,
        frame=placed.crs_frame,
        epoch=None if epoch is None else f"{epoch:.10g}",
        operation=placed.operation,
        operation_accuracy=None if placed.accuracy_m is None else Length.of(placed.accuracy_m),
    )


def outline_origins(plan: Plan, *, boundary: BoundaryChoice | None = None) -> tuple[OutlineOrigin, ...]:
    """The origin of the chosen outline of each field, as far as the plan has it, in the order of the plan.

    Args:
        plan: the whole.
        boundary: which outline of each field; the usual one where nothing is said.
    """
    found = []
    for field in plan.fields:
        outline = field.boundary(boundary.purpose, season=boundary.season) if boundary else field.boundary()
        if outline is not None and outline.origin is not None:
            plain = _is_plain(outline.origin, plan.steering_frame)
            found.append(OutlineOrigin(field.uuid, field.name, outline.uuid, outline.origin, plain))
    return tuple(found)


def _is_plain(origin: Origin, frame: str) -> bool:
    moved = origin.operation_accuracy is None or origin.operation_accuracy.metres > 0
    known = origin.frame is None or origin.frame.casefold() == frame.casefold()
    return known and not (moved and origin.operation)
