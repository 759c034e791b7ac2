"""Rules on places: coordinates that cannot be meant."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from taskkit.checks.context import SetContext
from taskkit.checks.example import Example, field_with, outer, polygon
from taskkit.checks.rule import Hit, rule
from taskkit.findings import Severity
from taskkit.taskdata.document import Element

__all__: list[str] = []

ZERO_DEG = 0.001
"""So near to latitude 0 and longitude 0, in the Gulf of Guinea, there is no field."""

_SQUARE = "0,0 100,0 100,100 0,100 0,0"
_ZERO = '<PNT A="2" C="0" D="0"/>'


@rule(
    "coordinates-at-zero",
    Severity.WARNING,
    "Points at latitude 0, longitude 0, in the sea off Africa: {count}.",
    hint="Correct the places: values that were missing have been written as 0.",
    why="Maps and areas stretch over half the globe, and the field is not recognised when the machine enters it.",
    source="common practice",
    failing=Example(field_with(polygon(outer(_SQUARE)), _ZERO)),
    passing=Example(field_with(polygon(outer(_SQUARE)))),
)
def coordinates_at_zero(checked: SetContext) -> Iterator[Hit]:
    """Places that are nothing but zeros; told once for each element that holds some."""
    for element, lonlat in checked.points_of():
        zero = (np.abs(lonlat) < ZERO_DEG).all(axis=1)
        if zero.any():
            yield Hit(checked.point(element, int(np.argmax(zero))), {"count": int(zero.sum())})
    for grid in checked.elements("GRD"):
        if _is_zero(grid, "A") and _is_zero(grid, "B"):
            yield Hit(grid.where("A"), {"count": 1})


def _is_zero(element: Element, attribute: str) -> bool:
    try:
        return abs(float(element.get(attribute) or "nan")) < ZERO_DEG
    except ValueError:
        return False
