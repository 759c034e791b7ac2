"""Headland passes by the plain construction: pass i lies (i - 1/2) spacings from what asks for so many."""

from __future__ import annotations

import enum
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import shapely

from taskkit.geometry.depths import Along, EdgeDepths
from taskkit.geometry.edges import edges_of
from taskkit.geometry.headlands import passes_asked
from taskkit.geometry.line import Array, MetreLine
from taskkit.geometry.nearest import NearestEdge, Unbounded
from taskkit.geometry.strips import ground, left_over, metre_parts
from taskkit.geometry.tolerances import HEADLAND_PASS_M

__all__ = ["Change", "HeadlandPass", "HeadlandPasses", "RingChange", "Stretch", "headland_passes"]

_Index = npt.NDArray[np.int64]

_MOST_PASSES = 1000
"""Passes round a field; more come from a wrong unit."""

_DRAWN = 0.6
"""The share of the error that goes to the construction; points that hardly stand out get the rest."""

_HELD_BACK_M = 0.001
"""An edge is taken to begin so much later when it is asked whose a pass is: then a corner has one owner, not two."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A piece of a pass.

    Attributes:
        along: what it runs along.
        first: the number of the point where it begins; it ends where the next begins.
    """

    along: Along
    first: int


@dataclass(frozen=True, slots=True)
class HeadlandPass:
    """One line to drive in the headland, with the main field on the left.

    Attributes:
        number: 1 for the outermost.
        line: its points; a closed one does not repeat its first.
        closed: whether it ends where it begins.
        stretches: what it runs along, in order; the first begins at point 0.
    """

    number: int
    line: MetreLine
    closed: bool
    stretches: tuple[Stretch, ...]

    def by_side(self) -> tuple[HeadlandPass, ...]:
        """One open line for each stretch; itself where it runs along one thing only."""
        if len(self.stretches) == 1:
            return (self,)
        points = np.concatenate((self.line.points, self.line.points[:1])) if self.closed else self.line.points
        ends = [*(stretch.first for stretch in self.stretches[1:]), len(points) - 1]
        return tuple(
            HeadlandPass(self.number, MetreLine(points[stretch.first : end + 1]), False, (Stretch(stretch.along, 0),))
            for stretch, end in zip(self.stretches, ends, strict=True)
        )


class Change(enum.StrEnum):
    """What happens to the ground inside the passes, from one to the next."""

    SPLITS = "splits"
    JOINS = "joins"
    VANISHES = "vanishes"


@dataclass(frozen=True, slots=True)
class RingChange:
    """A piece of ground that does not come through a pass as one.

    Attributes:
        number: the pass that does it.
        change: it falls in pieces; the pass round an island runs into another; or nothing is left.
        pieces: how many pieces are left of it.
        east_m: a place in the piece as it was before, metres.
        north_m: likewise.
    """

    number: int
    change: Change
    pieces: int
    east_m: float
    north_m: float


@dataclass(frozen=True, slots=True)
class HeadlandPasses:
    """The headland passes of a field.

    Attributes:
        passes: the lines, from the outermost in.
        changes: where rings split, join or vanish.
    """

    passes: tuple[HeadlandPass, ...]
    changes: tuple[RingChange, ...]


def headland_passes(depths: EdgeDepths, *, spacing_m: float, count: int | None = None) -> HeadlandPasses:
    """The passes that the depths ask for, each (i - 1/2) spacings from every edge that asks for at least i.

    Where all edges of a ring ask, the pass is closed. Else it is an open line, and ends where it meets the ground
    of the sides that do not ask: at the boundary where a side has no headland, or at the inner edge of the ground
    that the passes of that side work. Lines are at most ``HEADLAND_PASS_M`` off.

    Args:
        depths: the edges and the depths of their headland.
        spacing_m: distance between neighbouring passes.
        count: no more passes than this; None for all that are asked for.

    Raises:
        ValueError: the spacing is not positive, there are more than 1000 passes, or the edges lie so that it would
            take minutes.

    >>> from taskkit.geometry.depths import edge_depths
    >>> square = (MetreLine([(0, 0), (100, 0), (100, 100), (0, 100)]),)
    >>> found = headland_passes(edge_depths([square], depth_m=12), spacing_m=6)
    >>> [(p.number, p.closed, sorted(p.line)[0]) for p in found.passes]
    [(1, True, (3.0, 3.0)), (2, True, (9.0, 9.0))]
    """
    asked = passes_asked(depths.depth_m, spacing_m=spacing_m)
    most = int(asked.max())
    if count is not None:
        most = min(most, count)
    if most > _MOST_PASSES:
        raise ValueError(f"{most} headland passes are asked for, and at most {_MOST_PASSES} are made")
    passes: list[HeadlandPass] = []
    changes: list[RingChange] = []
    pieces = list(shapely.get_parts(ground(depths)))
    for number in range(1, most + 1):
        asking = asked >= number
        away_m = (number - 0.5) * spacing_m
        inner = left_over(depths.at(np.where(asking, away_m, asked * spacing_m)), error_m=HEADLAND_PASS_M * _DRAWN)
        changes += _changes(pieces, inner, number)
        pieces = inner
        if not inner:
            break
        owners = _Owners(depths, asking, away_m)
        for part in metre_parts(inner):
            for ring in part:
                passes += _lines(ring.points, owners, number)
    return HeadlandPasses(tuple(passes), tuple(changes))


def _changes(before: Sequence[shapely.Polygon], after: Sequence[shapely.Polygon], number: int) -> Iterator[RingChange]:
    """What became of each piece."""
    children: list[list[shapely.Polygon]] = [[] for _ in before]
    if after:
        inside, parents = shapely.STRtree(before).query(shapely.point_on_surface(after), predicate="within")
        for child, parent in zip(inside.tolist(), parents.tolist(), strict=True):
            children[parent].append(after[child])
    for piece, left in zip(before, children, strict=True):
        place = piece.representative_point()
        islands = len(piece.interiors) - sum(len(child.interiors) for child in left)
        found = {
            Change.VANISHES: not left,
            Change.SPLITS: len(left) > 1,
            Change.JOINS: bool(left) and islands > 0,
        }
        for change in [change for change, is_so in found.items() if is_so]:
            yield RingChange(number, change, len(left), place.x, place.y)


class _Owners:
    """Tells what each piece of a pass runs along."""

    def __init__(self, depths: EdgeDepths, asking: npt.NDArray[np.bool_], away_m: float) -> None:
        edges = depths.edges[asking]
        along = edges[:, 1] - edges[:, 0]
        length = np.maximum(np.hypot(*along.T), _HELD_BACK_M)
        back = np.minimum(_HELD_BACK_M / length, 0.1)
        edges = np.stack((edges[:, 0] + back[:, np.newaxis] * along, edges[:, 1]), axis=1)
        self._search, self._owner, self._away_m = NearestEdge(edges), depths.owner[asking], away_m
        self.along = depths.along

    def of(self, points: Array) -> _Index:
        """The place in ``along`` of what each point, shape (n, 2), runs along; -1 where it is on no pass."""
        try:
            distance, nearest = self._search.to(points)
        except Unbounded:
            raise ValueError("the edges of the outline lie so that finding the nearest would take minutes") from None
        return np.where(np.abs(distance - self._away_m) <= 2 * HEADLAND_PASS_M, self._owner[nearest], -1)


def _lines(ring: Array, owners: _Owners, number: int) -> Iterator[HeadlandPass]:
    """The passes among the edges of a ring: itself, or lines where some of its edges are on no pass."""
    owner = owners.of(edges_of(ring).mean(axis=1))
    breaks = np.flatnonzero(owner != np.roll(owner, 1))
    if not len(breaks):
        if owner[0] >= 0:
            line = _thinned(np.concatenate((ring, ring[:1])))[:-1]
            yield HeadlandPass(number, MetreLine(line), True, (Stretch(owners.along[owner[0]], 0),))
        return
    # Begin after a gap, so that no line goes on past the end.
    gaps = breaks[owner[breaks - 1] < 0]
    shift = int(gaps[0] if len(gaps) else breaks[0])
    ring, owner = np.roll(ring, -shift, axis=0), np.roll(owner, -shift)
    firsts = [*np.flatnonzero(np.diff(owner, prepend=-2)).tolist(), len(ring)]
    points = np.concatenate((ring, ring[:1]))
    runs = [(int(owner[first]), _thinned(points[first : end + 1])) for first, end in pairwise(firsts)]
    group: list[tuple[int, Array]] = []
    for run in [*runs, (-1, points)]:
        if run[0] >= 0:
            group.append(run)
        elif group:
            yield _joined(group, owners, number, closed=not len(gaps))
            group = []


def _joined(runs: Sequence[tuple[int, Array]], owners: _Owners, number: int, *, closed: bool) -> HeadlandPass:
    begins = np.cumsum([0, *(len(points) - 1 for _, points in runs)]).tolist()
    points = np.concatenate([points[:-1] for _, points in runs] + ([] if closed else [runs[-1][1][-1:]]))
    stretches = [Stretch(owners.along[owner], first) for (owner, _), first in zip(runs, begins, strict=False)]
    return HeadlandPass(number, MetreLine(points), closed, tuple(stretches))


def _thinned(line: Array) -> Array:
    """A line without the points that hardly stand out; its ends stay, and a closed one keeps three corners."""
    error_m = HEADLAND_PASS_M * (1 - _DRAWN)
    few = shapely.get_coordinates(shapely.simplify(shapely.LineString(line), error_m, preserve_topology=False))
    closed = bool((line[0] == line[-1]).all())
    return few if len(few) > (3 if closed else 1) else line
