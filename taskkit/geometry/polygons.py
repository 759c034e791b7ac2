"""Rings and areas on a plane, metres: what is wrong with them and where, their area, their inset."""

from __future__ import annotations

import enum
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely

from taskkit.geometry.edges import edges_of, gap_m, tangled
from taskkit.geometry.line import Array, MetreLine
from taskkit.geometry.tolerances import OVERLAP_WIDTH_M, REPEATED_POINT_M, SPIKE_WIDTH_M, TOUCH_M

__all__ = [
    "SHOWN_PLACES",
    "MetrePart",
    "Overlap",
    "Problem",
    "Trouble",
    "inset",
    "overlaps",
    "part_problems",
    "ring_problems",
    "signed_area_m2",
]

MetrePart = tuple[MetreLine, ...]
"""One part on a plane: the outer ring, then the holes; open rings."""

SHOWN_PLACES = 100
"""Meeting places looked for in one ring or between two; a tangle has millions."""

_SPIKE_ROUNDS = 50
"""A spike of several points is taken off point by point; one of more than so many shows as touches instead."""

_MANY_HOLES = 2_000
"""Pairs of holes with overlapping boxes that we look at in a part that is known to be bad."""


class Trouble(enum.StrEnum):
    """What can be wrong with a ring, or with the rings of a part."""

    TOO_FEW_POINTS = "too few points"
    REPEATED_POINT = "repeated point"
    SPIKE = "spike"
    CROSSING = "crossing"
    TOUCHING = "touching"
    HOLE_OUTSIDE = "hole outside"
    HOLE_CROSSES_OUTER = "hole crosses outer"
    HOLES_OVERLAP = "holes overlap"
    FALLS_APART = "falls apart"
    TANGLED = "tangled"


@dataclass(frozen=True, slots=True)
class Problem:
    """One trouble at a place.

    Attributes:
        trouble: what it is. TOUCHING: edges meet without reaching through each other by more than ``TOUCH_M``.
            FALLS_APART: rings touch so that the inside is no longer one piece. TANGLED: so many edges lie across
            each other that we did not look further.
        east_m: where on the plane, metres.
        north_m: likewise.
        ring: the ring's number in its part, 0 for the outer ring.
        vertex: the number of the point in its ring, from 0, where the trouble is at a point; the first of the
            two edges where edges meet.
        other: the other ring, where two have trouble with each other.
    """

    trouble: Trouble
    east_m: float
    north_m: float
    ring: int = 0
    vertex: int | None = None
    other: int | None = None


@dataclass(frozen=True, slots=True)
class Overlap:
    """Two areas that lie over each other: their numbers, how much, and a place inside the overlap, metres."""

    first: int
    second: int
    area_m2: float
    east_m: float
    north_m: float


def signed_area_m2(ring: MetreLine) -> float:
    """What a ring encloses, square metres: positive counter-clockwise, negative clockwise.

    >>> signed_area_m2(MetreLine([(0, 0), (4, 0), (4, 3)]))
    6.0
    """
    if len(ring) < 3:
        return 0.0
    # Seen from its first point, so that a ring far from the origin loses no digits.
    x, y = (ring.points - ring.points[0]).T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def ring_problems(ring: MetreLine, *, number: int = 0) -> tuple[Problem, ...]:
    """What is wrong with one open ring by itself.

    Too few points, repeated points and spikes come first. Crossings (the edges reach through each other by more
    than ``TOUCH_M``) and touches follow with their places, at most ``SHOWN_PLACES``. A ring that has none but
    repeated points is valid in the sense of OGC 06-103r4.

    Args:
        ring: the ring, not closed.
        number: its number in its part, for the result.

    >>> [(str(p.trouble), p.east_m, p.north_m) for p in ring_problems(MetreLine([(0, 0), (2, 2), (2, 0), (0, 2)]))]
    [('crossing', 1.0, 1.0)]
    """
    bare = _bare(ring, number)
    return (*bare.problems, *_among_edges(bare, number))


def part_problems(part: MetrePart) -> tuple[Problem, ...]:
    """What is wrong with the rings of one part: each by itself, then how holes lie to the outer ring and each other.

    A hole may touch another ring at a point, as long as the part does not fall apart there.
    """
    rings = [_bare(ring, number) for number, ring in enumerate(part)]
    problems = [problem for ring in rings for problem in ring.problems]
    if any(len(ring.points) < 3 for ring in rings):
        alone = [p for number, ring in enumerate(rings) for p in _among_edges(ring, number)]
        return (*problems, *alone)
    if tangled(*(edges_of(ring.points) for ring in rings)):
        return (*problems, _at(Trouble.TANGLED, rings[0].points[0]))
    if _polygon(rings).is_valid:
        return tuple(problems)
    among = [p for number, ring in enumerate(rings) for p in _among_edges(ring, number)]
    among += _between(rings)
    if not among:
        among = [_reported(rings)]
    return (*problems, *among)


def overlaps(areas: Sequence[Sequence[MetrePart]]) -> tuple[Overlap, ...]:
    """The pairs of areas that lie over each other in more than a strip of ``OVERLAP_WIDTH_M``, in order.

    Args:
        areas: each area as its parts, all on one plane. Give each part as an area to compare the parts of a field.

    Boxes are compared first; only where they meet is the overlap worked out. Rings that cross themselves count
    by what they enclose; areas with a tangled ring are left out.
    """
    shapes = [_shape(parts) for parts in areas]
    tree = shapely.STRtree(shapes)
    found = []
    for first, shape in enumerate(shapes):
        for second in sorted(int(n) for n in tree.query(shape) if n > first):
            common = shapely.intersection(shape, shapes[second])
            core = shapely.buffer(common, -OVERLAP_WIDTH_M / 2)
            if not core.is_empty:
                east_m, north_m = shapely.get_coordinates(shapely.point_on_surface(core))[0].tolist()
                found.append(Overlap(first, second, float(shapely.area(common)), east_m, north_m))
    return tuple(found)


def inset(part: MetrePart, *, distance_m: float, arc_segments: int = 16) -> tuple[MetrePart, ...]:
    """All points of a part at least a distance from every edge: none, one or more parts.

    Corners stay sharp where the part is convex; where it is reflex they become arcs of that radius, drawn with
    so many straight pieces for a quarter circle (16: at most 0.12 % of the radius off).

    Args:
        part: the part; rings may run either way, but must be valid.
        distance_m: how far in, metres; not negative.
        arc_segments: straight pieces for a quarter circle.

    Raises:
        ValueError: the distance is negative.
    """
    if distance_m < 0:
        raise ValueError(f"an inset cannot be negative: {distance_m:g} m")
    left = shapely.buffer(_shape([part]), -distance_m, quad_segs=arc_segments)
    polygons = [p for p in shapely.get_parts(left) if not p.is_empty]
    return tuple(
        tuple(MetreLine(shapely.get_coordinates(ring)[:-1]) for ring in (p.exterior, *p.interiors)) for p in polygons
    )


@dataclass(frozen=True, slots=True)
class _Bare:
    """A ring without repeated points and spikes: its points, their numbers in the ring, and what was taken out."""

    points: Array
    numbers: npt.NDArray[np.int64]
    problems: tuple[Problem, ...]


def _at(
    trouble: Trouble, place: Array, *, ring: int = 0, vertex: int | None = None, other: int | None = None
) -> Problem:
    return Problem(trouble, float(place[0]), float(place[1]), ring, vertex, other)


def _bare(ring: MetreLine, number: int) -> _Bare:
    points = ring.points
    numbers = np.arange(len(points))
    repeated = _repeats(points)
    problems = [_at(Trouble.REPEATED_POINT, points[v], ring=number, vertex=int(v)) for v in numbers[repeated]]
    numbers = numbers[~repeated]
    if len(numbers) < 3:
        place = points[0] if len(points) else np.zeros(2)
        return _Bare(points[:0], numbers[:0], (_at(Trouble.TOO_FEW_POINTS, place, ring=number),))
    for _ in range(_SPIKE_ROUNDS):
        spikes = _spikes(points[numbers])
        if not spikes.any():
            break
        problems += [_at(Trouble.SPIKE, points[v], ring=number, vertex=int(v)) for v in numbers[spikes]]
        numbers = numbers[~spikes]
        # The two feet of a spike may be one point, which nobody wrote twice.
        numbers = numbers[~_repeats(points[numbers])]
    return _Bare(points[numbers], numbers, tuple(problems))


def _repeats(points: Array) -> npt.NDArray[np.bool_]:
    """Which points lie on the point before them; a ring that begins and ends at one place repeats at its end."""
    near = np.hypot(*(points - np.roll(points, 1, axis=0)).T) <= REPEATED_POINT_M
    if len(near) and near[0]:
        near[0], near[-1] = False, True
    return np.asarray(near)


def _spikes(points: Array) -> npt.NDArray[np.bool_]:
    """At which points the ring turns back on itself: the end of the shorter edge lies on the longer one."""
    if len(points) < 3:
        return np.zeros(len(points), dtype=np.bool_)
    back, on = np.roll(points, 1, axis=0) - points, np.roll(points, -1, axis=0) - points
    longer = np.maximum(np.hypot(*back.T), np.hypot(*on.T))
    aside = np.abs(back[:, 0] * on[:, 1] - back[:, 1] * on[:, 0])
    return np.asarray(((back * on).sum(axis=1) > 0) & (aside <= SPIKE_WIDTH_M * longer))


def _among_edges(ring: _Bare, number: int) -> list[Problem]:
    """Where the edges of one ring meet."""
    if len(ring.points) < 3:
        return []
    if tangled(edges_of(ring.points)):
        return [_at(Trouble.TANGLED, ring.points[0], ring=number)]
    if _polygon([ring]).is_valid:
        return []
    edges = edges_of(ring.points)
    met = _meetings(edges, edges, same=True)
    if not met:
        return [replace(_reported([ring]), ring=number)]
    return [_at(m.trouble, m.place, ring=number, vertex=int(ring.numbers[m.first])) for m in met]


def _between(rings: Sequence[_Bare]) -> Iterator[Problem]:
    """How the holes lie to the outer ring and to each other; for parts that are known to be bad."""
    edges = [edges_of(ring.points) for ring in rings]
    shapes = [shapely.Polygon(ring.points) for ring in rings]
    for number in range(1, len(rings)):
        yield from _crossings(edges, rings, number, 0, Trouble.HOLE_CROSSES_OUTER) or _stray(rings, shapes, number)
    holes = shapely.STRtree(shapes[1:])
    looked = 0
    for number in range(1, len(rings)):
        for other in sorted(int(n) + 1 for n in holes.query(shapes[number]) if n + 1 < number):
            looked += 1
            if looked > _MANY_HOLES:
                yield _at(Trouble.TANGLED, rings[number].points[0], ring=number)
                return
            crossed = _crossings(edges, rings, number, other, Trouble.HOLES_OVERLAP)
            yield from crossed or _nested(shapes, number, other)


def _crossings(
    edges: Sequence[Array], rings: Sequence[_Bare], number: int, other: int, trouble: Trouble
) -> list[Problem]:
    met = _meetings(edges[number], edges[other], same=False)
    crossed = [m for m in met if m.trouble is Trouble.CROSSING]
    return [
        _at(trouble, m.place, ring=number, vertex=int(rings[number].numbers[m.first]), other=other) for m in crossed
    ]


def _stray(rings: Sequence[_Bare], shapes: Sequence[shapely.Polygon], number: int) -> Iterator[Problem]:
    """Is a hole that does not cross the outer ring outside it?"""
    points = rings[number].points
    off = shapely.distance(shapes[0].exterior, shapely.points(points)) > TOUCH_M
    outside = off & ~shapely.contains_xy(shapes[0], points)
    if outside.any():
        vertex = int(np.argmax(outside))
        numbers = rings[number].numbers
        yield _at(Trouble.HOLE_OUTSIDE, points[vertex], ring=number, vertex=int(numbers[vertex]), other=0)


def _nested(shapes: Sequence[shapely.Polygon], number: int, other: int) -> Iterator[Problem]:
    """Does one of two holes that do not cross lie in the other?"""
    for inner, around in ((number, other), (other, number)):
        place = shapes[inner].representative_point()
        if shapely.contains_xy(shapes[around], place.x, place.y):
            yield _at(Trouble.HOLES_OVERLAP, np.array((place.x, place.y)), ring=number, other=other)
            return


@dataclass(frozen=True, slots=True)
class _Meeting:
    trouble: Trouble
    place: Array
    first: int
    second: int


def _meetings(a: Array, b: Array, *, same: bool) -> list[_Meeting]:
    """Where edges of two rings, or of one, come together; at most ``SHOWN_PLACES``, each place once.

    Edges are an array of the shape (n, 2, 2). In one ring, pairs that follow each other along it are left out.
    """
    found: dict[tuple[Trouble, int, int], _Meeting] = {}
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*(a[:, 1] - a[:, 0]).T))))
    for first, second in _near_pairs(a, b):
        if same:
            between = along[second] - along[first + 1]
            round_the_end = along[-1] - along[second + 1] + along[first]
            apart = (first < second) & (between > 2 * TOUCH_M) & (round_the_end > 2 * TOUCH_M)
            first, second = first[apart], second[apart]
        for meeting in _judged(a[first], b[second], first, second):
            place = np.round(meeting.place / TOUCH_M).astype(np.int64)
            found.setdefault((meeting.trouble, int(place[0]), int(place[1])), meeting)
        if len(found) >= SHOWN_PLACES:
            break
    return sorted(found.values(), key=lambda m: (m.first, m.second))[:SHOWN_PLACES]


def _near_pairs(a: Array, b: Array) -> Iterator[tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]]:
    """Pairs of edges within ``TOUCH_M``, in bites that stay small however many there are."""
    lines, others = (np.asarray(shapely.linestrings(edges), dtype=object) for edges in (a, b))
    tree = shapely.STRtree(others)
    begin, size = 0, 16
    while begin < len(lines):
        first, second = tree.query(lines[begin : begin + size], predicate="dwithin", distance=TOUCH_M)
        order = np.lexsort((second, first))
        yield first[order] + begin, second[order]
        begin += size
        size = min(size * 2, 4096) if len(first) < 100_000 else max(size // 2, 1)


def _judged(a: Array, b: Array, first: npt.NDArray[np.int64], second: npt.NDArray[np.int64]) -> Iterator[_Meeting]:
    """Touch or crossing, and where, of pairs of edges that are near each other."""
    along_a, along_b = a[:, 1] - a[:, 0], b[:, 1] - b[:, 0]
    across = along_a[:, 0] * along_b[:, 1] - along_a[:, 1] * along_b[:, 0]
    offset = b[:, 0] - a[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        share_a = (offset[:, 0] * along_b[:, 1] - offset[:, 1] * along_b[:, 0]) / across
        share_b = (offset[:, 0] * along_a[:, 1] - offset[:, 1] * along_a[:, 0]) / across
    through = (share_a > 0) & (share_a < 1) & (share_b > 0) & (share_b < 1)
    ends = np.stack((a[:, 0], a[:, 1], b[:, 0], b[:, 1]))
    gaps = np.stack(
        (gap_m(a[:, 0], b), gap_m(a[:, 1], b), gap_m(b[:, 0], a), gap_m(b[:, 1], a)),
    )
    nearest = np.argmin(gaps, axis=0)
    for n in range(len(first)):
        if through[n] and gaps[nearest[n], n] > TOUCH_M:
            yield _Meeting(Trouble.CROSSING, a[n, 0] + share_a[n] * along_a[n], int(first[n]), int(second[n]))
        else:
            yield _Meeting(Trouble.TOUCHING, ends[nearest[n], n], int(first[n]), int(second[n]))


def _polygon(rings: Sequence[_Bare]) -> shapely.Polygon:
    return shapely.Polygon(rings[0].points, [ring.points for ring in rings[1:]])


def _shape(parts: Sequence[MetrePart]) -> shapely.Geometry:
    """The area as GEOS can reckon with it: bad rings made good by what they enclose."""
    bare = [[_bare(ring, 0) for ring in part] for part in parts]
    sound = [[ring for ring in part if len(ring.points) >= 3] for part in bare if len(part[0].points) >= 3]
    whole = [_polygon(part) for part in sound if not tangled(*(edges_of(ring.points) for ring in part))]
    return shapely.union_all([p if p.is_valid else shapely.make_valid(p) for p in whole])


def _reported(rings: Sequence[_Bare]) -> Problem:
    """What GEOS finds wrong where we see nothing but touches: it asks for less than a nanometre between edges."""
    reason = shapely.is_valid_reason(_polygon(rings))
    numbers = re.findall(r"-?\d[\d.]*(?:e[-+]?\d+)?", reason)
    place = np.array(numbers[-2:], dtype=np.float64) if len(numbers) >= 2 else rings[0].points[0]
    return _at(Trouble.FALLS_APART if "disconnected" in reason else Trouble.TOUCHING, place)
