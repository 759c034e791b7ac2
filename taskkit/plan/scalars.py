"""Single values of the plan, read from text and told to editors: texts, UUIDs, dates, numbers, shapes, references."""

from __future__ import annotations

import datetime
import re
from typing import TYPE_CHECKING, Annotated, Any, TypeVar
from uuid import UUID

import pydantic
from pydantic import AfterValidator, BeforeValidator, FailFast, PlainSerializer, WithJsonSchema

from taskkit.geometry.line import LonLatLine, Part
from taskkit.plan.places import Place

if TYPE_CHECKING:
    from pydantic import GetJsonSchemaHandler

__all__ = [
    "Count",
    "Date",
    "FromFile",
    "FromSheet",
    "Heading",
    "Latitude",
    "Line",
    "Listed",
    "Longitude",
    "Parts",
    "PlaceOnGround",
    "Positive",
    "Reference",
    "Text",
    "Uuid",
    "Whole",
    "YesNo",
]

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
    if isinstance(value, str) and not re.fullmatch(r"[+-]?[0-9]{1,10}", value):
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


def _heading(value: float) -> float:
    if not 0 <= value <= 360:
        raise ValueError(f"{value:.12g} is no heading; degrees from 0 to 360, clockwise from north, are expected")
    return value + 0.0


def _yes_no(value: Any) -> Any:
    if isinstance(value, str):
        found = {"yes": True, "true": True, "no": False, "false": False}.get(value.lower())
        if found is None:
            raise ValueError(f"{value[:60]!r} is neither yes nor no")
        return found
    return value


def _line(value: Any) -> LonLatLine:
    if isinstance(value, str):
        from taskkit.geometry.wkt import parse_line

        return parse_line(value)
    if not isinstance(value, LonLatLine) or len(value) < 2:
        raise ValueError("a line is expected: WKT text, or at least two points")
    return value


def _line_text(line: LonLatLine) -> str:
    from taskkit.geometry.wkt import format_line

    return format_line(line)


def _place(value: Any) -> Place:
    if isinstance(value, str):
        return Place.parsed(value)
    if not isinstance(value, Place):
        raise ValueError("a place is expected: WKT text of a point, a line or an area")
    return value


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
Text = Annotated[str, AfterValidator(_text), WithJsonSchema({"type": ["string", "number", "boolean"]})]
Uuid = Annotated[UUID, BeforeValidator(_uuid)]
Date = Annotated[datetime.date, BeforeValidator(_date)]
Whole = Annotated[int, BeforeValidator(_whole)]
Count = Annotated[int, pydantic.Field(ge=0), BeforeValidator(_whole)]
Longitude = Annotated[
    float,
    BeforeValidator(_number),
    _within(180),
    WithJsonSchema({"type": "number", "minimum": -180, "maximum": 180}),
]
Latitude = Annotated[
    float,
    BeforeValidator(_number),
    _within(90),
    WithJsonSchema({"type": "number", "minimum": -90, "maximum": 90}),
]
Heading = Annotated[
    float,
    BeforeValidator(_number),
    AfterValidator(_heading),
    WithJsonSchema({"type": "number", "minimum": 0, "maximum": 360}),
]
Positive = Annotated[int, pydantic.Field(ge=1), BeforeValidator(_whole)]
YesNo = Annotated[bool, BeforeValidator(_yes_no), WithJsonSchema({"enum": [True, False, "yes", "no"]})]


class FromFile:
    """Marks a member whose value may stand in a GIS file beside the plan.

    Args:
        shape: whether it is a shape, and not a value in a column.
    """

    def __init__(self, *, shape: bool = False) -> None:
        self.shape = shape

    def __get_pydantic_json_schema__(self, schema: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"anyOf": [handler(schema), _FROM_FILE_SHAPE if self.shape else _FROM_FILE]}


class FromSheet:
    """Marks a list whose objects may stand in a sheet (CSV) beside the plan."""

    def __get_pydantic_json_schema__(self, schema: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"anyOf": [handler(schema), _FROM_SHEET]}


def _keys(about: str, *required: str, **keys: str) -> dict[str, Any]:
    properties = {key: {"type": ["string", "number", "boolean"], "description": said} for key, said in keys.items()}
    schema = {"type": "object", "description": about, "properties": properties, "required": list(required)}
    return schema | {"additionalProperties": False}


_ROW = {
    "file": "The file, in the folder of the plan or below it.",
    "layer": "Which layer, where the file has several.",
    "where": "Which row: COLUMN = value.",
}
_FROM_FILE_SHAPE = _keys("The shape stands in a GIS file beside the plan.", "file", **_ROW)
_FROM_FILE = _keys(
    "The value stands in a GIS file beside the plan.",
    "file",
    "column",
    **_ROW,
    column="The column with the value.",
    unit="The unit of the numbers in that column.",
)
_FROM_SHEET = _keys(
    "The list stands in a sheet (CSV) beside the plan.",
    "sheet",
    sheet="The file, in the folder of the plan or below it.",
)

_WKT = "^ *[A-Za-z]+ *\\("
Parts = Annotated[
    tuple[Part, ...],
    pydantic.PlainValidator(_parts),
    PlainSerializer(_wkt, return_type=str),
    WithJsonSchema({"type": "string", "pattern": _WKT}),
    FromFile(shape=True),
]
Line = Annotated[
    LonLatLine,
    pydantic.PlainValidator(_line),
    PlainSerializer(_line_text, return_type=str),
    WithJsonSchema({"type": "string", "pattern": _WKT}),
    FromFile(shape=True),
]
PlaceOnGround = Annotated[
    Place,
    pydantic.PlainValidator(_place),
    PlainSerializer(str, return_type=str),
    WithJsonSchema({"type": "string", "pattern": _WKT}),
    FromFile(shape=True),
]


_T = TypeVar("_T")
# One bad item is told; a list in which every item is bad must not fill memory.
Listed = Annotated[tuple[_T, ...], FailFast()]


class Reference:
    """Marks a member that names another object of the plan; in plan.yaml by its UUID, its code or its exact name.

    Args:
        collection: the member that holds the objects meant, e.g. ``customers``.
        of: whose member that is: the word of an object around the reference (``field``), or a reference beside or
            around it that leads to the object (``line``). Without it the plan's.
        shared: a member of the plan that holds more such objects, each with the ``fields`` that it is meant for.
    """

    def __init__(self, collection: str, *, of: str | None = None, shared: str | None = None) -> None:
        self.collection = collection
        self.of = of
        self.shared = shared

    def __get_pydantic_json_schema__(self, _schema: Any, _handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"type": ["string", "number", "boolean", "null"]}
