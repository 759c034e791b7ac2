"""What the standard says of every element and attribute, read from the tables in ``schemas/dictionary``."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal, InvalidOperation
from types import MappingProxyType
from typing import Any, TypeVar

from taskkit.errors import InternalError
from taskkit.findings import Confidence
from taskkit.shipped import schema_file
from taskkit.taskdata.version import Version

__all__ = [
    "ANY",
    "LINK_ROOT",
    "ROOTS",
    "TASK_ROOT",
    "TYPES",
    "Attribute",
    "ChildRule",
    "Dictionary",
    "Element",
    "Span",
    "Value",
    "dictionary",
]

TASK_ROOT = "ISO11783_TaskData"
LINK_ROOT = "ISO11783LinkList"
ROOTS = (TASK_ROOT, LINK_ROOT)
"""The root elements: of the task file and of the link list."""

ANY = "*"
"""The target of a reference that may name any element."""

TYPES = frozenset(
    [
        "ID",
        "IDREF",
        "NCName",
        "NMTOKEN",
        "anyURI",
        "dateTime",
        "decimal",
        "double",
        "hexBinary",
        "language",
        "long",
        "string",
        "token",
        "unsignedByte",
        "unsignedLong",
        "unsignedShort",
    ]
)
"""The XML Schema types that the tables use."""

_Row = TypeVar("_Row")
_NONE: Mapping[str, Any] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Span:
    """The versions in which a row of the tables holds.

    Attributes:
        since: the first version.
        until: the last one, None for a row that holds to this day.
        sure: False where the first version is in doubt, so that nobody may be blamed for using it earlier.
    """

    since: Version
    until: Version | None = None
    sure: bool = True

    def __contains__(self, version: Version) -> bool:
        return self.since <= version and (self.until is None or version <= self.until)


@dataclass(frozen=True, slots=True)
class Value:
    """A value that an attribute may have, and what it means."""

    value: str
    meaning: str
    confidence: Confidence
    span: Span


@dataclass(frozen=True, slots=True)
class Attribute:
    """What the standard says of one attribute.

    Attributes:
        element: code of the element that has it.
        code: its name in the file, e.g. ``C``; a letter but for the roots.
        name: its name in the standard, e.g. ``PartfieldDesignator``.
        type: XML Schema type, one of ``TYPES``.
        required: whether it must be there.
        minimum: least number, None where there is no limit or it is no number.
        maximum: greatest number, likewise.
        max_length: greatest length in characters; in octets (two digits each) for ``hexBinary``.
        pattern: regular expression, ASCII only, that the whole text must match.
        values: the values allowed, in order; empty where the type is no enumeration.
        target: code of the element that it names, ``ANY`` for any, None where it is no reference.
        unit: unit of the number as it is written, None where it has none.
        scale: what 1 is in SI (metres, square metres, seconds; degrees and bytes stay), None without a unit.
        confidence: how sure all this is.
        source: where it comes from.
        about: what it is, in one sentence.
        span: the versions in which it holds.
    """

    element: str
    code: str
    name: str
    type: str
    required: bool
    minimum: Decimal | None
    maximum: Decimal | None
    max_length: int | None
    pattern: str | None
    values: tuple[Value, ...]
    target: str | None
    unit: str | None
    scale: Decimal | None
    confidence: Confidence
    source: str
    about: str
    span: Span


@dataclass(frozen=True, slots=True)
class ChildRule:
    """How many of one element another may hold directly.

    Attributes:
        parent: code of the element that holds.
        child: code of the element held.
        minimum: how many at least.
        maximum: how many at most, None for any number.
        confidence: how sure the numbers are.
        source: where they come from.
        span: the versions in which they hold.
    """

    parent: str
    child: str
    minimum: int
    maximum: int | None
    confidence: Confidence
    source: str
    span: Span


@dataclass(frozen=True, slots=True)
class Element:
    """What the standard says of one element.

    Attributes:
        code: its name in the file, e.g. ``PFD``.
        name: its name in the standard, e.g. ``Partfield``.
        about: what it is, in one sentence.
        file: ``task`` or ``linklist``, the file that it stands in.
        attributes: code -> attribute, in the order of the table.
        children: code -> rule for the elements that it may hold, likewise.
        confidence: how sure the element itself is.
        source: where it comes from.
        span: the versions that have it.
    """

    code: str
    name: str
    about: str
    file: str
    attributes: Mapping[str, Attribute]
    children: Mapping[str, ChildRule]
    confidence: Confidence
    source: str
    span: Span


@dataclass(frozen=True, slots=True)
class Dictionary:
    """Everything that holds in one version.

    Attributes:
        version: the version.
        elements: code -> element, in the order of the table.
    """

    version: Version
    elements: Mapping[str, Element]


@functools.cache
def dictionary(version: Version = Version.V4_3) -> Dictionary:
    """The rows of the tables that hold in a version.

    An enumeration that lacks a value only because the value's first version is in doubt is itself
    in doubt: its attribute is then never of high confidence.

    Raises:
        InternalError: a table is malformed; the program must not go on with a broken standard.
    """
    tables = _tables()
    attributes: dict[str, dict[str, Attribute]] = {}
    for attribute in tables.attributes:
        if version in attribute.span:
            _put(attributes.setdefault(attribute.element, {}), attribute.code, _in_version(attribute, version))
    children: dict[str, dict[str, ChildRule]] = {}
    for rule in tables.children:
        if version in rule.span:
            _put(children.setdefault(rule.parent, {}), rule.child, rule)
    named = {*attributes, *children, *(child for rules in children.values() for child in rules)}
    elements: dict[str, Element] = {}
    for element in tables.elements:
        if version in element.span:
            own = MappingProxyType(attributes.get(element.code, {}))
            held = MappingProxyType(children.get(element.code, {}))
            _put(elements, element.code, replace(element, attributes=own, children=held))
    if strangers := sorted(named - elements.keys()):
        raise InternalError(f"schemas/dictionary: version {version} has rows for elements that it lacks: {strangers}")
    return Dictionary(version, MappingProxyType(elements))


def _in_version(attribute: Attribute, version: Version) -> Attribute:
    values = tuple(v for v in attribute.values if version in v.span)
    if values == attribute.values:
        return attribute
    doubtful = any(not v.span.sure for v in attribute.values if version not in v.span)
    lowered = doubtful and attribute.confidence is Confidence.HIGH
    return replace(attribute, values=values, confidence=Confidence.MEDIUM if lowered else attribute.confidence)


def _put(rows: dict[str, _Row], code: str, row: _Row) -> None:
    if code in rows:
        raise InternalError(f"schemas/dictionary: two rows hold at once: {rows[code]} and {row}")
    rows[code] = row


@dataclass(frozen=True, slots=True)
class _Tables:
    elements: tuple[Element, ...]
    attributes: tuple[Attribute, ...]
    children: tuple[ChildRule, ...]


@functools.cache
def _tables() -> _Tables:
    values: dict[tuple[str, str], list[Value]] = {}
    for element, attribute, value in _read("values.tsv", _value):
        values.setdefault((element, attribute), []).append(value)
    tables = _Tables(
        _read("elements.tsv", _element),
        _read("attributes.tsv", lambda row: _attribute(row, tuple(values.get((row["element"], row["code"]), ())))),
        _read("children.tsv", _child),
    )
    if lost := sorted(values.keys() - {(a.element, a.code) for a in tables.attributes}):
        raise InternalError(f"schemas/dictionary: there are values for attributes that do not exist: {lost}")
    return tables


def _read(table: str, make: Callable[[Mapping[str, str]], _Row]) -> tuple[_Row, ...]:
    header, *lines = schema_file("dictionary", table).read_text("utf-8").removesuffix("\n").split("\n")
    names = header.split("\t")
    rows = []
    for number, line in enumerate(lines, 2):
        try:
            rows.append(make(dict(zip(names, line.split("\t"), strict=True))))
        except KeyError as error:
            raise InternalError(f"schemas/dictionary/{table}: there is no column {error}") from error
        except (ValueError, InvalidOperation) as error:
            raise InternalError(f"schemas/dictionary/{table}:{number}: {error}") from error
    return tuple(rows)


def _element(row: Mapping[str, str]) -> Element:
    if row["file"] not in ("task", "linklist"):
        raise ValueError(f"{row['file']!r} is neither task nor linklist")
    return Element(
        code=row["code"],
        name=row["name"],
        about=row["about"],
        file=row["file"],
        attributes=_NONE,
        children=_NONE,
        confidence=Confidence(row["confidence"]),
        source=row["source"],
        span=_span(row),
    )


def _attribute(row: Mapping[str, str], values: tuple[Value, ...]) -> Attribute:
    if row["type"] not in TYPES:
        raise ValueError(f"{row['type']!r} is no type that the tables may use")
    if row["required"] not in ("yes", "no"):
        raise ValueError(f"required is {row['required']!r}, neither yes nor no")
    return Attribute(
        element=row["element"],
        code=row["code"],
        name=row["name"],
        type=row["type"],
        required=row["required"] == "yes",
        minimum=_decimal(row["min"]),
        maximum=_decimal(row["max"]),
        max_length=int(row["max_length"]) if row["max_length"] else None,
        pattern=row["pattern"] or None,
        values=values,
        target=row["target"] or None,
        unit=row["unit"] or None,
        scale=_decimal(row["scale"]),
        confidence=Confidence(row["confidence"]),
        source=row["source"],
        about=row["about"],
        span=_span(row),
    )


def _value(row: Mapping[str, str]) -> tuple[str, str, Value]:
    value = Value(row["value"], row["meaning"], Confidence(row["confidence"]), _span(row))
    return row["element"], row["attribute"], value


def _child(row: Mapping[str, str]) -> ChildRule:
    return ChildRule(
        parent=row["parent"],
        child=row["child"],
        minimum=int(row["min"]),
        maximum=None if row["max"] == "*" else int(row["max"]),
        confidence=Confidence(row["confidence"]),
        source=row["source"],
        span=_span(row),
    )


def _span(row: Mapping[str, str]) -> Span:
    since, until = row["since"], row["until"]
    return Span(
        Version.parse(since.removesuffix("?")), Version.parse(until) if until else None, sure=not since.endswith("?")
    )


def _decimal(text: str) -> Decimal | None:
    return Decimal(text) if text else None
