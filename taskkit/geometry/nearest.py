"""Which of many edges or points on a plane is nearest to each of many points, unless that would take minutes."""

from __future__ import annotations

import math
import zlib

import numpy as np
import numpy.typing as npt
import shapely

from taskkit.geometry.line import Array

__all__ = ["NearestEdge", "Unbounded"]

_MANY_LOOKS = 2_000_000
"""Boxes that we let GEOS look into, some 10 microseconds each."""

_SAMPLE = 16
"""Points for which we count them, to estimate their number."""

_FEW = 64
"""Boxes within reach of a point that are few."""


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
        if len(points) * len(self._low) <= _MANY_LOOKS:
            return self._search(points, within_m)
        chance = np.random.default_rng(zlib.crc32(points.tobytes()))
        sample = points[chance.integers(len(points), size=_SAMPLE)]
        # First without any search, for that may take seconds for a single point.
        self._refuse_many(sample, np.zeros(_SAMPLE), len(points))
        self._refuse_many(sample, np.minimum(self._search(sample, math.inf)[0], within_m), len(points))
        # GEOS gathers all that is within reach first, which helps where that is little and else does the opposite.
        wide = self._boxes_within(sample, np.full(_SAMPLE, within_m)) > _FEW * _SAMPLE
        distance, number = self._search(points, math.inf if wide else within_m)
        number[distance > within_m] = -1
        return distance, number

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

    def _refuse_many(self, sample: Array, reach_m: Array, count: int) -> None:
        """Raise when so many boxes reach so near to the points of a sample that for all points it gets too much."""
        if self._boxes_within(sample, reach_m) / len(sample) * count > _MANY_LOOKS:
            raise Unbounded

    def _boxes_within(self, points: Array, reach_m: Array) -> int:
        looks = 0
        for point, reach in zip(points, reach_m, strict=True):
            gap = np.maximum(np.maximum(self._low - point, point - self._high), 0)
            looks += int((np.hypot(*gap.T) <= reach).sum())
        return looks
