"""The plan: customers, farms, fields and what the machine does at the end of a row, as values that do not change."""

from __future__ import annotations

import datetime
import enum
import re
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, TypeVar
from uuid import UUID

import pydantic
from pydantic import AfterValidator, BeforeValidator, ConfigDict, FailFast, PlainSerializer, WithJsonSchema

from taskkit.geometry.line import Part
from taskkit.plan.quantities import Area, Length, Speed

if TYPE_CHECKING:
    from pydantic import GetJsonSchemaHandler

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
    "Reference",
    "ReferencePoint",
    "RowEndPlan",
    "Step",
    "StraightLine",
    "TurnShape",
    "TurnSide",
]

FORMAT = 1
"""The newest form of plan.yaml that this program knows."""

# What XML 1.0 cannot carry (its production Char), and so no machine will ever show.
_UNCARRIABLE = re.compile("[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def _text(value: str) -> str:
    if found := _UNCARRIABLE.search(value):
        raise ValueError(f"the text holds U+{ord(found[0]):04X}, a character that XML cannot carry")
    return value


def _uuid(value: Any) -> Any:
    if isinstance(value, str) and not re.fullmatch(r"[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}", value):
        raise ValueError(f"{value[:60]!r} is no UUID; 32 hexadecimal digits in groups of 8-4-4-4-12 are expected")
    return value


def _date(value: Any) -> Any:
    if isinstance(value, str):
        if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", value):
            raise ValueError(f"{value[:60]!r} is no date; year-month-day is expected, such as 2026-03-31")
        return datetime.date.fromisoformat(value)
    return value


def _whole(value: Any) -> Any:
    if isinstance(value, str) and not re.fullmatch(r"[+-]?[0-9]{1,9}", value):
        raise ValueError(f"{value[:60]!r} is no whole number")
    return value


def _number(value: Any) -> Any:
    if isinstance(value, str) and not re.fullmatch(r"[+-]?[0-9]{1,3}(\.[0-9]{1,350})?", value):
        raise ValueError(f"{value[:60]!r} is no number of degrees; a decimal number is expected, such as 54.125")
    return value


def _within(limit: int) -> AfterValidator:
    def judge(value: float) -> float:
        if not abs(value) <= limit:
            raise ValueError(f"{value:.12g} is beyond {limit} degrees")
        return value + 0.0  # -0.0 becomes 0.0

    return AfterValidator(judge)


def _parts(value: Any) -> tuple[Part, ...]:
    if isinstance(value, str):
        from taskkit.geometry.wkt import parse_area

        return parse_area(value)
    parts = tuple(value)
    if not parts or not all(isinstance(part, Part) and all(map(len, part.rings)) for part in parts):
        raise ValueError("an area is expected: WKT text, or at least one part, no ring of it without points")
    return parts


def _wkt(parts: tuple[Part, ...]) -> str:
    from taskkit.geometry.wkt import format_area

    return format_area(parts)


# Plain scalars of plan.yaml are text for us, but a number or a truth value for an editor that follows YAML.
_Text = Annotated[str, AfterValidator(_text), WithJsonSchema({"type": ["string", "number", "boolean"]})]
_Uuid = Annotated[UUID, BeforeValidator(_uuid)]
_Date = Annotated[datetime.date, BeforeValidator(_date)]
_Whole = Annotated[int, BeforeValidator(_whole)]
_Count = Annotated[int, pydantic.Field(ge=0), BeforeValidator(_whole)]
_Longitude = Annotated[
    float,
    BeforeValidator(_number),
    _within(180),
    WithJsonSchema({"type": "number", "minimum": -180, "maximum": 180}),
]
_Latitude = Annotated[
    float,
    BeforeValidator(_number),
    _within(90),
    WithJsonSchema({"type": "number", "minimum": -90, "maximum": 90}),
]
_Parts = Annotated[
    tuple[Part, ...],
    pydantic.PlainValidator(_parts),
    PlainSerializer(_wkt, return_type=str),
    WithJsonSchema({"type": "string", "pattern": "^ *[A-Za-z]+ *\\("}),
]


_T = TypeVar("_T")
# One bad item is told; a list in which every item is bad must not fill memory.
_Listed = Annotated[tuple[_T, ...], FailFast()]


class Reference:
    """Marks a member that names another object of the plan; in plan.yaml by its UUID, its code or its exact name.

    Args:
        collection: the member of the plan that holds the objects meant, e.g. ``customers``.
    """

    def __init__(self, collection: str) -> None:
        self.collection = collection

    def __get_pydantic_json_schema__(self, _schema: Any, _handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"type": ["string", "number", "boolean", "null"]}


_CustomerReference = Annotated[_Uuid | None, Reference("customers")]
_FarmReference = Annotated[_Uuid | None, Reference("farms")]
_RowEndReference = Annotated[_Uuid | None, Reference("row_end_plans")]


class Purpose(enum.StrEnum):
    """What an outline of a field is meant for; in the order in which one is chosen."""

    WORKED = "worked"
    PHYSICAL = "physical"
    OFFICIAL = "official"


class TurnSide(enum.StrEnum):
    """The side to which a turn goes, seen in the direction of travel."""

    LEFT = "left"
    RIGHT = "right"


class TurnShape(enum.StrEnum):
    """The shape of the path from the end of one pass to the start of the next."""

    FLAT_U = "flat U"
    LOOP = "loop"
    HOOK = "hook"
    CROSSING_LOOP = "crossing loop"
    FISHTAIL = "fishtail"
    THREE_POINT = "three-point"
    STRAIGHT_ON = "straight on"


class Action(enum.StrEnum):
    """What the tractor is told to do in one step of a row end."""

    REAR_HITCH_RAISE = "rear hitch raise"
    REAR_HITCH_LOWER = "rear hitch lower"
    FRONT_WHEEL_DRIVE_ON = "front-wheel drive on"
    FRONT_WHEEL_DRIVE_OFF = "front-wheel drive off"
    DIFFERENTIAL_LOCK_ON = "differential lock on"
    DIFFERENTIAL_LOCK_OFF = "differential lock off"
    REAR_PTO_ON = "rear PTO on"
    REAR_PTO_OFF = "rear PTO off"
    SECTIONS_ON = "sections on"
    SECTIONS_OFF = "sections off"
    SPEED = "speed"
    NOTE = "note"


class ReferencePoint(enum.StrEnum):
    """The point of the combination whose crossing of the headland line counts."""

    REAR_AXLE = "rear axle"
    HITCH = "hitch"
    TOOL = "tool"


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

    uuid: _Uuid
    """Stays the same for the whole life of the object, whatever it is called."""

    @property
    def title(self) -> str:
        """The object in a sentence, e.g. ``field Long Acre``."""
        return f"{self.word} {getattr(self, 'name', '')}".rstrip()


class _Address(PlanObject):
    name: _Text
    street: _Text | None = None
    po_box: _Text | None = None
    postal_code: _Text | None = None
    city: _Text | None = None
    state: _Text | None = None
    country: _Text | None = None


class Customer(_Address):
    """Whoever the work is done for."""

    word = "customer"

    name: _Text
    """Last name of a person, or the name of an organisation."""
    first_name: _Text | None = None
    phone: _Text | None = None
    mobile: _Text | None = None
    fax: _Text | None = None
    email: _Text | None = None


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
    season: _Text | None = None
    """The season for which it holds, where that matters."""
    parts: _Parts = pydantic.Field(alias="area")
    """The separate pieces and their holes: WKT, longitude before latitude, degrees in the steering frame."""
    source: _Text | None = None
    """Where it came from: a survey, a map, a registry."""
    method: _Text | None = None
    """How it was measured."""
    date: _Date | None = None
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

    lon_deg: _Longitude = pydantic.Field(title="longitude")
    """Degrees, east positive."""
    lat_deg: _Latitude = pydantic.Field(title="latitude")
    """Degrees, north positive."""


class StraightLine(PlanObject):
    """A guidance line: the geodesic through A and B, to which all passes over the field run parallel."""

    word = "line"

    name: _Text
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
    text: _Text | None = None
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

    name: _Text
    turn: TurnShape | None = None
    """Shape of the turn."""
    side: TurnSide | None = None
    """Side to which the first turn goes."""
    skip: _Count | None = None
    """How many passes are left out between one and the next."""
    leaving: _Listed[Step] = ()
    """Steps while leaving the row: from the pass into the headland."""
    entering: _Listed[Step] = ()
    """Steps while entering the row: from the headland into the pass."""


class Field(PlanObject):
    """A field: land that is worked as one, in one or several parts."""

    word = "field"

    name: _Text
    code: _Text | None = None
    """The office's own short sign for it."""
    customer: _CustomerReference = None
    """For whom it is worked."""
    farm: _FarmReference = None
    """The farm it belongs to."""
    declared_area: Area | None = None
    """The area that papers give, whatever the boundary says."""
    boundaries: _Listed[Boundary] = ()
    lines: _Listed[StraightLine] = ()
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

    format: _Whole = FORMAT
    """Form of this file."""
    name: _Text
    steering_frame: _Text = "unknown"
    """The frame of the correction service that the machines steer by, e.g. ETRS89; all degrees are in it."""
    customers: _Listed[Customer] = ()
    farms: _Listed[Farm] = ()
    fields: _Listed[Field] = ()
    row_end_plans: _Listed[RowEndPlan] = ()
