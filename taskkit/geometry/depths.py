"""How far each edge of an outline keeps the main field away: along sides, round islands, and everywhere else."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely

from taskkit.geometry.edges import edges_of, tangled
from taskkit.geometry.line import Array, MetreLine
from taskkit.geometry.polygons import MetrePart, signed_area_m2
from taskkit.geometry.tolerances import REPEATED_POINT_M, SIDE_CORNER_M

__all__ = ["Along", "EdgeDepths", "IslandDepth", "SideDepth", "edge_depths"]

_Index = npt.NDArray[np.int64]

_HALF_A_POINT_M = 1e-6
"""A point is walked round as a line of twice this length, so that it has a direction."""


@dataclass(frozen=True, slots=True)
class SideDepth:
    """A run of one ring of the outline, with the field on the left hand of whoever walks it, and its depth.

    Attributes:
        start: metres east and north of the corner where it begins; the nearest point of the outline is meant.
        end: likewise, of the corner where it ends.
        depth_m: distance from it to the headland line; 0 where there is no headland.
        name: what it is called in messages.
    """

    start: tuple[float, float]
    end: tuple[float, float]
    depth_m: float
    name: str = "side"


@dataclass(frozen=True, slots=True)
class IslandDepth:
    """A thing on the field that is no hole of its outline, and how far the main field keeps from it.

    Attributes:
        shape: one point, the points of a line, or the parts of an area.
        depth_m: distance from its edge to the headland line.
        name: what it is called in messages.
    """

    shape: MetreLine | tuple[MetrePart, ...]
    depth_m: float
    name: str = "island"


@dataclass(frozen=True, slots=True)
class Along:
    """What an edge belongs to; exactly one of ``side``, ``hole`` and ``island`` is given, or none.

    Attributes:
        part: the part of the outline, counted from 0; None for an island that is no hole.
        side: which of the sides that were given, counted from 0.
        hole: which hole of the outline, counted from 1 through all parts.
        island: which of the islands that were given, counted from 0.
    """

    part: int | None
    side: int | None = None
    hole: int | None = None
    island: int | None = None


@dataclass(frozen=True, slots=True, eq=False)
class EdgeDepths:
    """The edges that keep the main field away, and how far; every edge has the field on its left.

    Attributes:
        outline: the parts: outer rings counter-clockwise, holes clockwise.
        islands: the areas among the islands that are no holes.
        edges: all edges, shape (n, 2, 2), ring after ring; a line is walked out and back.
        following: the number of the edge after each, shape (n,).
        depth_m: the depth of each, shape (n,).
        owner: the place in ``along`` of what each belongs to, shape (n,).
        along: sides, holes, islands and outer rings.
    """

    outline: tuple[MetrePart, ...]
    islands: tuple[MetrePart, ...]
    edges: Array
    following: _Index
    depth_m: Array
    owner: _Index
    along: tuple[Along, ...]

    def at(self, depth_m: Array) -> EdgeDepths:
        """The same edges with other depths, shape (n,)."""
        return replace(self, depth_m=depth_m)


@dataclass(slots=True)
class _Ring:
    """One closed walk while it gets its depths."""

    points: Array
    owner: _Index
    depth_m: Array

    @classmethod
    def whole(cls, points: Array, *, owner: int, depth_m: float) -> _Ring:
        return cls(points, np.full(len(points), owner), np.full(len(points), depth_m))


def edge_depths(
    outline: Iterable[MetrePart],
    *,
    depth_m: float,
    sides: Sequence[SideDepth] = (),
    holes: Mapping[int, float] | None = None,
    islands: Sequence[IslandDepth] = (),
    corner_within_m: float = SIDE_CORNER_M,
) -> EdgeDepths:
    """The depth of each edge of an outline.

    Args:
        outline: the parts, all on one plane; rings may run either way, but must be sound.
        depth_m: the depth where nothing else is said; 0 for no headland.
        sides: runs of the outline with a depth of their own.
        holes: the depth of holes that have one of their own, by their number, counted from 1 through all parts.
        islands: things on the field that are no holes.
        corner_within_m: how far the corner of a side may lie from the nearest point of the outline.

    Raises:
        ValueError: the outline is not sound, a depth is negative or endless, there is no such hole, or a side has
            no place on the outline: its corners are one point, lie on different rings or too far off, or two
            sides of different depths lie on each other.

    >>> square = (MetreLine([(0, 0), (100, 0), (100, 100), (0, 100)]),)
    >>> road = SideDepth((100, 0), (100, 100), 0.0, "road")
    >>> edge_depths([square], depth_m=12.0, sides=[road]).depth_m.tolist()
    [12.0, 0.0, 12.0, 12.0]
    """
    _checked(depth_m, "the headland")
    for side in sides:
        _checked(side.depth_m, side.name)
    for island in islands:
        _checked(island.depth_m, island.name)
    along: list[Along] = []
    parts = [_sound(part, f"part {number + 1} of the outline") for number, part in enumerate(outline)]
    if not parts:
        raise ValueError("there is no outline")
    rings: list[_Ring] = []
    special = {number: _checked(value, f"hole {number}") for number, value in (holes or {}).items()}
    count = 0
    for number, part in enumerate(parts):
        for place, ring in enumerate(part):
            count += place > 0
            along.append(Along(number, hole=count if place else None))
            depth = special.pop(count, depth_m) if place else depth_m
            rings.append(_Ring.whole(ring.points, owner=len(along) - 1, depth_m=depth))
    if special:
        raise ValueError(f"there is no hole {min(special)}: the outline has {count}")
    _lay_sides(rings, along, sides, corner_within_m)
    areas: list[MetrePart] = []
    for number, island in enumerate(islands):
        along.append(Along(None, island=number))
        for walk in _walks(island, areas):
            rings.append(_Ring.whole(walk, owner=len(along) - 1, depth_m=island.depth_m))
    begins = np.cumsum([0, *(len(ring.points) for ring in rings)])
    following = np.arange(1, begins[-1] + 1)
    following[begins[1:] - 1] = begins[:-1]
    return EdgeDepths(
        tuple(parts),
        tuple(areas),
        np.concatenate([edges_of(ring.points) for ring in rings]),
        following,
        np.concatenate([ring.depth_m for ring in rings]),
        np.concatenate([ring.owner for ring in rings]),
        tuple(along),
    )


def _checked(depth_m: float, name: str) -> float:
    if not (math.isfinite(depth_m) and depth_m >= 0):
        raise ValueError(f"the depth of {name} is {depth_m:g} m; it is 0 or more")
    return depth_m


def _sound(part: MetrePart, name: str) -> MetrePart:
    """A part with no point twice in a row, its outer ring counter-clockwise and its holes clockwise."""
    rings = []
    for place, ring in enumerate(part):
        points = ring.points[(ring.points != np.roll(ring.points, 1, axis=0)).any(axis=1)]
        bare = MetreLine(points)
        if len(bare) < 3:
            raise ValueError(f"{name} has a ring of fewer than 3 points")
        turned = (signed_area_m2(bare) > 0) == (place > 0)
        rings.append(MetreLine(points[::-1]) if turned else bare)
    if tangled(*(edges_of(ring.points) for ring in rings)) or not shapely.is_valid(
        shapely.Polygon(rings[0].points, [ring.points for ring in rings[1:]])
    ):
        raise ValueError(f"{name} is not sound: its rings cross themselves or each other")
    return tuple(rings)


def _walks(island: IslandDepth, areas: list[MetrePart]) -> Iterator[Array]:
    """The island walked round with the field on the left; its areas are added to those that are known."""
    if isinstance(island.shape, tuple):
        for part in island.shape:
            sound = _sound(part, island.name)
            areas.append(sound)
            yield from (ring.points[::-1] for ring in sound)
        return
    points = island.shape.points
    if not len(points):
        raise ValueError(f"{island.name} has no points")
    points = points[np.concatenate(([True], (points[1:] != points[:-1]).any(axis=1)))]
    if len(points) == 1:
        points = np.array((points[0] - (_HALF_A_POINT_M, 0), points[0] + (_HALF_A_POINT_M, 0)))
    yield np.concatenate((points, points[-2:0:-1]))


def _lay_sides(rings: Sequence[_Ring], along: list[Along], sides: Sequence[SideDepth], within_m: float) -> None:
    """Give the edges of each side their depth and their owner."""
    taken: dict[tuple[int, int], int] = {}
    for number, side in enumerate(sides):
        which, first, last = _run(rings, side, within_m)
        ring = rings[which]
        run = (first + np.arange((last - first) % len(ring.points))) % len(ring.points)
        for edge in run.tolist():
            other = taken.setdefault((which, edge), number)
            if sides[other].depth_m != side.depth_m:
                raise ValueError(f"{side.name} and {sides[other].name} lie on each other, and their depths differ")
        mine = np.array([edge for edge in run.tolist() if taken[which, edge] == number], dtype=np.int64)
        part = along[which].part
        along.append(Along(part, side=number))
        ring.depth_m[mine] = side.depth_m
        ring.owner[mine] = len(along) - 1


def _run(rings: Sequence[_Ring], side: SideDepth, within_m: float) -> tuple[int, int, int]:
    """The ring of a side, and the numbers of the points where it begins and ends."""
    ends = []
    for place, word in ((side.start, "first"), (side.end, "last")):
        away = [np.hypot(*(ring.points - place).T) for ring in rings]
        nearest = min(float(distance.min()) for distance in away)
        if math.isnan(nearest):
            raise ValueError(f"the {word} corner of {side.name} lies nowhere near the outline")
        if nearest > within_m:
            raise ValueError(
                f"the {word} corner of {side.name} is {nearest:.1f} m from the nearest point of the outline, "
                f"farther than {within_m:g} m"
            )
        # Rings may share a corner; then the other end of the side tells which is meant.
        ends.append({n: int(np.argmin(d)) for n, d in enumerate(away) if d.min() <= nearest + REPEATED_POINT_M})
    common = sorted(ends[0].keys() & ends[1].keys())
    if not common:
        raise ValueError(f"the corners of {side.name} lie on different rings of the outline")
    for ring in common:
        if ends[0][ring] != ends[1][ring]:
            return ring, ends[0][ring], ends[1][ring]
    raise ValueError(f"both corners of {side.name} are the same point of the outline")
