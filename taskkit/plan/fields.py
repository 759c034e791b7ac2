"""Fields: land that is worked as one, with everything that lies on it."""

from __future__ import annotations

from typing import Annotated

from taskkit.plan.base import (
    CropReference,
    CustomerReference,
    FarmReference,
    PlanObject,
    RowEndReference,
    VarietyReference,
)
from taskkit.plan.boundaries import Boundary, Side
from taskkit.plan.features import Feature
from taskkit.plan.guidance import GuidanceLine
from taskkit.plan.headlands import Headland
from taskkit.plan.quantities import Area
from taskkit.plan.row_ends import MachineRowEnd
from taskkit.plan.scalars import FromFile, Listed, Text
from taskkit.plan.words import Purpose

__all__ = ["Field"]


class Field(PlanObject):
    """A field: land that is worked as one, in one or several parts."""

    word = "field"

    name: Text
    code: Annotated[Text | None, FromFile()] = None
    """The office's own short sign for it."""
    official_code: Annotated[Text | None, FromFile()] = None
    """Its sign in a registry."""
    customer: CustomerReference | None = None
    """For whom it is worked."""
    farm: FarmReference | None = None
    """The farm it belongs to."""
    crop: CropReference | None = None
    """What grows on it."""
    variety: VarietyReference | None = None
    """The variety of the crop."""
    declared_area: Annotated[Area | None, FromFile()] = None
    """The area that papers give, whatever the boundary says."""
    boundaries: Listed[Boundary] = ()
    sides: Listed[Side] = ()
    """Runs of the boundary that are told apart."""
    features: Listed[Feature] = ()
    """Things on the ground."""
    lines: Listed[GuidanceLine] = ()
    """Guidance lines."""
    headland: Headland | None = None
    row_end: RowEndReference | None = None
    """The row-end plan that holds on this field."""
    row_ends: Listed[MachineRowEnd] = ()
    """Row-end plans that hold on this field for one machine each."""

    def boundary(self, purpose: Purpose | str | None = None, *, season: str | None = None) -> Boundary | None:
        """The outline to use: the first of the purpose asked for, else of worked, physical, official in that order.

        Args:
            purpose: one purpose and no other.
            season: only outlines of this season.
        """
        wanted = list(Purpose) if purpose is None else [Purpose(purpose)]
        fitting = [b for b in self.boundaries if b.purpose in wanted and season in (None, b.season)]
        return min(fitting, key=lambda b: wanted.index(b.purpose), default=None)
