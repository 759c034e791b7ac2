"""Areas on a plane grown outward by a distance, their corners kept sharp."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from taskkit.geometry.line import Array, MetreLine
from taskkit.geometry.polygons import MetrePart, signed_area_m2
from taskkit.geometry.tolerances import REPEATED_POINT_M

__all__ = ["moved_corners", "outset"]

_REACH = 5.0
"""A corner between edges at least as long as the distance reaches so many distances out at most; one of less than
23 degrees is cut off there. At a shorter edge, which may be a step of a receiver that stood still, a corner is cut
off at the distance."""

_SLIVER_M2 = 0.01
"""A hole smaller than this comes from rounding."""


def outset(part: MetrePart, *, distance_m: float) -> MetrePart:
    """A part grown by a distance: its outer ring outward, its holes inward, every edge parallel to where it was.

    It is put together from the part and a strip on the outer side of each edge. The offset of the geometry library
    knows one limit for all corners: a restless outline would get thorns, or a field round corners. Rings keep their
    direction and, as nearly as can be, their first point; holes keep their order.

    Args:
        part: the part; valid but for spikes and repeated points.
        distance_m: how far out, metres; positive.

    Raises:
        ValueError: the distance is not positive, a hole closes or falls into pieces, or the outer ring closes round
            ground that is not in the part; the message says which, without a full stop.

    >>> square = MetreLine([(0, 0), (10, 0), (10, 10), (0, 10)])
    >>> [round(signed_area_m2(ring), 6) for ring in outset((square,), distance_m=2.0)]
    [196.0]
    """
    if not distance_m > 0:
        raise ValueError(f"the distance {distance_m:g} m is not positive")
    rings = [_walked(ring, hole=number > 0) for number, ring in enumerate(part)]
    strips = [piece for ring in rings for piece in _strips(ring, distance_m)]
    whole = shapely.Polygon(rings[0], rings[1:])
    grown = shapely.union_all([whole if whole.is_valid else shapely.make_valid(whole), *strips])
    largest = max(shapely.get_parts(grown), key=shapely.area)
    holes = [hole for hole in map(shapely.Polygon, largest.interiors) if hole.area > _SLIVER_M2]
    return (
        _like(part[0], largest.exterior),
        *(_like(ring, hole.exterior) for ring, hole in zip(part[1:], _sorted(holes, rings[1:]), strict=True)),
    )


def moved_corners(ring: MetreLine, *, distance_m: float, hole: bool = False) -> MetreLine:
    """Where each corner of a ring goes when its edges move out by a distance, one point for each of the ring.

    Where a corner is cut off it is the middle of the cut; where its edges are swallowed by others, no point of the
    grown ring need lie there.
    """
    points = ring.points
    back = (signed_area_m2(ring) < 0) != hole
    corners = _corners(points[::-1] if back else points, distance_m).mean(axis=1)
    return MetreLine(corners[::-1] if back else corners)


def _walked(ring: MetreLine, *, hole: bool) -> Array:
    """The points of a ring so that the part lies on the left, without repeated ones."""
    points = ring.points[::-1] if (signed_area_m2(ring) < 0) != hole else ring.points
    steps = np.hypot(*(points - np.roll(points, 1, axis=0)).T)
    return np.asarray(points[steps > REPEATED_POINT_M])


def _corners(points: Array, distance_m: float) -> Array:
    """For each point of a ring the ends of the two edges that meet there, moved to the right; shape (n, 2, 2).

    Both are the point where the moved edges meet, unless the corner is cut off.
    """
    along = np.roll(points, -1, axis=0) - points
    length = np.hypot(*along.T)
    along = along / np.where(length > 0, length, 1)[:, np.newaxis]
    before = np.roll(along, 1, axis=0)
    right, right_before = (np.column_stack((a[:, 1], -a[:, 0])) for a in (along, before))
    cosine = np.sqrt(np.maximum((1 + (right * right_before).sum(axis=1)) / 2, 1e-12))
    sine = np.sqrt(np.maximum(1 - cosine**2, 1e-12))
    # Along each edge from the foot of the corner, to where the edges meet or the corner is cut off.
    reach = np.where(np.minimum(length, np.roll(length, 1)) >= distance_m, _REACH, 1.0)
    whole, cut = sine / cosine, (reach - cosine) / sine
    on = np.minimum(whole, cut)[:, np.newaxis]
    turn = np.sign(before[:, 0] * along[:, 1] - before[:, 1] * along[:, 0])[:, np.newaxis]
    ends = np.stack((right_before + turn * on * before, right - turn * on * along), axis=1)
    # One point to the last digit, or a slit stays open between the strips.
    ends[whole <= cut] = ends[whole <= cut].mean(axis=1, keepdims=True)
    corners: Array = points[:, np.newaxis] + distance_m * ends
    return corners


def _strips(points: Array, distance_m: float) -> Sequence[shapely.Polygon]:
    """What is to be added along each edge and at each corner where the walker turns left."""
    along = np.roll(points, -1, axis=0) - points
    length = np.hypot(*along.T)[:, np.newaxis]
    foot = distance_m * np.column_stack((along[:, 1], -along[:, 0])) / length
    before = np.roll(along, 1, axis=0)
    left = (before[:, 0] * along[:, 1] - before[:, 1] * along[:, 0]) > 0
    corners = _corners(points, distance_m)
    pieces = []
    for here in range(len(points)):
        there = (here + 1) % len(points)
        start = corners[here, 1] if left[here] else points[here] + foot[here]
        end = corners[there, 0] if left[there] else points[there] + foot[here]
        pieces.append(shapely.Polygon([points[here], start, end, points[there]]))
        if left[here]:
            pieces.append(shapely.Polygon([points[here], corners[here, 0], corners[here, 1]]))
    return [piece for piece in pieces if piece.area > 0]


def _sorted(holes: Sequence[shapely.Polygon], rings: Sequence[Array]) -> list[shapely.Polygon]:
    """The holes that are left, in the order of those they were."""
    old = [shapely.Polygon(ring) for ring in rings]
    left: list[list[shapely.Polygon]] = [[] for _ in old]
    for hole in holes:
        inside = shapely.point_on_surface(hole)
        number = next((n for n, around in enumerate(old) if around.intersects(inside)), None)
        if number is None:
            raise ValueError("the outer ring closes round ground that is not in the field")
        left[number].append(hole)
    for number, found in enumerate(left, 1):
        if len(found) != 1:
            raise ValueError(f"hole {number} {'falls into pieces' if found else 'closes'}")
    return [found[0] for found in left]


def _like(old: MetreLine, ring: shapely.LinearRing) -> MetreLine:
    """A ring in the direction of another, from the point nearest to where the other begins."""
    points = shapely.get_coordinates(shapely.simplify(ring, REPEATED_POINT_M))[:-1]
    if (signed_area_m2(MetreLine(points)) < 0) != (signed_area_m2(old) < 0):
        points = points[::-1]
    first = int(np.argmin(np.hypot(*(points - old.points[0]).T)))
    return MetreLine(np.roll(points, -first, axis=0))
