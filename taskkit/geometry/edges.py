"""The edges of rings on a plane, as an array of the shape (n, 2, 2): the measures that several modules need."""

from __future__ import annotations

import zlib

import numpy as np

from taskkit.geometry.line import Array

__all__ = ["depth_m", "edges_of", "gap_m", "reach_m", "tangled"]

_MANY_PAIRS = 100_000_000
"""Pairs of edges with overlapping boxes that we let GEOS look at, some 25 ns each."""

_SAMPLE = 32
"""Edges of which we count the pairs, to estimate their number."""


def edges_of(ring: Array) -> Array:
    """The edges of an open ring, shape (n, 2), the closing one last."""
    return np.stack((ring, np.roll(ring, -1, axis=0)), axis=1)


def gap_m(points: Array, edges: Array) -> Array:
    """The distance of each point, shape (n, 2), from the edge of the same number."""
    along = edges[:, 1] - edges[:, 0]
    length = np.maximum((along * along).sum(axis=1), np.finfo(np.float64).tiny)
    share = np.clip(((points - edges[:, 0]) * along).sum(axis=1) / length, 0, 1)
    away: Array = np.hypot(*(points - edges[:, 0] - share[:, np.newaxis] * along).T)
    return away


def depth_m(place: Array, edges: Array) -> float:
    """How far a place, shape (2,), lies inside rings given by their edges, metres; negative outside.

    >>> square = edges_of(np.array([(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]))
    >>> depth_m(np.array((2.0, 5.0)), square), depth_m(np.array((-3.0, 5.0)), square)
    (2.0, -3.0)
    """
    x, y = place
    start, end = edges[:, 0], edges[:, 1]
    # A ray to the east is crossed an odd number of times.
    crosses = (start[:, 1] > y) != (end[:, 1] > y)
    first, last = start[crosses], end[crosses]
    at = first[:, 0] + (y - first[:, 1]) * (last[:, 0] - first[:, 0]) / (last[:, 1] - first[:, 1])
    away = float(gap_m(np.broadcast_to(place, (len(edges), 2)), edges).min())
    return away if (at > x).sum() % 2 else -away


def reach_m(edges: Array, *, start: Array, toward: Array) -> tuple[float, float] | None:
    """Where a straight line without ends first and last meets rings given by their edges; None where it does not.

    Args:
        edges: shape (n, 2, 2).
        start: a point of the line, shape (2,), from which distances along it count, metres.
        toward: another, in the direction in which they grow.

    >>> square = edges_of(np.array([(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]))
    >>> reach_m(square, start=np.array((4.0, 5.0)), toward=np.array((5.0, 5.0)))
    (-4.0, 6.0)
    """
    direction = (toward - start) / np.hypot(*(toward - start))
    seen = edges - start
    along = seen[..., 0] * direction[0] + seen[..., 1] * direction[1]
    aside = seen[..., 1] * direction[0] - seen[..., 0] * direction[1]
    met = (aside[:, 0] > 0) != (aside[:, 1] > 0)
    if not met.any():
        return None
    along, aside = along[met], aside[met]
    at = along[:, 0] + aside[:, 0] / (aside[:, 0] - aside[:, 1]) * (along[:, 1] - along[:, 0])
    return float(at.min()), float(at.max())


def tangled(*edges: Array) -> bool:
    """Would GEOS meet so many pairs of these edges with overlapping boxes that it takes minutes?

    Its own search is quadratic on edges that all lie across each other. Estimated from a sample, whose choice
    depends on the points themselves, so that no one can hide from it.
    """
    all_edges = np.concatenate(edges)
    if len(all_edges) ** 2 / 2 <= _MANY_PAIRS:
        return False
    low, high = all_edges.min(axis=1), all_edges.max(axis=1)
    chance = np.random.default_rng(zlib.crc32(all_edges.tobytes()))
    sample = chance.integers(len(all_edges), size=_SAMPLE)
    met = sum(int(((low <= high[n]) & (high >= low[n])).all(axis=1).sum()) for n in sample)
    return met / _SAMPLE * len(all_edges) / 2 > _MANY_PAIRS
