"""The exact distance of two outlines on a plane: not from corner to corner, but over all their points."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import numpy.typing as npt

from taskkit.geometry.edges import gap_m
from taskkit.geometry.line import Array
from taskkit.geometry.nearest import NearestEdge, Unbounded

__all__ = ["SLACK_M", "hausdorff_m"]

_Scalar = TypeVar("_Scalar", bound=np.generic)

_STRETCH = 64
"""So many neighbouring edges are first looked at together."""

SLACK_M = 1e-6
"""The distance found is at most so much smaller than the true one."""


def hausdorff_m(a: Array, b: Array) -> float | None:
    """The greatest distance from any point of either set of edges to the other set, metres (F. Hausdorff).

    The distance to the other set along an edge can be greatest inside it, where two edges of the other set are
    equally near. So edges are halved while they might hold something greater: distance to one given edge is
    convex, hence between two points never above its larger value at the two; and no distance grows faster than
    the way walked.

    Args:
        a: edges, shape (n, 2, 2).
        b: likewise.

    Returns:
        the distance, at most ``SLACK_M`` too small; None where a set is empty, or its edges lie so that it would
            take minutes.

    >>> two_sides = np.array([[[0, 0], [10, 0]], [[0, 6], [10, 6]]], dtype=float)
    >>> across = np.array([[[0, 0], [0, 6]], [[10, 0], [10, 6]]], dtype=float)
    >>> hausdorff_m(two_sides, across)
    5.0
    """
    if not len(a) or not len(b):
        return None
    one, other = _distinct(a), _distinct(b)
    try:
        return _greatest(other, one, _greatest(one, other, 0.0))
    except Unbounded:
        return None


def _distinct(edges: Array) -> Array:
    """Each edge once, in order, on a grid of a nanometre: GEOS cannot measure to edges of next to no length."""
    rounded = np.round(edges, 9)
    _, first = np.unique(rounded.reshape(-1, 4), axis=0, return_index=True)
    return rounded[np.sort(first)]


def _greatest(edges: Array, others: Array, least: float) -> float:
    """The greatest distance from a point of the edges to the others, or ``least`` if that is greater."""
    search = NearestEdge(others)
    edges, least = _worth_a_look(edges, search, least)
    places, number = np.unique(edges.reshape(-1, 2), axis=0, return_inverse=True)
    distance, nearest = (values[number.reshape(-1, 2)] for values in search.to(places))
    while len(edges):
        least = max(least, float(distance.max()))
        length = np.hypot(*(edges[:, 1] - edges[:, 0]).T)
        most = distance.sum(axis=1) / 2 + length / 2
        for end, opposite in ((0, 1), (1, 0)):
            by_one = np.maximum(distance[:, end], gap_m(edges[:, opposite], others[nearest[:, end]]))
            most = np.minimum(most, by_one)
        left = most > least + SLACK_M
        edges, distance, nearest = edges[left], distance[left], nearest[left]
        middle = edges.mean(axis=1)
        distance_there, nearest_there = search.to(middle)
        edges = np.concatenate((_pair(edges[:, 0], middle), _pair(middle, edges[:, 1])))
        distance = np.concatenate((_pair(distance[:, 0], distance_there), _pair(distance_there, distance[:, 1])))
        nearest = np.concatenate((_pair(nearest[:, 0], nearest_there), _pair(nearest_there, nearest[:, 1])))
    return least


def _worth_a_look(edges: Array, search: NearestEdge, least: float) -> tuple[Array, float]:
    """The edges without those of whole stretches that cannot hold the greatest distance, and what it is at least."""
    begins = np.arange(0, len(edges), _STRETCH)
    seen = edges[begins, 0]
    distance, _ = search.to(seen)
    least = max(least, float(distance.max()))
    from_seen = np.hypot(*(edges - np.repeat(seen, _STRETCH, axis=0)[: len(edges), np.newaxis]).reshape(-1, 2).T)
    reach = np.maximum.reduceat(from_seen.reshape(-1, 2).max(axis=1), begins)
    left = np.repeat(distance + reach > least + SLACK_M, _STRETCH)[: len(edges)]
    return edges[left], least


def _pair(first: npt.NDArray[_Scalar], second: npt.NDArray[_Scalar]) -> npt.NDArray[_Scalar]:
    return np.stack((first, second), axis=1)
