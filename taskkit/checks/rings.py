"""Polygons of a set measured on the ground: their rings, what is wrong with them, their area, what lies inside."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from taskkit.geometry.edges import depth_m, edges_of
from taskkit.geometry.line import Array, LonLatLine, MetreLine
from taskkit.geometry.plane import LocalPlane
from taskkit.geometry.polygons import Trouble, part_problems, signed_area_m2
from taskkit.geometry.tolerances import REPEATED_POINT_M
from taskkit.taskdata.document import Element

__all__ = ["Polygon", "Ring", "RingTrouble", "is_place", "measured"]

_OUTER, _HOLE = "1", "2"
_MANY_AROUND = 50
"""Outer rings round one point that are looked at; more than a few are no field."""
_HARMLESS = frozenset([Trouble.REPEATED_POINT, Trouble.SPIKE])


@dataclass(frozen=True, slots=True, eq=False)
class Ring:
    """One ring as it was written.

    Attributes:
        element: the LSG.
        word: what it is called in a sentence: ``outer ring`` or ``hole``.
        count: how many points it has, the closing one included.
        closed: whether its last point is at the place of its first.
        length_m: along its points, without the way from the last to the first.
        longest_m: its longest edge, likewise.
        gap_m: from the last point to the first.
    """

    element: Element
    word: str
    count: int
    closed: bool
    length_m: float
    longest_m: float
    gap_m: float


@dataclass(frozen=True, slots=True)
class RingTrouble:
    """What is wrong with a ring, and where.

    Attributes:
        ring: the ring.
        trouble: what it is.
        lon_deg: where, degrees.
        lat_deg: likewise.
        point: number of the point in the ring, from 0; None where the trouble is at no point.
    """

    ring: Ring
    trouble: Trouble
    lon_deg: float
    lat_deg: float
    point: int | None


@dataclass(frozen=True, slots=True, eq=False)
class Polygon:
    """A polygon of any type, measured.

    Attributes:
        element: the PLN.
        rings: its rings that can be measured, in the order of the file.
        unmeasured: how many rings have points without a place that can be measured.
        troubles: what is wrong with its rings.
        area_m2: outer rings less holes; None where there is nothing sound to measure.
    """

    element: Element
    rings: tuple[Ring, ...]
    unmeasured: int
    troubles: tuple[RingTrouble, ...]
    area_m2: float | None

    def depth_m(self, lonlat: Array) -> Array:
        """How far inside the polygon places are, metres; negative outside.

        Args:
            lonlat: longitude and latitude in degrees, shape (n, 2).
        """
        degrees = [ring.element.lonlat() for ring in self.rings]
        if not degrees:
            return np.full(len(lonlat), -np.inf)
        plane = LocalPlane.around([LonLatLine(ring) for ring in degrees])
        edges = np.concatenate([edges_of(plane.metres(ring)) for ring in degrees])
        return np.array([depth_m(place, edges) for place in plane.metres(lonlat)])


def is_place(lonlat: Array) -> npt.NDArray[np.bool_]:
    """Which rows of an array of the shape (n, 2) are a longitude and a latitude in degrees."""
    return np.asarray((np.abs(lonlat) <= (180.0, 90.0)).all(axis=1))


def measured(element: Element) -> Polygon:
    """Measure a PLN.

    Rings of other types than outer ring and hole are passed over, as are rings without any point: the
    dictionary speaks of both.
    """
    strings = [(line, line.lonlat()) for line in element.elements("LSG") if _type(line) in (_OUTER, _HOLE)]
    written = [(line, degrees) for line, degrees in strings if len(degrees)]
    sound = [(line, degrees) for line, degrees in written if is_place(degrees).all()]
    if not sound:
        return Polygon(element, (), len(written), (), None)
    plane = LocalPlane.around([LonLatLine(degrees) for _, degrees in sound])
    flat = [(line, plane.metres(degrees)) for line, degrees in sound]
    flat = [(line, metres) for line, metres in flat if np.isfinite(metres).all()]
    rings = [_ring(line, metres) for line, metres in flat]
    open_rings = [
        MetreLine(metres[:-1] if ring.closed else metres) for ring, (_, metres) in zip(rings, flat, strict=True)
    ]
    parts = _parts(rings, open_rings)
    troubles = tuple(t for part in parts for t in _troubles(part, rings, open_rings, plane))
    area_m2: float | None = None
    if parts and len(rings) == len(written) and all(t.trouble in _HARMLESS for t in troubles):
        area_m2 = sum(_area_m2(part, open_rings) for part in parts)
    return Polygon(element, tuple(rings), len(written) - len(rings), troubles, area_m2)


def _type(line: Element) -> str:
    return (line.get("A") or "").strip()


def _ring(line: Element, metres: Array) -> Ring:
    steps = np.hypot(*np.diff(metres, axis=0).T)
    gap = float(np.hypot(*(metres[-1] - metres[0])))
    closed = len(metres) > 1 and gap <= REPEATED_POINT_M
    longest = float(steps.max()) if len(steps) else 0.0
    word = "outer ring" if _type(line) == _OUTER else "hole"
    return Ring(line, word, len(metres), closed, float(steps.sum()), longest, gap)


def _parts(rings: Sequence[Ring], open_rings: Sequence[MetreLine]) -> list[list[int]]:
    """The numbers of the rings of each part: its outer ring, then its holes.

    In version 3 one polygon holds all parts of a field: a hole goes to the smallest outer ring that holds it,
    or else to the one before it.
    """
    parts = [[number] for number, ring in enumerate(rings) if _type(ring.element) == _OUTER]
    if not parts:
        return []
    outers = [open_rings[part[0]].points for part in parts]
    low, high = (np.array([edge(ring, axis=0) for ring in outers]) for edge in (np.min, np.max))
    by_size = np.argsort(np.prod(high - low, axis=1), kind="stable")
    before = -1
    for number, ring in enumerate(rings):
        if _type(ring.element) == _OUTER:
            before += 1
            continue
        home = None if len(parts) == 1 else _home(open_rings[number].points, outers, low, high, by_size)
        parts[max(before, 0) if home is None else home].append(number)
    return parts


def _home(hole: Array, outers: Sequence[Array], low: Array, high: Array, by_size: npt.NDArray[np.int64]) -> int | None:
    """The number of the smallest of some outer rings that holds a hole, going by two of its points."""
    around = ((low <= hole[0]) & (hole[0] <= high)).all(axis=1)
    for number in by_size[around[by_size]][:_MANY_AROUND].tolist():
        edges = edges_of(outers[number])
        if all(depth_m(hole[n], edges) >= 0 for n in (0, len(hole) // 2)):
            return int(number)
    return None


def _troubles(
    part: Sequence[int], rings: Sequence[Ring], open_rings: Sequence[MetreLine], plane: LocalPlane
) -> Iterator[RingTrouble]:
    problems = part_problems(tuple(open_rings[number] for number in part))
    places = plane.degrees(np.array([(p.east_m, p.north_m) for p in problems]).reshape(-1, 2)).tolist()
    for problem, (lon_deg, lat_deg) in zip(problems, places, strict=True):
        yield RingTrouble(rings[part[problem.ring]], problem.trouble, lon_deg, lat_deg, problem.vertex)


def _area_m2(part: Sequence[int], open_rings: Sequence[MetreLine]) -> float:
    areas = [abs(signed_area_m2(open_rings[number])) for number in part]
    return areas[0] - sum(areas[1:])
