"""Areas as well-known text: POLYGON and MULTIPOLYGON, longitude before latitude, degrees."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import TypeVar

from taskkit.geometry.line import LonLatLine, Part

__all__ = ["format_area", "parse_area"]

# A ring is one token, however many points it has: the grammar sees a few tokens only.
_TOKEN = re.compile(r"\s*(\([^()]*\)|[(),]|[^\s(),]+|\Z)")
_NUMBERS = re.compile(r"[-+0-9.eE, \t\r\n]*")
_CLOSING_ZEROS = re.compile(r"\.?0+(?=[ ,]|$)")
_MINUS_ZERO = re.compile(r"(?<![^ ])-0(?=[ ,]|$)")

_T = TypeVar("_T")


def parse_area(text: str, *, drop_z_m: bool = False) -> tuple[Part, ...]:
    """The parts of a POLYGON or MULTIPOLYGON (OGC 06-103r4, clause 7), closing points dropped.

    Shapes are taken as they are, crossing or not: judging is for checks.

    Args:
        text: the well-known text; words in capitals or not.
        drop_z_m: let go of heights and measures instead of refusing them.

    Raises:
        ValueError: it is no such text; the message says what is wrong and at which character, counted from 1.

    >>> parse_area("POLYGON ((9.5 54, 9.6 54, 9.6 54.1, 9.5 54))")
    (Part(LonLatLine([(9.5, 54), (9.6, 54), (9.6, 54.1)], n=3), holes=0),)
    >>> parse_area("POLYGON ((9.5 54, 9.6 54, 9.6 54.1))")
    Traceback (most recent call last):
    ...
    ValueError: the ring at character 10 is not closed: its last point must repeat its first
    """
    return _Reader(text, drop_z_m=drop_z_m).area()


def format_area(parts: Iterable[Part], *, decimals: int = 9) -> str:
    """Parts as well-known text, on one line: POLYGON for one part, MULTIPOLYGON for several.

    Coordinates are rounded to so many decimals (9 are at most 0.06 mm off) and lose closing zeros.

    Raises:
        ValueError: there is no part, or a ring without points.

    >>> format_area([Part(LonLatLine([(9.5, 54), (9.6, 54), (9.6, 54.1)]))])
    'POLYGON ((9.5 54, 9.6 54, 9.6 54.1, 9.5 54))'
    """
    bodies = [f"({', '.join(_format_ring(ring, decimals) for ring in part.rings)})" for part in parts]
    if not bodies:
        raise ValueError("an area without parts cannot be written")
    return f"POLYGON {bodies[0]}" if len(bodies) == 1 else f"MULTIPOLYGON ({', '.join(bodies)})"


class _Reader:
    """Reads one text from left to right; each method takes what its name says."""

    def __init__(self, text: str, *, drop_z_m: bool) -> None:
        self._tokens = _TOKEN.finditer(text)
        self._drop_z_m = drop_z_m
        self._size: int | None = None
        self._word, self._at = "", 1
        self._next()

    def area(self) -> tuple[Part, ...]:
        kind = re.fullmatch(r"((?:MULTI)?POLYGON)(Z?M?)", self._word.upper())
        if not kind:
            raise ValueError(f"POLYGON or MULTIPOLYGON expected, not {self._shown()}")
        name, dimensions = kind.groups()
        self._next()
        if not dimensions and self._word.upper() in ("Z", "M", "ZM"):
            dimensions = self._word.upper()
            self._next()
        if dimensions:
            self._refuse_z_m(f"{name} {dimensions}")
            self._size = 2 + len(dimensions)
        parts = (self._part(),) if name == "POLYGON" else tuple(self._list(self._part))
        if self._word:
            raise ValueError(f"the text should end at character {self._at}, but {self._shown()} follows")
        return parts

    def _part(self) -> Part:
        outer, *holes = self._list(self._ring)
        return Part(outer, holes)

    def _list(self, item: Callable[[], _T]) -> list[_T]:
        self._take("(")
        items = [item()]
        while self._word == ",":
            self._next()
            items.append(item())
        self._take(")")
        return items

    def _ring(self) -> LonLatLine:
        if not self._word.startswith("(") or len(self._word) == 1:
            raise self._expected("a ring in brackets")
        body, at = self._word[1:-1], self._at
        if not _NUMBERS.fullmatch(body):
            good = len(body) - len(_NUMBERS.sub("", body, count=1))
            raise ValueError(f"{body[good]!r} at character {at + 1 + good} cannot stand in a coordinate")
        try:
            points = [tuple(map(float, point.split())) for point in body.split(",")]
        except ValueError as error:
            wrong = str(error).rpartition(": ")[2]
            raise ValueError(f"the ring at character {at}: {wrong} is no number") from None
        sizes = set(map(len, points))
        size = self._size or max(sizes)
        if sizes != {size} or not 2 <= size <= 4:
            raise ValueError(f"the ring at character {at} has a point without {self._size or 2} numbers")
        if size > 2:
            self._refuse_z_m(f"{size} numbers for a point")
            points = [point[:2] for point in points]
        if len(points) < 2 or points[0] != points[-1]:
            raise ValueError(f"the ring at character {at} is not closed: its last point must repeat its first")
        self._next()
        try:
            return LonLatLine(points[:-1])
        except ValueError as error:
            raise ValueError(f"the ring at character {at}: {error}") from None

    def _next(self) -> None:
        found = next(self._tokens, None)
        if found:
            self._word, self._at = found.group(1), found.start(1) + 1

    def _take(self, mark: str) -> None:
        if self._word != mark:
            raise self._expected(mark)
        self._next()

    def _expected(self, what: str) -> ValueError:
        if self._word.upper() == "EMPTY":
            return ValueError(f"an empty area or ring is not taken (character {self._at})")
        return ValueError(f"{what} expected at character {self._at}, not {self._shown()}")

    def _refuse_z_m(self, what: str) -> None:
        if not self._drop_z_m:
            raise ValueError(f"heights and measures are not taken, only longitude and latitude ({what})")

    def _shown(self) -> str:
        return repr(self._word if len(self._word) <= 20 else self._word[:20] + "...") if self._word else "the end"


def _format_ring(ring: LonLatLine, decimals: int) -> str:
    if not len(ring):
        raise ValueError("a ring without points cannot be written")
    rounded = [f"{lon:.{decimals}f} {lat:.{decimals}f}" for lon, lat in ring]
    text = ", ".join([*rounded, rounded[0]])
    if decimals > 0:
        text = _CLOSING_ZEROS.sub("", text)
    return f"({_MINUS_ZERO.sub('0', text)})"
