"""The plan: customers, farms, fields and what the machine does at the end of a row, as values that do not change."""

from __future__ import annotations

from typing import Annotated, ClassVar

import pydantic
from pydantic import ConfigDict

from taskkit.plan.quantities import Area, Length, Speed
from taskkit.plan.scalars import Count, Date, Latitude, Listed, Longitude, Parts, Reference, Text, Uuid, Whole
from taskkit.plan.words import Action, Purpose, ReferencePoint, TurnShape, TurnSide

__all__ = [
    "FORMAT",
    "Action",
    "Boundary",
    "Customer",
    "Farm",
    "Field",
    "Headland",
    "Plan",
    "PlanObject",
    "PlanValue",
    "Position",
    "Purpose",
    "ReferencePoint",
    "RowEndPlan",
    "Step",
    "StraightLine",
    "TurnShape",
    "TurnSide",
]

FORMAT = 1
"""The newest form of plan.yaml that this program knows."""

_CustomerReference = Annotated[Uuid | None, Reference("customers")]
_FarmReference = Annotated[Uuid | None, Reference("farms")]
_RowEndReference = Annotated[Uuid | None, Reference("row_end_plans")]


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


class _Address(PlanObject):
    name: Text
    street: Text | None = None
    po_box: Text | None = None
    postal_code: Text | None = None
    city: Text | None = None
    state: Text | None = None
    country: Text | None = None


class Customer(_Address):
    """Whoever the work is done for."""

    word = "customer"

    name: Text
    """Last name of a person, or the name of an organisation."""
    first_name: Text | None = None
    phone: Text | None = None
    mobile: Text | None = None
    fax: Text | None = None
    email: Text | None = None


class Farm(_Address):
    """A farm: fields that are managed together."""

    word = "farm"

    customer: _CustomerReference = None
    """Whose farm it is."""


class Boundary(PlanObject):
    """One outline of a field, for one purpose, and where it came from.

    It may be bad (crossing itself, parts that overlap): judging is for checks.
    """

    word = "boundary"
    known_by = ("purpose", "season")

    purpose: Purpose = Purpose.WORKED
    """What the outline is meant for."""
    season: Text | None = None
    """The season for which it holds, where that matters."""
    parts: Parts = pydantic.Field(alias="area")
    """The separate pieces and their holes: WKT, longitude before latitude, degrees in the steering frame."""
    source: Text | None = None
    """Where it came from: a survey, a map, a registry."""
    method: Text | None = None
    """How it was measured."""
    date: Date | None = None
    """When it was measured."""
    accuracy: Length | None = None
    """How far the truth may be from it."""

    @property
    def title(self) -> str:
        """The outline in a sentence, e.g. ``worked boundary 2026``."""
        return f"{self.purpose} boundary {self.season or ''}".rstrip()


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


class StraightLine(PlanObject):
    """A guidance line: the geodesic through A and B, to which all passes over the field run parallel."""

    word = "line"

    name: Text
    a: Position = pydantic.Field(title="A")
    """Where the line starts; its direction is from A to B."""
    b: Position = pydantic.Field(title="B")
    """The second point of the line."""
    spacing: Length
    """Distance between neighbouring passes: working width less overlap."""


class Headland(PlanValue):
    """The strip along the boundary in which the combination turns."""

    word = "headland"

    depth: Length
    """Distance from the boundary to the headland line."""


class Step(PlanValue):
    """One thing to do at one place of a row end.

    Raises:
        ValueError: a speed without the action *speed* or the reverse; a text without the action *note* or the reverse.
    """

    word = "step"

    action: Action
    at: Length
    """Row-end distance: along the path from where the reference point crosses the headland line; negative before it."""
    reference: ReferencePoint
    """The point of the combination that crosses the line."""
    speed: Speed | None = None
    """The ground speed to take up; only and always with the action *speed*."""
    text: Text | None = None
    """What the driver is told; only and always with the action *note*."""

    @pydantic.model_validator(mode="after")
    def _argument_fits_action(self) -> Step:
        for action, name, value in ((Action.SPEED, "speed", self.speed), (Action.NOTE, "text", self.text)):
            if self.action == action and value is None:
                raise ValueError(f"the action {action.value!r} needs `{name}`")
            if self.action != action and value is not None:
                raise ValueError(f"`{name}` goes with the action {action.value!r} only")
        return self


class RowEndPlan(PlanObject):
    """What happens between the end of one pass and the start of the next."""

    word = "row-end plan"

    name: Text
    turn: TurnShape | None = None
    """Shape of the turn."""
    side: TurnSide | None = None
    """Side to which the first turn goes."""
    skip: Count | None = None
    """How many passes are left out between one and the next."""
    leaving: Listed[Step] = ()
    """Steps while leaving the row: from the pass into the headland."""
    entering: Listed[Step] = ()
    """Steps while entering the row: from the headland into the pass."""


class Field(PlanObject):
    """A field: land that is worked as one, in one or several parts."""

    word = "field"

    name: Text
    code: Text | None = None
    """The office's own short sign for it."""
    customer: _CustomerReference = None
    """For whom it is worked."""
    farm: _FarmReference = None
    """The farm it belongs to."""
    declared_area: Area | None = None
    """The area that papers give, whatever the boundary says."""
    boundaries: Listed[Boundary] = ()
    lines: Listed[StraightLine] = ()
    """Guidance lines."""
    headland: Headland | None = None
    row_end: _RowEndReference = None
    """The row-end plan that holds on this field."""

    def boundary(self, purpose: Purpose | str | None = None, *, season: str | None = None) -> Boundary | None:
        """The outline to use: the first of the purpose asked for, else of worked, physical, official in that order.

        Args:
            purpose: one purpose and no other.
            season: only outlines of this season.
        """
        wanted = list(Purpose) if purpose is None else [Purpose(purpose)]
        fitting = [b for b in self.boundaries if b.purpose in wanted and season in (None, b.season)]
        return min(fitting, key=lambda b: wanted.index(b.purpose), default=None)


class Plan(PlanObject):
    """Everything that the office plans together."""

    word = "plan"

    format: Whole = FORMAT
    """Form of this file."""
    name: Text
    steering_frame: Text = "unknown"
    """The frame of the correction service that the machines steer by, e.g. ETRS89; all degrees are in it."""
    customers: Listed[Customer] = ()
    farms: Listed[Farm] = ()
    fields: Listed[Field] = ()
    row_end_plans: Listed[RowEndPlan] = ()
