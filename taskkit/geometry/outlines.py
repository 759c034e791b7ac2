"""Two outlines of one field compared on the ground: what moved, how far and where to, what came and what went."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from taskkit.geometry.edges import edges_of
from taskkit.geometry.geodesy import azimuth_deg, distance_m
from taskkit.geometry.hausdorff import hausdorff_m
from taskkit.geometry.line import Array, LonLatLine, Part
from taskkit.geometry.plane import LocalPlane
from taskkit.geometry.vertices import match_vertices

__all__ = ["Move", "OutlineDifference", "RingDifference", "RingPlace", "compare_outlines", "on_plane", "open_ring"]

_Ring = tuple[LonLatLine, Array]
"""One ring, in degrees and on the plane."""

_Outline = Sequence[Sequence[Array]]
"""An outline on the plane: of each part, its rings."""

_MANY_PAIRS = 1_000_000
"""Pairs of rings that are weighed against each other; beyond that, rings are paired in order."""


class RingPlace(NamedTuple):
    """Where a ring stands: the number of its part, and its own in the part, 0 for the outer ring."""

    part: int
    ring: int


@dataclass(frozen=True, slots=True)
class Move:
    """How far and where to something moved.

    Attributes:
        distance_mm: the length of the shortest line on the ellipsoid, millimetres.
        azimuth_deg: its direction at the start, degrees clockwise from north, 0 <= azimuth < 360.
        lon_deg: where it started, degrees.
        lat_deg: likewise.
        ring: the ring, in the first outline.
        vertex: the number of the point in that ring, from 0.
    """

    distance_mm: float
    azimuth_deg: float
    lon_deg: float
    lat_deg: float
    ring: RingPlace
    vertex: int


@dataclass(frozen=True, slots=True)
class RingDifference:
    """Two rings that stand for each other.

    Attributes:
        a: where the ring stands in the first outline.
        b: where it stands in the second.
        matched: how many points have their counterpart.
        removed: the numbers of the points that only the first has, in its own order.
        added: the numbers of the points that only the second has, in its own order.
        largest_move: the greatest displacement of a matched point; None where no point moved at all.
    """

    a: RingPlace
    b: RingPlace
    matched: int
    removed: tuple[int, ...]
    added: tuple[int, ...]
    largest_move: Move | None


@dataclass(frozen=True, slots=True)
class OutlineDifference:
    """What differs between two outlines; ring starts, directions and closing points do not count.

    Attributes:
        rings: the rings that stand for each other.
        only_in_a: rings that the second outline lacks.
        only_in_b: rings that the first outline lacks.
        hausdorff_mm: the greatest distance from a point of either outline, corners or not, to the other outline,
            at most 0.001 mm too small. None where one has no points, or is so tangled that it would take minutes.
    """

    rings: tuple[RingDifference, ...]
    only_in_a: tuple[RingPlace, ...]
    only_in_b: tuple[RingPlace, ...]
    hausdorff_mm: float | None

    @property
    def largest_move(self) -> Move | None:
        """The greatest displacement of a matched point, None where no point moved at all."""
        moves = [ring.largest_move for ring in self.rings if ring.largest_move]
        return max(moves, key=lambda move: move.distance_mm, default=None)

    @property
    def largest_move_mm(self) -> float:
        """The length of the largest move, millimetres; 0 where no point moved."""
        return self.largest_move.distance_mm if self.largest_move else 0.0

    @property
    def removed(self) -> int:
        """How many points only the first outline has, in rings that both have."""
        return sum(len(ring.removed) for ring in self.rings)

    @property
    def added(self) -> int:
        """How many points only the second outline has, in rings that both have."""
        return sum(len(ring.added) for ring in self.rings)

    @property
    def equal(self) -> bool:
        """Nothing moved, nothing came, nothing went."""
        return not (self.largest_move or self.removed or self.added or self.only_in_a or self.only_in_b)


def open_ring(ring: LonLatLine) -> LonLatLine:
    """A ring without the closing point that repeats its first.

    >>> len(open_ring(LonLatLine([(0, 0), (1, 0), (1, 1), (0, 0)])))
    3
    """
    points = ring.points
    closed = len(points) > 1 and bool((points[0] == points[-1]).all())
    return LonLatLine(points[:-1]) if closed else ring


def compare_outlines(a: Iterable[Part], b: Iterable[Part]) -> OutlineDifference:
    """Compare two outlines of one field.

    Rings are paired by where they lie (outer rings with outer rings, holes with holes of paired parts), their
    points matched in order along the ring. A ring started elsewhere, run the other way or closed is equal.

    >>> square = [(9.5, 54), (9.501, 54), (9.501, 54.001), (9.5, 54.001)]
    >>> moved = [(9.501, 54.001), (9.501, 54), (9.5, 53.9999), (9.5, 54.001)]
    >>> difference = compare_outlines([Part(LonLatLine(square))], [Part(LonLatLine(moved))])
    >>> difference.largest_move.azimuth_deg, round(difference.largest_move_mm), round(difference.hausdorff_mm)
    (180.0, 11131, 11131)
    """
    sides = [[[open_ring(ring) for ring in part.rings] for part in outline] for outline in (a, b)]
    names_a, names_b = ([RingPlace(p, r) for p, part in enumerate(side) for r in range(len(part))] for side in sides)
    rings = [ring for side in sides for part in side for ring in part if len(ring)]
    if not rings:
        return OutlineDifference((), tuple(names_a), tuple(names_b), None)
    plane = LocalPlane(*rings[0].points[0].tolist())
    flat_a, flat_b = ([[on_plane(plane, ring) for ring in part] for part in side] for side in sides)
    pairs = list(_paired_rings(flat_a, flat_b))
    found = [
        _ring_difference(
            one,
            other,
            (sides[0][one.part][one.ring], flat_a[one.part][one.ring]),
            (sides[1][other.part][other.ring], flat_b[other.part][other.ring]),
        )
        for one, other in pairs
    ]
    in_a, in_b = {one for one, _ in pairs}, {other for _, other in pairs}
    only_a = tuple(name for name in names_a if name not in in_a)
    only_b = tuple(name for name in names_b if name not in in_b)
    difference = OutlineDifference(tuple(found), only_a, only_b, 0.0)
    return difference if difference.equal else replace(difference, hausdorff_mm=_hausdorff_mm(flat_a, flat_b))


def on_plane(plane: LocalPlane, ring: LonLatLine) -> Array:
    """On the plane; points beyond its horizon, which only a gross mistake brings, by direction and distance."""
    metres = plane.metres(ring.points)
    origin = (plane.lon_deg, plane.lat_deg)
    for number in np.flatnonzero(np.isnan(metres[:, 0])).tolist():
        place = (float(ring.lon_deg[number]), float(ring.lat_deg[number]))
        away, turn = distance_m(origin, end=place), math.radians(azimuth_deg(origin, end=place))
        metres[number] = away * math.sin(turn), away * math.cos(turn)
    return metres


def _paired_rings(a: _Outline, b: _Outline) -> Iterator[tuple[RingPlace, RingPlace]]:
    """The rings that stand for each other: outer rings first, then the holes of parts whose outer rings do."""
    outers_a, outers_b = [part[0] for part in a], [part[0] for part in b]
    for part_a, part_b in _paired(outers_a, outers_b, sole=len(a) == len(b) == 1):
        yield RingPlace(part_a, 0), RingPlace(part_b, 0)
        for hole_a, hole_b in _paired(a[part_a][1:], b[part_b][1:], sole=False):
            yield RingPlace(part_a, hole_a + 1), RingPlace(part_b, hole_b + 1)


def _paired(a: Sequence[Array], b: Sequence[Array], *, sole: bool) -> list[tuple[int, int]]:
    """Pairs of rings that have the same points, or else lie nearest to each other, by their boxes.

    Rings farther apart than the larger one is wide are strangers, unless they are the only ones.
    """
    if sole:
        return [(0, 0)]
    same: dict[bytes, list[int]] = {}
    for number, ring in enumerate(b):
        same.setdefault(_points_key(ring), []).append(number)
    pairs = []
    for number, ring in enumerate(a):
        if twins := same.get(_points_key(ring)):
            pairs.append((number, twins.pop(0)))
    left_a = sorted({n for n, ring in enumerate(a) if len(ring)} - {one for one, _ in pairs})
    left_b = sorted({n for n, ring in enumerate(b) if len(ring)} - {other for _, other in pairs})
    if left_a and left_b:
        chosen = _nearest_boxes(_boxes([a[n] for n in left_a]), _boxes([b[n] for n in left_b]))
        pairs += [(left_a[one], left_b[other]) for one, other in chosen]
    return sorted(pairs)


def _nearest_boxes(a: Array, b: Array) -> Iterator[tuple[int, int]]:
    if len(a) * len(b) > _MANY_PAIRS:
        yield from zip(range(len(a)), range(len(b)), strict=False)
        return
    apart = np.abs(a[:, np.newaxis] - b[np.newaxis]).max(axis=2)
    width_a, width_b = (np.hypot(*(boxes[:, 2:] - boxes[:, :2]).T) for boxes in (a, b))
    strangers = apart > np.maximum(width_a[:, np.newaxis], width_b[np.newaxis])
    order = np.argsort(apart, axis=None, kind="stable")
    free_a, free_b = set(range(len(a))), set(range(len(b)))
    for one, other in zip(*(axis.tolist() for axis in np.unravel_index(order, apart.shape)), strict=True):
        if one in free_a and other in free_b and not strangers[one, other]:
            free_a.remove(one)
            free_b.remove(other)
            yield one, other


def _boxes(rings: Sequence[Array]) -> Array:
    return np.array([(*ring.min(axis=0), *ring.max(axis=0)) for ring in rings])


def _points_key(ring: Array) -> bytes:
    return ring[np.lexsort(ring.T)].tobytes()


def _ring_difference(a: RingPlace, b: RingPlace, ring_a: _Ring, ring_b: _Ring) -> RingDifference:
    (degrees_a, metres_a), (degrees_b, metres_b) = ring_a, ring_b
    matching = match_vertices(metres_a, metres_b)
    start, end = degrees_a.points[matching.a], degrees_b.points[matching.b]
    moved = np.hypot(*(metres_b[matching.b] - metres_a[matching.a]).T)
    moved[(start == end).all(axis=1)] = 0
    largest = None
    if moved.any():
        n = int(np.argmax(moved))
        (lon_deg, lat_deg), (lon_to, lat_to) = start[n].tolist(), end[n].tolist()
        length = distance_m((lon_deg, lat_deg), end=(lon_to, lat_to)) * 1000
        turn = azimuth_deg((lon_deg, lat_deg), end=(lon_to, lat_to))
        # Longitudes 180 and -180 are one place.
        largest = Move(length, turn, lon_deg, lat_deg, a, int(matching.a[n])) if length else None
    removed = np.setdiff1d(np.arange(len(degrees_a)), matching.a)
    added = np.setdiff1d(np.arange(len(degrees_b)), matching.b)
    return RingDifference(a, b, len(matching.a), tuple(removed.tolist()), tuple(added.tolist()), largest)


def _hausdorff_mm(a: _Outline, b: _Outline) -> float | None:
    one, other = (
        np.concatenate([np.empty((0, 2, 2)), *(edges_of(ring) for part in side for ring in part)]) for side in (a, b)
    )
    distance = hausdorff_m(one, other)
    return None if distance is None else distance * 1000
