"""Where a thing on the ground lies: one point, one line or an area, read from well-known text."""

from __future__ import annotations

import re
from typing import Self

from taskkit.geometry.line import LonLatLine, Part
from taskkit.geometry.wkt import format_area, format_line, format_point, parse_area, parse_line, parse_point

__all__ = ["Place"]


class Place:
    """A point, a line or an area, in degrees; a value like what it is made of.

    Args:
        shape: one point, two or more points of a line, or the parts of an area.

    Raises:
        ValueError: there is nothing in it.

    >>> Place.parsed("POINT (9.5 54)").form, Place.parsed("LINESTRING (9.5 54, 9.6 54)").form
    ('point', 'line')
    """

    __slots__ = ("shape",)

    def __init__(self, shape: LonLatLine | tuple[Part, ...]) -> None:
        if not len(shape) or (isinstance(shape, tuple) and not all(map(len, (r for p in shape for r in p.rings)))):
            raise ValueError("a place without points is no place")
        self.shape = shape

    @classmethod
    def parsed(cls, text: str) -> Self:
        """The place that a POINT, LINESTRING, POLYGON or MULTIPOLYGON describes.

        Raises:
            ValueError: it is no such text; the message says what is wrong and at which character.
        """
        word = (re.match(r"\s*([A-Za-z]*)", text) or [""])[0].strip().upper()
        if word.startswith("POINT"):
            return cls(parse_point(text))
        if word.startswith("LINESTRING"):
            return cls(parse_line(text))
        if "POLYGON" in word:
            return cls(parse_area(text))
        raise ValueError(f"POINT, LINESTRING, POLYGON or MULTIPOLYGON expected, not {text[:20]!r}")

    @property
    def form(self) -> str:
        """One of ``point``, ``line`` and ``area``."""
        if isinstance(self.shape, tuple):
            return "area"
        return "point" if len(self.shape) == 1 else "line"

    @property
    def line(self) -> LonLatLine:
        """The points of a point or a line, shape (n, 2) degrees; of an area none."""
        return LonLatLine([]) if isinstance(self.shape, tuple) else self.shape

    @property
    def parts(self) -> tuple[Part, ...]:
        """The parts of an area; of a point or a line none."""
        return self.shape if isinstance(self.shape, tuple) else ()

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Place) and self.shape == other.shape

    def __hash__(self) -> int:
        return hash(self.shape)

    def __str__(self) -> str:
        if isinstance(self.shape, tuple):
            return format_area(self.shape)
        return format_point(self.shape) if len(self.shape) == 1 else format_line(self.shape)

    def __repr__(self) -> str:
        return f"Place({self.shape!r})"
