"""The edges of rings on a plane, as an array of the shape (n, 2, 2): the measures that several modules need."""

from __future__ import annotations

import zlib

import numpy as np

from taskkit.geometry.line import Array

__all__ = ["edges_of", "gap_m", "tangled"]

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
