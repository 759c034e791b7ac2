"""Shapes as well-known text: areas, lines and points, longitude before latitude, degrees."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import TypeVar

from taskkit.geometry.line import LonLatLine, Part

__all__ = ["format_area", "format_line", "format_point", "parse_area", "parse_line", "parse_point"]

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


def parse_line(text: str, *, drop_z_m: bool = False) -> LonLatLine:
    """The points of a LINESTRING (OGC 06-103r4, clause 7); taken as they are, also where one is repeated.

    Raises:
        ValueError: it is no such text, or has fewer than two points; the message says at which character.

    >>> parse_line("LINESTRING (9.5 54, 9.6 54.1)")
    LonLatLine([(9.5, 54), (9.6, 54.1)], n=2)
    """
    return _Reader(text, drop_z_m=drop_z_m).line("LINESTRING", least=2)


def parse_point(text: str, *, drop_z_m: bool = False) -> LonLatLine:
    """The one point of a POINT (OGC 06-103r4, clause 7).

    Raises:
        ValueError: it is no such text, or has not exactly one point; the message says at which character.

    >>> parse_point("POINT (9.5 54)")
    LonLatLine([(9.5, 54)], n=1)
    """
    return _Reader(text, drop_z_m=drop_z_m).line("POINT", least=1)


def format_line(line: LonLatLine, *, decimals: int = 9) -> str:
    """A line as well-known text; coordinates as in ``format_area``.

    Raises:
        ValueError: it has fewer than two points.

    >>> format_line(LonLatLine([(9.5, 54), (9.6, 54.1)]))
    'LINESTRING (9.5 54, 9.6 54.1)'
    """
    if len(line) < 2:
        raise ValueError("a line of fewer than two points cannot be written")
    return f"LINESTRING ({', '.join(_format_points(line, decimals))})"


def format_point(point: LonLatLine, *, decimals: int = 9) -> str:
    """A point as well-known text; coordinates as in ``format_area``.

    Raises:
        ValueError: it is not exactly one point.

    >>> format_point(LonLatLine([(9.5, 54)]))
    'POINT (9.5 54)'
    """
    if len(point) != 1:
        raise ValueError(f"{len(point)} points cannot be written as one")
    return f"POINT ({', '.join(_format_points(point, decimals))})"


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
        name = self._kind("POLYGON", "MULTIPOLYGON")
        parts = (self._part(),) if name == "POLYGON" else tuple(self._list(self._part))
        self._end()
        return parts

    def line(self, name: str, *, least: int) -> LonLatLine:
        self._kind(name)
        at = self._at
        points = self._points("points in brackets", f"the {name.lower()}")
        if len(points) < least or (name == "POINT" and len(points) != 1):
            needs = "one point" if name == "POINT" else f"at least {least} points"
            raise ValueError(f"the {name.lower()} at character {at} has {len(points)} points; it needs {needs}")
        self._next()
        self._end()
        return self._placed(points, f"the {name.lower()} at character {at}")

    def _kind(self, *names: str) -> str:
        kind = re.fullmatch(rf"({'|'.join(names)})(Z?M?)", self._word.upper())
        if not kind:
            raise ValueError(f"{' or '.join(names)} expected, not {self._shown()}")
        name, dimensions = kind.groups()
        self._next()
        if not dimensions and self._word.upper() in ("Z", "M", "ZM"):
            dimensions = self._word.upper()
            self._next()
        if dimensions:
            self._refuse_z_m(f"{name} {dimensions}")
            self._size = 2 + len(dimensions)
        return str(name)

    def _end(self) -> None:
        if self._word:
            raise ValueError(f"the text should end at character {self._at}, but {self._shown()} follows")

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
        at = self._at
        points = self._points("a ring in brackets", "the ring")
        if len(points) < 2 or points[0] != points[-1]:
            raise ValueError(f"the ring at character {at} is not closed: its last point must repeat its first")
        self._next()
        return self._placed(points[:-1], f"the ring at character {at}")

    def _points(self, expected: str, what: str) -> list[tuple[float, ...]]:
        """The points of the token at hand, which stays at hand."""
        if not self._word.startswith("(") or len(self._word) == 1:
            raise self._expected(expected)
        body, at = self._word[1:-1], self._at
        if not _NUMBERS.fullmatch(body):
            good = len(body) - len(_NUMBERS.sub("", body, count=1))
            raise ValueError(f"{body[good]!r} at character {at + 1 + good} cannot stand in a coordinate")
        try:
            points = [tuple(map(float, point.split())) for point in body.split(",")]
        except ValueError as error:
            wrong = str(error).rpartition(": ")[2]
            raise ValueError(f"{what} at character {at}: {wrong} is no number") from None
        sizes = set(map(len, points))
        size = self._size or max(sizes)
        if sizes != {size} or not 2 <= size <= 4:
            raise ValueError(f"{what} at character {at} has a point without {self._size or 2} numbers")
        if size > 2:
            self._refuse_z_m(f"{size} numbers for a point")
            points = [point[:2] for point in points]
        return points

    def _placed(self, points: list[tuple[float, ...]], what: str) -> LonLatLine:
        try:
            return LonLatLine(points)
        except ValueError as error:
            raise ValueError(f"{what}: {error}") from None

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
    points = _format_points(ring, decimals)
    return f"({', '.join([*points, points[0]])})"


def _format_points(line: LonLatLine, decimals: int) -> list[str]:
    text = ", ".join(f"{lon:.{decimals}f} {lat:.{decimals}f}" for lon, lat in line)
    if decimals > 0:
        text = _CLOSING_ZEROS.sub("", text)
    return _MINUS_ZERO.sub("0", text).split(", ")
