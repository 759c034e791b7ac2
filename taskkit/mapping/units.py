"""Where metres become whole millimetres and degrees become points, and back: the one place that scales them."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from decimal import ROUND_HALF_EVEN, Decimal

import numpy as np

from taskkit.geometry.line import Array, LonLatLine
from taskkit.geometry.plane import FLATTENING, SEMI_MAJOR_AXIS_M
from taskkit.plan.model import Position
from taskkit.plan.quantities import Length
from taskkit.taskdata.dictionary import dictionary
from taskkit.taskdata.document import POINT, Element, Points
from taskkit.taskdata.types import problem_finder
from taskkit.taskdata.writer import DECIMALS, built_points

__all__ = [
    "PLACE",
    "allowed",
    "degrees_rounding_mm",
    "degrees_text",
    "length_of_millimetres",
    "millimetres",
    "millimetres_rounding",
    "point_types",
    "position",
    "position_points",
    "positions",
    "read_decimal",
    "read_whole",
    "ring_points",
    "sound",
    "whole",
    "with_more_than_a_place",
]

# The meridian is flattest at the poles: a degree there is the longest that the ellipsoid has, a^2 / b.
_LONGEST_DEGREE_MM = math.radians(1) * SEMI_MAJOR_AXIS_M / (1 - FLATTENING) * 1000
PLACE = frozenset("ACD")
"""The attributes of a point that are read: its type and its place."""
_MORE = re.compile(rb"""[ \t\r\n](?![ACD][ \t\r\n]*=)[^ \t\r\n=<>/"']+[ \t\r\n]*=""")


def millimetres(length: Length) -> int:
    """A length in whole millimetres, a half to the even one.

    >>> millimetres(Length("2.0005 m")), millimetres(Length("2.0015 m")), millimetres(Length("5 ft"))
    (2000, 2002, 1524)
    """
    return int(_exact_millimetres(length).to_integral_value(ROUND_HALF_EVEN))


def millimetres_rounding(length: Length) -> float:
    """How far a length is from its whole millimetres, in millimetres."""
    return float(abs(_exact_millimetres(length) - millimetres(length)))


def length_of_millimetres(number: int) -> Length:
    """The length of so many millimetres.

    >>> length_of_millimetres(1524) == Length("5 ft")
    True
    """
    return Length.of(number / 1000)


def whole(square_metres: float) -> int:
    """Whole square metres, a half to the even one."""
    return round(square_metres)


def allowed(tag: str, code: str, value: int) -> bool:
    """Whether the standard lets an attribute hold a number."""
    return problem_finder(dictionary().elements[tag].attributes[code])(str(value)) is None


def read_whole(element: Element, code: str) -> int | None:
    """The whole number in an attribute, None where it is missing or no number that the standard allows."""
    text = element.get(code)
    if text is None or problem_finder(dictionary().elements[element.tag].attributes[code])(text) is not None:
        return None
    # By way of Decimal: leading zeros are allowed, and int() refuses texts of thousands of digits.
    return int(Decimal(text.strip()))


def degrees_text(degrees: float) -> str:
    """Degrees with as many decimals as coordinates have.

    >>> degrees_text(35.1234567891234)
    '35.123456789'
    """
    return f"{degrees:.{DECIMALS}f}"


def read_decimal(element: Element, code: str) -> float | None:
    """The decimal number in an attribute, None where it is missing or no number that the standard allows."""
    text = element.get(code)
    if text is None or problem_finder(dictionary().elements[element.tag].attributes[code])(text) is not None:
        return None
    return float(text)


def ring_points(ring: LonLatLine, *, kind: str) -> Points:
    """The points of a ring, closed by repeating the first."""
    return built_points(kind, np.concatenate((ring.points, ring.points[:1])))


def position_points(*marked: tuple[str, Position]) -> Points:
    """Some single points, each with its point type."""
    places = np.array([(position.lon_deg, position.lat_deg) for _, position in marked])
    return built_points([kind for kind, _ in marked], places)


def degrees_rounding_mm(lonlat: Array) -> float:
    """How far the farthest of some points, shape (n, 2), is moved by rounding to the decimals that are written.

    An upper bound: it takes the longest degree of the ellipsoid for all.
    """
    off = np.abs(lonlat - np.round(lonlat, DECIMALS)) * _LONGEST_DEGREE_MM
    off[:, 0] *= np.cos(np.radians(lonlat[:, 1]))
    return float(np.hypot(off[:, 0], off[:, 1]).max(initial=0.0))


def positions(line: Element) -> Array:
    """All points below an element: longitude and latitude, degrees, shape (n, 2), NaN where they cannot be read."""
    runs = [c.lonlat() if isinstance(c, Points) else position(c) for c in _point_children(line)]
    return np.concatenate(runs) if runs else np.empty((0, 2))


def point_types(line: Element) -> list[str]:
    """The type of each point below an element, as text."""
    runs = (c.types() if isinstance(c, Points) else [c.get("A") or ""] for c in _point_children(line))
    return [kind.strip() for run in runs for kind in run]


def position(point: Element) -> Array:
    """The place of one point: longitude and latitude, degrees, shape (1, 2), NaN where it cannot be read."""
    rows = dictionary().elements[POINT].attributes
    texts = [(point.get(code), problem_finder(rows[code])) for code in ("D", "C")]
    return np.array([[float(text) if text and find(text) is None else math.nan for text, find in texts]])


def sound(lonlat: Array) -> Array:
    """Those of some points that lie on the globe."""
    return lonlat[(np.abs(lonlat) <= (180.0, 90.0)).all(axis=1)]


def with_more_than_a_place(line: Element) -> Iterator[Element]:
    """The points below an element that say more than their type and their place."""
    for child in _point_children(line):
        if isinstance(child, Element):
            yield child
        elif not child.canonical and _MORE.search(child.raw):
            yield from (point for point in child.elements() if point.attributes.keys() - PLACE)


def _point_children(line: Element) -> Iterator[Points | Element]:
    """Runs of points, and points that hold something themselves, in order."""
    return (c for c in line.children if isinstance(c, Points) or (isinstance(c, Element) and c.tag == POINT))


def _exact_millimetres(length: Length) -> Decimal:
    # The shortest decimal that gives this float: what people wrote, where they wrote metres.
    return Decimal(repr(length.metres)) * 1000
