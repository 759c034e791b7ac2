"""The ground that is nearer to some edges than their depths, and what is left of a field without it.

A strip along an edge is put together from pieces: a rectangle on the left of each edge, and a piece of a disc at
each corner where the walker turns right. The offsets of the geometry library are not used: they pass over corners
that stand back by less than a hundredth of the distance, some 20 cm for a wide headland.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from taskkit.geometry.depths import EdgeDepths
from taskkit.geometry.line import Array, MetreLine
from taskkit.geometry.nearest import NearestEdge, Unbounded
from taskkit.geometry.polygons import MetrePart, signed_area_m2
from taskkit.geometry.tolerances import DISTINCT_M, LEAST_PIECE_M2, OVERLAY_GRID_M

__all__ = ["ground", "left_over", "metre_parts", "without"]

_Index = npt.NDArray[np.int64]
_Shapes = npt.NDArray[np.object_]

_SEAM_M = 1e-5
"""Neighbouring pieces overlap by so much, so that rounding opens no gap between them."""

_WELL_INSIDE_M = 0.005
"""What of a piece's far edge lies so deep inside other strips is left out: it is no edge of the whole."""

_NEIGHBOURS = (1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 16, 20, 24, 32, 48, 64)
"""Corners along the walk, before and behind, whose discs are tried for that. More would only save time."""

_PASSED_OVER = 0.2
"""The share of the error that goes to corners passed over because they hardly stand out; arcs get the rest."""


def ground(depths: EdgeDepths) -> shapely.Geometry:
    """The field itself: its outline without the areas of islands."""
    return _cut_out(_joined(list(map(_polygon, depths.outline))), list(map(_polygon, depths.islands)))


def left_over(depths: EdgeDepths, *, error_m: float) -> list[shapely.Polygon]:
    """All points of the field that are at least as far from each edge as its depth: none, one or more pieces.

    Corners stay sharp where the outline is convex, and become arcs where it is reflex.

    Args:
        depths: the edges and their depths.
        error_m: how far from the true line the drawn one may be, to either side.

    Raises:
        ValueError: the edges lie so that the search would take minutes.
    """
    field = ground(depths)
    loops = list(_loops(depths, error_m * _PASSED_OVER))
    if loops:
        pieces = _pieces(loops, error_m * (1 - _PASSED_OVER))
        field = _cut_out(field, pieces)
    found = _polygons(field)
    if not len(found):
        return []
    kept = found[_far_enough(shapely.get_coordinates(shapely.point_on_surface(found)), depths, error_m)]
    corners = shapely.get_coordinates(shapely.point_on_surface(kept))
    whole = [_polygon(part) for part in depths.outline]
    home = [int(np.argmax([shapely.contains_xy(part, x, y) for part in whole])) for x, y in corners]
    order = np.lexsort((corners[:, 1], corners[:, 0], -shapely.area(kept), np.array(home)))
    return list(kept[order])


def without(outline: Sequence[MetrePart], inner: Sequence[MetrePart]) -> list[shapely.Polygon]:
    """What parts of the one are left without the parts of the other: none, one or more pieces."""
    return list(_polygons(_cut_out(_joined(list(map(_polygon, outline))), list(map(_polygon, inner)))))


def metre_parts(pieces: list[shapely.Polygon]) -> tuple[MetrePart, ...]:
    """Pieces as parts: outer rings counter-clockwise, holes clockwise; points nearer than ``DISTINCT_M`` become one."""
    parts = (tuple(_rings(piece)) for piece in pieces)
    return tuple(part for part in parts if part)


def _rings(piece: shapely.Polygon) -> Iterator[MetreLine]:
    """Its outer ring and its holes but for those without extent; nothing where the outer one has none."""
    for number, ring in enumerate((piece.exterior, *piece.interiors)):
        points = _distinct(shapely.get_coordinates(ring)[:-1])
        if len(points) > 2:
            line, is_hole = MetreLine(points), number > 0
            yield MetreLine(points[::-1]) if (signed_area_m2(line) < 0) != is_hole else line
        elif not number:
            return


def _distinct(points: Array) -> Array:
    """The points of a ring but for those that are too near to the last one that was kept, or to the first."""
    if (np.hypot(*(points - np.roll(points, 1, axis=0)).T) > DISTINCT_M).all():
        return points
    first, *others = points.tolist()
    kept = [first]
    for point in others:
        if math.dist(point, kept[-1]) > DISTINCT_M:
            kept.append(point)
    while len(kept) > 1 and math.dist(kept[-1], first) <= DISTINCT_M:
        kept.pop()
    return np.array(kept)


def _joined(shapes: Sequence[shapely.Geometry] | _Shapes) -> shapely.Geometry:
    return shapely.union_all(shapes, grid_size=OVERLAY_GRID_M)


def _cut_out(shape: shapely.Geometry, shapes: Sequence[shapely.Geometry] | _Shapes) -> shapely.Geometry:
    return shapely.difference(shape, _joined(shapes), grid_size=OVERLAY_GRID_M) if len(shapes) else shape


def _polygons(shape: shapely.Geometry) -> _Shapes:
    found = shapely.get_parts(shape)
    areas = shapely.get_type_id(found) == shapely.GeometryType.POLYGON
    return np.asarray(found[areas & (shapely.area(found) > LEAST_PIECE_M2)], dtype=object)


def _polygon(part: MetrePart) -> shapely.Polygon:
    return shapely.Polygon(part[0].points, [ring.points for ring in part[1:]])


@dataclass(frozen=True, slots=True)
class _Loop:
    """A closed walk all of whose corners keep the main field equally far away on the left."""

    points: Array
    depth_m: float


def _loops(depths: EdgeDepths, error_m: float) -> Iterator[_Loop]:
    """The walks that together have a strip on each side where one is needed.

    The nearest point of the outline is always seen across the field, so a ring of one depth needs a strip on its
    left only. A run that keeps the main field farther away than the next edge does reaches across that one, and
    round its own ends: it is walked out and back.
    """
    least = depths.depth_m.min()
    start = 0
    while start < len(depths.edges):
        end = start + int(np.argmax(depths.following[start:] == start)) + 1
        corners, depth_m = depths.edges[start:end, 0], depths.depth_m[start:end]
        start = end
        changes = np.flatnonzero(depth_m != np.roll(depth_m, 1))
        if not len(changes):
            if depth_m[0] > 0:
                points = _stripped(np.concatenate((corners, corners[:1])), error_m)[:-1]
                yield _Loop(points, float(depth_m[0]))
                if depth_m[0] > least:
                    yield _Loop(points[::-1], float(depth_m[0]))
            continue
        for first, last in zip(changes, np.roll(changes, -1), strict=True):
            if depth_m[first] > 0:
                count = (last - first - 1) % len(corners) + 2
                run = _stripped(corners[(first + np.arange(count)) % len(corners)], error_m)
                yield _Loop(np.concatenate((run, run[-2:0:-1])), float(depth_m[first]))


def _stripped(points: Array, error_m: float) -> Array:
    """A run without the points that hardly stand out (D. H. Douglas and T. K. Peucker); its ends stay."""
    few = shapely.get_coordinates(shapely.simplify(shapely.LineString(points), error_m, preserve_topology=False))
    closed = bool((points[0] == points[-1]).all())
    return few if len(few) > 2 + closed else points


def _pieces(loops: list[_Loop], error_m: float) -> _Shapes:
    begins = np.cumsum([0, *(len(loop.points) for loop in loops)])
    following = np.arange(1, begins[-1] + 1)
    following[begins[1:] - 1] = begins[:-1]
    before = np.empty_like(following)
    before[following] = np.arange(len(following))
    start = np.concatenate([loop.points for loop in loops])
    depth_m = np.repeat([loop.depth_m for loop in loops], np.diff(begins))
    along = start[following] - start
    length = np.hypot(*along.T)
    along = along / length[:, np.newaxis]
    left = np.column_stack((-along[:, 1], along[:, 0]))

    onward = along[following]
    turn = np.arctan2(along[:, 0] * onward[:, 1] - along[:, 1] * onward[:, 0], (along * onward).sum(axis=1))
    # Who turns back turns right, round the end of the line.
    turn = np.where(turn == np.pi, -np.pi, turn)
    bends = np.flatnonzero(-turn * depth_m > _SEAM_M)

    rectangles = _Rectangles(start, along, left, depth_m, length)
    fans = _Fans(start[following[bends]], np.arctan2(left[bends, 1], left[bends, 0]), -turn[bends], depth_m[bends])
    ahead, behind, reached = following, np.arange(len(following)), 1
    fans.leave_out(start[bends])
    for steps in _NEIGHBOURS:
        for _ in range(steps + 1 - reached):
            ahead, behind = following[ahead], before[behind]
        reached = steps + 1
        for corner in (start[ahead], start[behind]):
            rectangles.leave_out(corner)
            fans.leave_out(corner[bends])
    return np.concatenate((rectangles.shapes(), fans.shapes(error_m)))


class _Rectangles:
    """The rectangles on the left of edges, each from ``begin`` to ``end`` along its edge."""

    def __init__(self, start: Array, along: Array, left: Array, depth_m: Array, length: Array) -> None:
        self._start, self._along, self._left, self._depth = start, along, left, depth_m
        self._begin, self._end = np.zeros(len(start)), length.copy()

    def leave_out(self, corner: Array) -> None:
        """Cut off at either end what has its far edge well inside the disc round a corner, one for each edge."""
        offset = corner - self._start
        at, aside = (offset * self._along).sum(axis=1), (offset * self._left).sum(axis=1)
        square = _well_inside(self._depth) ** 2 - (self._depth - aside) ** 2
        half = np.sqrt(np.maximum(square, 0))
        self._begin, self._end = _cut(self._begin, self._end, at - half, at + half, square > 0)

    def shapes(self) -> _Shapes:
        left = self._begin < self._end
        along, out = self._along[left], self._left[left] * self._depth[left, np.newaxis]
        begin = self._start[left] + (self._begin[left] - _SEAM_M)[:, np.newaxis] * along
        end = self._start[left] + (self._end[left] + _SEAM_M)[:, np.newaxis] * along
        return np.asarray(shapely.polygons(np.stack((begin, end, end + out, begin + out), axis=1)), dtype=object)


class _Fans:
    """Pieces of discs round corners, each from ``begin`` to ``end``: angles to the right of a first direction."""

    def __init__(self, centre: Array, direction: Array, turn: Array, depth_m: Array) -> None:
        self._centre, self._direction, self._depth = centre, direction, depth_m
        self._begin, self._end = np.zeros(len(centre)), turn

    def leave_out(self, corner: Array) -> None:
        """Cut off at either end what has its arc well inside the disc round another corner, one for each fan."""
        offset = corner - self._centre
        away = np.maximum(np.hypot(*offset.T), _SEAM_M)
        cosine = (self._depth**2 + away**2 - _well_inside(self._depth) ** 2) / (2 * self._depth * away)
        half = np.arccos(np.minimum(cosine, 1))
        at = (self._direction - np.arctan2(offset[:, 1], offset[:, 0]) + np.pi) % (2 * np.pi) - np.pi
        for turn in (0, 2 * np.pi):
            self._begin, self._end = _cut(self._begin, self._end, at + turn - half, at + turn + half, cosine < 1)

    def shapes(self, error_m: float) -> _Shapes:
        """Drawn so that the far edge is nowhere more than the error from the arc."""
        left = self._begin < self._end
        if not left.any():
            return np.empty(0, dtype=object)
        centre, depth, begin = self._centre[left], self._depth[left], (self._direction - self._begin)[left]
        turn = (self._end - self._begin)[left]
        # With corners between the ends put outward by the error e, chords over an angle a stay outside r - e while
        # r a2 / 8 is at most 11 e / 8: the first chord, from r to r + e, is the worst. A single chord, from r to r,
        # needs r a2 / 8 <= e.
        chords = np.maximum(np.ceil(turn / np.minimum(np.sqrt(11 * error_m / depth), np.pi / 4)), 1).astype(np.int64)
        chords[(chords == 1) & (turn**2 * depth / 8 > error_m)] = 2
        owner = np.repeat(np.arange(len(chords)), chords + 2)
        step = np.arange(len(owner)) - np.repeat(np.cumsum(chords + 2) - chords - 2, chords + 2) - 1
        angle = begin[owner] - turn[owner] * np.maximum(step, 0) / chords[owner]
        radius = depth[owner] + error_m * ((step > 0) & (step < chords[owner]))
        radius[step < 0] = 0
        points = centre[owner] + radius[:, np.newaxis] * np.column_stack((np.cos(angle), np.sin(angle)))
        return np.asarray(shapely.polygons(shapely.linearrings(points, indices=owner)), dtype=object)


def _well_inside(depth_m: Array) -> Array:
    return np.asarray(depth_m - np.minimum(_WELL_INSIDE_M, depth_m / 4))


def _cut(begin: Array, end: Array, low: Array, high: Array, covers: npt.NDArray[np.bool_]) -> tuple[Array, Array]:
    """The stretches from begin to end without what of low to high reaches over either end."""
    begin = np.where(covers & (low <= begin), np.maximum(begin, high), begin)
    return begin, np.where(covers & (high >= end), np.minimum(end, low), end)


def _far_enough(points: Array, depths: EdgeDepths, error_m: float) -> npt.NDArray[np.bool_]:
    """Which points, shape (n, 2), are at least as far from each edge as its depth.

    Where pieces were left out, ground near the outline stays that is no main field.
    """
    far = np.ones(len(points), dtype=np.bool_)
    for depth_m in np.unique(depths.depth_m[depths.depth_m > 0]).tolist():
        search = NearestEdge(depths.edges[depths.depth_m == depth_m])
        try:
            far &= search.to(points)[0] >= depth_m - error_m
        except Unbounded:
            raise ValueError("the edges of the outline lie so that finding the nearest would take minutes") from None
    return far
