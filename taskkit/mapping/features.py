"""Things on the ground: a polygon, a line string or a point of the kind, and back."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import Any
from uuid import UUID

from taskkit.findings import Severity, kind
from taskkit.geometry.line import LonLatLine, Part
from taskkit.mapping.identity import FEATURE_AREA, FEATURE_LINE, FEATURE_POINT, Ids, Uuids, part_of
from taskkit.mapping.ledger import Noticed
from taskkit.mapping.polygons import first_parts, read_parts, write_polygon
from taskkit.mapping.reading import Reading
from taskkit.mapping.texts import became, fitted
from taskkit.mapping.units import degrees_rounding_mm, position, positions, sound
from taskkit.plan.model import Feature, FeatureKind, Field, Place
from taskkit.taskdata.document import POINT, Element
from taskkit.taskdata.writer import built_points

__all__ = ["is_feature", "read_features", "word_beside", "write_features"]

NAMELESS = kind(
    "feature-without-name",
    Severity.NOTE,
    "A thing on the ground ({what}) has no name; the plan calls it {name}.",
    hint="Give it a name in the plan.",
    why="The driver is told of it by its name.",
    source="taskkit's own model",
)

_K = FeatureKind
_TYPES: Mapping[str, Mapping[FeatureKind, str]] = MappingProxyType(
    {
        "PLN": {_K.WATER: "3", _K.BUILDING: "4", _K.ROAD: "5", _K.OBSTACLE: "6", _K.BUFFER: "11", _K.WINDBREAK: "12"},
        "LSG": {_K.DRAINAGE: "6", _K.FENCE: "7", _K.OBSTACLE: "9"},
        POINT: {_K.ACCESS: "3", _K.STORAGE: "4", _K.OBSTACLE: "5"},
    }
)
"""Tag -> kind -> the type that means just that."""
_NEAREST: Mapping[str, Mapping[FeatureKind, FeatureKind]] = MappingProxyType(
    {
        "PLN": {_K.DRAINAGE: _K.WATER, _K.ACCESS: _K.ROAD},
        "LSG": {_K.ROAD: _K.OBSTACLE, _K.BUFFER: _K.OBSTACLE, _K.ACCESS: _K.OBSTACLE},
        POINT: {_K.ROAD: _K.ACCESS, _K.BUFFER: _K.OBSTACLE},
    }
)
"""Tag -> kind -> the kind that stands for it where it has no type, though it says something else.

What is in neither table is an obstacle, in a narrower word.
"""
_TAGS = {"area": "PLN", "line": "LSG", "point": POINT}
_IDENTIFIERS = {"PLN": "E", "LSG": "F", POINT: "G"}
_KIND, _NAME = "fields.features.kind", "fields.features.name"
_OTHER = "2"
"""The type of the points of a line: other."""


def word_beside(feature: Feature) -> FeatureKind | None:
    """The kind of a feature where the type of its element is not the same word, None where it is."""
    return None if _shown_as(feature) is feature.kind else feature.kind


def write_features(field: Field, ids: Ids, noticed: Noticed) -> Iterator[Element]:
    """The elements of what lies on a field, for its PFD: one for each part of an area, one for a line or a point."""
    for feature, name in zip(field.features, fitted(field.features, "PLN", "B"), strict=True):
        if name != feature.name:
            noticed.approximated(_NAME, feature.uuid, became(feature.name, name))
        tag, shown = _TAGS[feature.place.form], _shown_as(feature)
        if shown is _NEAREST[tag].get(feature.kind):
            noticed.approximated(_KIND, feature.uuid, f"{feature.kind} goes out as {shown}")
        elif shown is not feature.kind:
            noticed.attached(_KIND, feature.uuid)
        noticed.rounded("coordinates", degrees_rounding_mm(feature.place.line.points), "mm")
        code = _TYPES[tag][shown]
        if tag == "PLN":
            for ordinal, part in enumerate(feature.place.parts):
                identifier = ids.of(FEATURE_AREA, part_of(feature, ordinal))
                yield write_polygon(part, noticed, kind=code, name=name, identifier=identifier)
        elif tag == "LSG":
            line = Element("LSG", {"A": code, "B": name, "F": ids.of(FEATURE_LINE, feature.uuid)})
            line.add(built_points(_OTHER, feature.place.line.points))
            yield line
        else:
            place = built_points(code, feature.place.line.points)
            (point,) = place.elements()
            point.attributes = {"A": code, "B": name, **point.attributes, "G": ids.of(FEATURE_POINT, feature.uuid)}
            yield Element(POINT, point.attributes)


def is_feature(element: Element) -> bool:
    """Whether a child of a PFD is a thing on the ground that the plan has a word for."""
    return _kind_of(element) is not None


def read_features(
    elements: Sequence[Element], uuids: Uuids, attached: Mapping[UUID, Mapping[str, Any]], reading: Reading
) -> tuple[Feature, ...]:
    """The features that some elements of one PFD stand for, in their order; polygons of one area are one feature.

    Args:
        elements: those of which :func:`is_feature` says so.
        uuids: gives each feature its UUID.
        attached: what HEADLAND.XML says of features.
        reading: is told what is broken, and what the plan has no word for.
    """
    first_of = first_parts(elements, uuids)
    further: dict[int, list[Element]] = {}
    for number, element in enumerate(elements):
        if first_of[number] != number:
            further.setdefault(first_of[number], []).append(element)
    features = []
    for number, element in enumerate(elements):
        if first_of[number] == number and (place := _place([element, *further.get(number, [])], reading)):
            identifier = element.get(_IDENTIFIERS[element.tag])
            uuid = uuids.take(element, identifier)
            found = _kind_of(element)
            assert found
            name = element.get("B")
            if name is None:
                name = identifier or str(found)
                reading.found(NAMELESS, element, what=str(found), name=name[:60])
            said = {"uuid": uuid, "name": name, "place": place, "kind": found, **attached.get(uuid, {})}
            feature = Feature.model_validate(said)
            if _shown_as(feature) is not found:
                reading.left_out(element, f"the set says {found} now", what=f"That {name[:40]} is {feature.kind}")
                feature = feature.model_copy(update={"kind": found})
            features.append(feature)
    return tuple(features)


def _shown_as(feature: Feature) -> FeatureKind:
    """The kind that the type of a feature's element means."""
    tag = _TAGS[feature.place.form]
    if feature.kind in _TYPES[tag]:
        return feature.kind
    return _NEAREST[tag].get(feature.kind, FeatureKind.OBSTACLE)


def _kind_of(element: Element) -> FeatureKind | None:
    code = (element.get("A") or "").strip()
    return next((kind for kind, known in _TYPES.get(element.tag, {}).items() if known == code), None)


def _place(elements: Sequence[Element], reading: Reading) -> Place | None:
    first = elements[0]
    shape: LonLatLine | tuple[Part, ...]
    if first.tag == "PLN":
        for polygon in elements:
            reading.beyond_attributes(polygon, ("A", "B", "C", "E"))
        shape, least = tuple(part for polygon in elements for part in read_parts(polygon, reading)), 1
    elif first.tag == "LSG":
        reading.beyond_line(first, ("A", "B", "D", "F"))
        shape, least = LonLatLine(sound(positions(first))), 2
    else:
        reading.beyond_attributes(first, ("A", "B", "C", "D", "G"))
        reading.beyond_children(first)
        shape, least = LonLatLine(sound(position(first))), 1
    if len(shape) < least:
        reading.left_out(first, "it has no place that can be read")
        return None
    return Place(shape)
