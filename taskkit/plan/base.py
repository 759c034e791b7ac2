"""What everything in a plan has in common: values that do not change, objects that keep their identity."""

from __future__ import annotations

from typing import Annotated, ClassVar

import pydantic
from pydantic import ConfigDict

from taskkit.plan.quantities import Length
from taskkit.plan.scalars import Latitude, Longitude, Reference, Text, Uuid

__all__ = [
    "CropReference",
    "CustomerReference",
    "FarmReference",
    "FeatureReference",
    "FieldReference",
    "LineReference",
    "MachineReference",
    "OperationReference",
    "Origin",
    "PlanObject",
    "PlanValue",
    "Position",
    "ProductReference",
    "RowEndReference",
    "ShiftReference",
    "SideReference",
    "VarietyReference",
    "WorkerReference",
]

CustomerReference = Annotated[Uuid, Reference("customers")]
FarmReference = Annotated[Uuid, Reference("farms")]
FieldReference = Annotated[Uuid, Reference("fields")]
MachineReference = Annotated[Uuid, Reference("machines")]
RowEndReference = Annotated[Uuid, Reference("row_end_plans")]
WorkerReference = Annotated[Uuid, Reference("workers")]
OperationReference = Annotated[Uuid, Reference("operations")]
CropReference = Annotated[Uuid, Reference("crops")]
VarietyReference = Annotated[Uuid, Reference("varieties", of="crop")]
ProductReference = Annotated[Uuid, Reference("products")]
FeatureReference = Annotated[Uuid, Reference("features", of="field")]
SideReference = Annotated[Uuid, Reference("sides", of="field")]
LineReference = Annotated[Uuid, Reference("lines", of="field", shared="shared_lines")]
ShiftReference = Annotated[Uuid, Reference("shifts", of="line")]


class PlanValue(pydantic.BaseModel):
    """A value inside the plan: it never changes, and it has nothing that is not declared."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        populate_by_name=True,
        use_attribute_docstrings=True,
        field_title_generator=lambda name, _: name.replace("_", " "),
    )

    word: ClassVar[str]
    """What such a thing is called in a sentence."""
    leads: ClassVar[tuple[str, ...]] = ()
    """The members that come before the others, where that is not the order in which they are declared."""


class PlanObject(PlanValue):
    """A thing of the plan that keeps its identity while its properties change."""

    known_by: ClassVar[tuple[str, ...]] = ("name",)
    """The members by which people tell it from others of its kind."""

    uuid: Uuid
    """Stays the same for the whole life of the object, whatever it is called."""

    @property
    def title(self) -> str:
        """The object in a sentence, e.g. ``field Long Acre``."""
        return f"{self.word} {getattr(self, 'name', '')}".rstrip()


class Position(PlanValue):
    """A place on the ground, in the plan's steering frame.

    Raises:
        ValueError: not finite, a longitude beyond 180 or a latitude beyond 90 degrees.
    """

    word = "position"

    lon_deg: Longitude = pydantic.Field(title="longitude")
    """Degrees, east positive."""
    lat_deg: Latitude = pydantic.Field(title="latitude")
    """Degrees, north positive."""


class Origin(PlanValue):
    """The reference system that coordinates came in, and how they were brought into the steering frame."""

    word = "origin"

    crs: Text | None = None
    """The coordinate reference system of the source, e.g. EPSG:25832."""
    frame: Text | None = None
    """The frame that system lies in, e.g. ETRS89."""
    epoch: Text | None = None
    """The date, as a year with decimals, for which coordinates in that frame hold."""
    operation: Text | None = None
    """What was done to bring them into the steering frame."""
    operation_accuracy: Length | None = None
    """How far off that may have put them, as its publisher states."""
