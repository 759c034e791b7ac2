"""Which of many edges or points on a plane is nearest to each of many points, unless that would take minutes."""

from __future__ import annotations

import math
import zlib

import numpy as np
import numpy.typing as npt
import shapely

from taskkit.geometry.line import Array

__all__ = ["NearestEdge", "Unbounded"]

_MANY_LOOKS = 5_000_000
"""Boxes that we let GEOS look into, some microseconds each."""

_SAMPLE = 32
"""Points for which we count them, to estimate their number."""


class Unbounded(Exception):  # noqa: N818
    """The search would be quadratic: to very many points, very many edges are equally near."""


class NearestEdge:
    """Finds the nearest of some edges, shape (n, 2, 2); a point is an edge that ends where it begins."""

    def __init__(self, edges: Array) -> None:
        self._tree = shapely.STRtree(np.asarray(shapely.linestrings(edges), dtype=object))
        self._low, self._high = edges.min(axis=1), edges.max(axis=1)

    def to(self, points: Array, *, within_m: float = math.inf) -> tuple[Array, npt.NDArray[np.int64]]:
        """The distance from each point, shape (n, 2), to the nearest edge, and the number of that edge.

        Args:
            points: the points.
            within_m: how far to look; beyond it the distance is infinite and the number -1.

        Raises:
            Unbounded: the edges lie so that their index is of no use; estimated from a sample, whose choice depends
                on the points themselves.
        """
        if len(points) * len(self._low) > _MANY_LOOKS:
            chance = np.random.default_rng(zlib.crc32(points.tobytes()))
            sample = points[chance.integers(len(points), size=_SAMPLE)]
            reach = np.minimum(self._search(sample, within_m)[0], within_m)
            looks = sum(map(self._boxes_within, sample, reach.tolist()))
            if looks / _SAMPLE * len(points) > _MANY_LOOKS:
                raise Unbounded
        return self._search(points, within_m)

    def _search(self, points: Array, within_m: float) -> tuple[Array, npt.NDArray[np.int64]]:
        (which, nearest), away = self._tree.query_nearest(
            shapely.points(points),
            max_distance=within_m if math.isfinite(within_m) else None,
            all_matches=False,
            return_distance=True,
        )
        distance, number = np.full(len(points), np.inf), np.full(len(points), -1, dtype=np.int64)
        distance[which], number[which] = away, nearest
        return distance, number

    def _boxes_within(self, point: Array, distance: float) -> int:
        """How many boxes have to be looked into before the nearest edge is known."""
        gap = np.maximum(np.maximum(self._low - point, point - self._high), 0)
        return int((np.hypot(*gap.T) <= distance).sum())
