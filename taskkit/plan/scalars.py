"""Single values of the plan, read from text and told to editors: texts, UUIDs, dates, numbers, areas, references."""

from __future__ import annotations

import datetime
import re
from typing import TYPE_CHECKING, Annotated, Any, TypeVar
from uuid import UUID

import pydantic
from pydantic import AfterValidator, BeforeValidator, FailFast, PlainSerializer, WithJsonSchema

from taskkit.geometry.line import Part

if TYPE_CHECKING:
    from pydantic import GetJsonSchemaHandler

__all__ = ["Count", "Date", "Latitude", "Listed", "Longitude", "Parts", "Reference", "Text", "Uuid", "Whole"]

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
Parts = Annotated[
    tuple[Part, ...],
    pydantic.PlainValidator(_parts),
    PlainSerializer(_wkt, return_type=str),
    WithJsonSchema({"type": "string", "pattern": "^ *[A-Za-z]+ *\\("}),
]


_T = TypeVar("_T")
# One bad item is told; a list in which every item is bad must not fill memory.
Listed = Annotated[tuple[_T, ...], FailFast()]


class Reference:
    """Marks a member that names another object of the plan; in plan.yaml by its UUID, its code or its exact name.

    Args:
        collection: the member of the plan that holds the objects meant, e.g. ``customers``.
    """

    def __init__(self, collection: str) -> None:
        self.collection = collection

    def __get_pydantic_json_schema__(self, _schema: Any, _handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"type": ["string", "number", "boolean", "null"]}
