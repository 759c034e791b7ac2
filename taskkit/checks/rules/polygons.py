"""Rules on polygons: how their rings lie to each other, and whether the areas given are theirs."""

from __future__ import annotations

from collections.abc import Iterator

from taskkit.checks.context import SetContext
from taskkit.checks.example import Example, field_with, hole, outer, polygon
from taskkit.checks.rule import Hit, Need, rule
from taskkit.checks.rules.rings import SIMPLE_FEATURES, hits
from taskkit.findings import Confidence, Fact, Severity
from taskkit.geometry.polygons import Trouble
from taskkit.taskdata.document import Element

__all__: list[str] = []

AREA_SHARE = 0.02
"""Areas that differ by less are the same: other edges, other ellipsoid, a headland corner."""
FIELD_AREA_M2 = 100.0
POLYGON_AREA_M2 = 50.0
"""Small areas are given in rounder numbers."""

_UNITS = (("hectares", 10_000.0), ("ares", 100.0), ("acres", 4046.8564224), ("square feet", 0.09290304))
"""Square metres in one; exact by definition (NIST SP 811, international yard of 1959)."""

_SQUARE = outer("0,0 100,0 100,100 0,100 0,0")
_POND = hole("40,40 60,40 60,60 40,60 40,40")


def _field(*rings: str) -> Example:
    return Example(field_with(polygon(*rings)))


@rule(
    "polygon-without-outer-ring",
    Severity.WARNING,
    "The polygon has holes and no outer ring.",
    hint="Give the ring that goes round it the type 1, exterior.",
    why="There is nothing to draw, and nothing that an area could be worked out from.",
    source="ISO 11783-10, polygons (recalled)",
    confidence=Confidence.MEDIUM,
    failing=_field(_POND),
    passing=_field(_SQUARE, _POND),
)
def polygon_without_outer_ring(checked: SetContext) -> Iterator[Hit]:
    """Holes in nothing."""
    for element in checked.elements("PLN"):
        kinds = {(line.get("A") or "").strip() for line in element.elements("LSG")}
        if "2" in kinds and "1" not in kinds:
            yield Hit(element.where, {})


@rule(
    "hole-outside-outer-ring",
    Severity.WARNING,
    "The {ring} lies outside its outer ring, at latitude {lat_deg}, longitude {lon_deg}.",
    hint="Move it into the field that it belongs to, or remove it.",
    why="The hole is lost, or shown as a piece of field.",
    source=SIMPLE_FEATURES,
    needs=Need.COORDINATES,
    failing=_field(_SQUARE, hole("140,40 160,40 160,60 140,60 140,40")),
    passing=_field(_SQUARE, _POND),
)
def hole_outside_outer_ring(checked: SetContext) -> Iterator[Hit]:
    """A hole in the neighbour's field."""
    return hits(checked, Trouble.HOLE_OUTSIDE)


@rule(
    "hole-crosses-outer-ring",
    Severity.WARNING,
    "The {ring} crosses its outer ring at latitude {lat_deg}, longitude {lon_deg}.",
    hint="Cut the piece out of the outer ring, or draw the hole wholly inside.",
    why="What is inside, and how large it is, is told differently by different terminals.",
    source=SIMPLE_FEATURES,
    needs=Need.COORDINATES,
    failing=_field(_SQUARE, hole("80,40 120,40 120,60 80,60 80,40")),
    passing=_field(_SQUARE, _POND),
)
def hole_crosses_outer_ring(checked: SetContext) -> Iterator[Hit]:
    """A hole over the edge."""
    return hits(checked, Trouble.HOLE_CROSSES_OUTER)


@rule(
    "holes-overlap",
    Severity.WARNING,
    "The {ring} lies over another hole, at latitude {lat_deg}, longitude {lon_deg}.",
    hint="Draw one hole round both; what is worked inside a hole is a part of its own.",
    why="The overlap is taken off the area twice.",
    source=SIMPLE_FEATURES,
    needs=Need.COORDINATES,
    failing=_field(_SQUARE, _POND, hole("50,50 70,50 70,70 50,70 50,50")),
    passing=_field(_SQUARE, _POND, hole("70,70 80,70 80,80 70,80 70,70")),
)
def holes_overlap(checked: SetContext) -> Iterator[Hit]:
    """Two holes at one place."""
    return hits(checked, Trouble.HOLES_OVERLAP)


_AREA = "{{element}} {{attribute}} gives an area of {{declared_m2}} m2, its rings enclose {actual}{{guess}}."
_AREA_HINT = (
    "Look first whether a point of the rings lies far off, or has latitude and longitude exchanged. Correct the area, "
    "in square metres, only if the rings are right."
)


@rule(
    "polygon-area-differs",
    Severity.WARNING,
    _AREA.format(actual="{actual_m2} m2"),
    hint=_AREA_HINT,
    why="Amounts and times are estimated from the wrong area.",
    source="ISO 11783-10, polygon area in m2 (recalled); tolerance: common practice",
    needs=Need.COORDINATES,
    failing=Example(field_with(polygon(_SQUARE, attributes='C="1"'))),
    passing=Example(field_with(polygon(_SQUARE, attributes='C="10000"'))),
)
def polygon_area_differs(checked: SetContext) -> Iterator[Hit]:
    """The area that a polygon gives is not its own; 0 is no statement, and bad rings are told elsewhere."""
    for measured in checked.polygons:
        yield from _area_hits(measured.element, "C", measured.area_m2, POLYGON_AREA_M2)


@rule(
    "field-area-differs",
    Severity.WARNING,
    _AREA.format(actual="{actual_m2} m2"),
    hint=_AREA_HINT,
    why="The amount to take along is reckoned from the field's area.",
    source="ISO 11783-10, field area in m2 (recalled); tolerance: common practice",
    needs=Need.COORDINATES,
    failing=Example(field_with(polygon(_SQUARE), area_m2=1)),
    passing=Example(field_with(polygon(_SQUARE, _POND), area_m2=9600)),
)
def field_area_differs(checked: SetContext) -> Iterator[Hit]:
    """The area that a field gives is not that of its boundary; 0 is no statement."""
    for field in checked.fields:
        areas = [measured.area_m2 for measured in field.boundary]
        known = [area for area in areas if area is not None]
        if known and len(known) == len(areas):
            yield from _area_hits(field.element, "D", sum(known), FIELD_AREA_M2)


def _area_hits(element: Element, attribute: str, actual_m2: float | None, least_m2: float) -> Iterator[Hit]:
    text = (element.get(attribute) or "").strip()
    if actual_m2 is None or not (text.isascii() and text.isdecimal()) or not (declared := int(text[:20])):
        return
    if abs(declared - actual_m2) > max(AREA_SHARE * actual_m2, least_m2):
        unit = next((unit for unit, m2 in _UNITS if _same(declared, actual_m2 / m2)), None)
        facts: dict[str, Fact] = {
            "element": element.tag,
            "attribute": attribute,
            "declared_m2": declared,
            "actual_m2": round(actual_m2),
            "guess": f" (are these {unit}?)" if unit else "",
        }
        yield Hit(element.where(attribute), facts)


def _same(declared: float, actual: float) -> bool:
    """Are they the same as whole numbers, within the tolerance?"""
    return abs(declared - actual) <= max(AREA_SHARE * actual, 1.0)
