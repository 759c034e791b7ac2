"""The points of two rings matched in order along the ring: which stands for which, which are new, which are gone."""

from __future__ import annotations

import bisect
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from taskkit.geometry.line import Array
from taskkit.geometry.nearest import NearestEdge, Unbounded

__all__ = ["Matching", "counterparts", "match_vertices"]

_INDEX = npt.NDArray[np.int64]

_FAR_M = 1.0
"""What a point counts that has no counterpart, or one at least so far off, when two ways to match are weighed."""

_ALL_TURNS = 64
"""Rings with so many points or fewer are laid on each other in every possible way."""

_MANY_CELLS = 4_000_000
"""Cells of the table in which two runs of points are matched; longer runs are matched by their share of the run."""

_REACH = 16
"""A nearest point more than so many edge lengths away says nothing about which point is which."""

_STARTS = 4
"""Starting places tried to find the longest chain of points in the same order round the ring."""


@dataclass(frozen=True, slots=True, eq=False)
class Matching:
    """Counterparts in two rings of n and m points.

    Attributes:
        a: the numbers of the matched points in the first ring.
        b: those of their counterparts in the second ring, in the same order.
    """

    a: _INDEX
    b: _INDEX


def match_vertices(a: Array, b: Array) -> Matching:
    """Match the points of two open rings, shapes (n, 2) and (m, 2), metres; they may start anywhere, run either way.

    Where both have as many points, one is laid on the other by the turn with the least squares. Besides, points
    that are each other's nearest are taken for counterparts as far as they are in the same order, and those
    between them matched so that as many as possible have one, at the least total distance. The better account
    is given: it needs less moving, besides what all points moved alike, and leaves fewer points over.
    """
    if not len(a) or not len(b):
        none = np.empty(0, dtype=np.int64)
        return Matching(none, none)
    ways = []
    if len(a) == len(b):
        ways = [Matching(np.arange(len(a)), turn) for turn in _turns(a, b)]
        best = min(ways, key=lambda way: _weight(way, a, b))
        if _weight(best, a, b)[0] <= 1.1 * _FAR_M:
            return best
    ways += _by_neighbours(a, b)
    shift = np.median(b, axis=0) - np.median(a, axis=0)
    for _ in range(2):
        ways += _by_neighbours(a + shift, b)
        shift = np.median(b[ways[-1].b] - a[ways[-1].a], axis=0)
    return min(ways, key=lambda way: _weight(way, a, b))


def _weight(way: Matching, a: Array, b: Array) -> tuple[float, float]:
    """What a way to match costs: what is left over or moved by itself; then all that moved."""
    moved = b[way.b] - a[way.a]
    alone = len(a) + len(b) - 2 * len(way.a)
    apart = [
        float(np.minimum(np.hypot(*(moved - common).T), _FAR_M).sum()) for common in (0.0, np.median(moved, axis=0))
    ]
    return round(min(apart) + alone * _FAR_M, 9), float(np.hypot(*moved.T).sum())


def _turns(a: Array, b: Array) -> Iterator[_INDEX]:
    """The likeliest ways to lay one ring on another with as many points: the counterpart of each point."""
    count = len(a)
    forward = np.arange(count)
    for order in (forward, forward[::-1]):
        if count <= _ALL_TURNS:
            shifts = forward
        else:
            # The sum of squares is least where the correlation is greatest; all of them at once by Fourier transform.
            one, other = (np.fft.fft((ring - a.mean(axis=0)) @ np.array((1, 1j))) for ring in (a, b[order]))
            fit = np.fft.ifft(np.conj(one) * other).real
            shifts = np.argpartition(-fit, 3)[:3]
        for shift in shifts:
            yield np.roll(order, -shift)


def _by_neighbours(a: Array, b: Array) -> Iterator[Matching]:
    """Points that are each other's nearest, in the same order round both rings, and what lies between them."""
    reach = _REACH * min(float(np.hypot(*(ring - np.roll(ring, 1, axis=0)).T).mean()) for ring in (a, b)) + _FAR_M
    try:
        to_b, to_a = _nearest(a, b, within_m=reach), _nearest(b, a, within_m=reach)
    except Unbounded:
        to_b, to_a = (np.full(len(ring), -1) for ring in (a, b))
    mutual = np.flatnonzero((to_b >= 0) & (to_a[to_b] == np.arange(len(a))))
    if not len(mutual):
        # Too far apart, or all equally near, as a square and the same one turned by half a side.
        mutual, to_b = np.zeros(1, dtype=np.int64), np.zeros(len(a), dtype=np.int64)
    partner = to_b[mutual]
    ahead = float(((np.roll(partner, -1) - partner) % len(b) < len(b) / 2).mean())
    for flipped in sorted({ahead < 0.7, ahead < 0.3}):
        order = np.arange(len(b))[::-1] if flipped else np.arange(len(b))
        position = len(b) - 1 - partner if flipped else partner
        if len(a) == len(b):
            votes = np.bincount((position - mutual) % len(b))
            yield Matching(np.arange(len(a)), np.roll(order, -int(np.argmax(votes))))
        chain = _longest_chain(position, len(b))
        yield _filled(a, b[order], mutual[chain], position[chain], order)


def _nearest(points: Array, others: Array, *, within_m: float) -> _INDEX:
    """The number of the nearest of the others to each point; only the first of several points in one place counts."""
    places, first = np.unique(others, axis=0, return_index=True)
    own_places, own_first, own = np.unique(points, axis=0, return_index=True, return_inverse=True)
    _, found = NearestEdge(np.stack((places, places), axis=1)).to(own_places, within_m=within_m)
    nearest: _INDEX = np.where(found >= 0, first[found], -1)[own.reshape(-1)]
    twins = np.ones(len(points), dtype=np.bool_)
    twins[own_first] = False
    nearest[twins] = -1
    return nearest


def _longest_chain(position: _INDEX, size: int) -> _INDEX:
    """Which entries to keep so that positions on a ring of some size rise all the way round, in their order there."""
    if (np.roll(position, -1) < position).sum() <= 1:
        return np.arange(len(position))
    chains = []
    for start in range(0, len(position), max(len(position) // _STARTS, 1)):
        turned = np.roll(np.arange(len(position)), -start)
        chains.append(turned[_longest_rise(((position[turned] - position[start]) % size).tolist())])
    return max(chains, key=len)


def _longest_rise(values: list[int]) -> list[int]:
    """The places of the longest strictly rising chain (patience sorting)."""
    tops: list[int] = []
    places: list[int] = []
    before: list[int] = []
    for place, value in enumerate(values):
        pile = bisect.bisect_left(tops, value)
        before.append(places[pile - 1] if pile else -1)
        tops[pile : pile + 1] = [value]
        places[pile : pile + 1] = [place]
    chain = [places[-1]]
    while before[chain[-1]] >= 0:
        chain.append(before[chain[-1]])
    return chain[::-1]


def _filled(a: Array, b: Array, anchors_a: _INDEX, anchors_b: _INDEX, order: _INDEX) -> Matching:
    """The anchors, and the points between each two neighbouring anchors matched among themselves."""
    gaps_a = (np.roll(anchors_a, -1) - anchors_a - 1) % len(a)
    gaps_b = (np.roll(anchors_b, -1) - anchors_b - 1) % len(b)
    found_a, found_b = [anchors_a], [anchors_b]
    for n in np.flatnonzero((gaps_a > 0) & (gaps_b > 0)).tolist():
        run_a = (anchors_a[n] + 1 + np.arange(gaps_a[n])) % len(a)
        run_b = (anchors_b[n] + 1 + np.arange(gaps_b[n])) % len(b)
        if len(run_a) <= len(run_b):
            pick_a, pick_b = np.arange(len(run_a)), counterparts(a[run_a], b[run_b])
        else:
            pick_a, pick_b = counterparts(b[run_b], a[run_a]), np.arange(len(run_b))
        found_a.append(run_a[pick_a])
        found_b.append(run_b[pick_b])
    all_a, all_b = np.concatenate(found_a), order[np.concatenate(found_b)]
    by_a = np.argsort(all_a)
    return Matching(all_a[by_a], all_b[by_a])


def counterparts(few: Array, many: Array) -> _INDEX:
    """For each of few points one of many, in the same order, at the least total distance."""
    if len(few) == len(many):
        return np.arange(len(few))
    if len(few) * len(many) > _MANY_CELLS:
        return np.floor((np.arange(len(few)) + 0.5) * len(many) / len(few)).astype(np.int64)
    index = np.arange(len(many))
    table = np.empty((len(few), len(many)), dtype=np.int32)
    best = np.zeros(len(many) + 1)
    for n, point in enumerate(few):
        cost = best[:-1] + np.hypot(*(many - point).T)
        least = np.minimum.accumulate(cost)
        table[n] = np.maximum.accumulate(np.where(cost <= least, index, 0))
        best = np.concatenate(([np.inf], least))
    picked = np.empty(len(few), dtype=np.int64)
    last = len(many) - 1
    for n in range(len(few) - 1, -1, -1):
        picked[n] = table[n, last]
        last = int(picked[n]) - 1
    return picked
