"""Polygons: one PLN for each part of an area, its outer ring and its holes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt

from taskkit.geometry.line import Array, LonLatLine, Part
from taskkit.mapping.identity import PART, Uuids
from taskkit.mapping.ledger import Noticed
from taskkit.mapping.reading import Reading
from taskkit.mapping.units import allowed, degrees_rounding_mm, positions, ring_points, sound, whole
from taskkit.plan.identity import derived
from taskkit.taskdata.document import Element

__all__ = ["area_text", "first_parts", "read_parts", "write_polygon"]

_OUTER, _INNER = "1", "2"
_GAP = 8
"""So many parts of an area in a row may have been taken out by others; what comes after is an area by itself."""
_MANY_PAIRS = 100_000_000
"""Pairs of a hole and an outer ring that are weighed; beyond that a hole belongs to the ring before it."""
_MANY_AROUND = 50
"""Outer rings round one hole that are looked at; more than a few are no field."""
_TRIED = 16
"""Points of a hole that are looked for in an outer ring."""
_POINT = "2"
"""The type of the points of a ring: other."""


def write_polygon(
    part: Part,
    noticed: Noticed,
    *,
    kind: str,
    name: str | None = None,
    area: str | None = None,
    identifier: str | None = None,
) -> Element:
    """The PLN of one part.

    Args:
        part: the part.
        noticed: is told how far points were rounded.
        kind: type of the polygon, e.g. ``1`` for a boundary.
        name: what it is called.
        area: its area, as text.
        identifier: its id, which the link list can name.
    """
    given = {"A": kind, "B": name, "C": area, "E": identifier}
    polygon = Element("PLN", {code: text for code, text in given.items() if text is not None})
    for ring in part.rings:
        noticed.rounded("coordinates", degrees_rounding_mm(ring.points), "mm")
        line = Element("LSG", {"A": _OUTER if ring is part.outer else _INNER})
        line.add(ring_points(ring, kind=_POINT))
        polygon.add(line)
    return polygon


def area_text(exact_m2: float, tag: str, code: str, noticed: Noticed) -> str | None:
    """An area as an attribute, None where the standard cannot hold it (a country, or a ring gone wrong)."""
    rounded_m2 = whole(exact_m2)
    if not allowed(tag, code, rounded_m2):
        return None
    noticed.rounded("areas", abs(exact_m2 - rounded_m2), "m2")
    return str(rounded_m2)


def first_parts(elements: Sequence[Element], uuids: Uuids) -> list[int]:
    """For each element the number of the one that has the first part of the same area; most often its own."""
    linked = [uuids.linked(element.get("E")) if element.tag == "PLN" else None for element in elements]
    numbers = {uuid: number for number, uuid in enumerate(linked) if uuid}
    first_of = list(range(len(elements)))
    for uuid, number in numbers.items():
        ordinal = missing = 0
        while missing < _GAP:
            ordinal += 1
            part = numbers.get(derived(uuid, PART, ordinal))
            missing = missing + 1 if part is None else 0
            if part is not None:
                first_of[part] = number
    return first_of


def read_parts(polygon: Element, reading: Reading) -> list[Part]:
    """The parts of a PLN: one in version 4, any number in version 3; what is broken is left out, and said."""
    outers: list[LonLatLine] = []
    holes: list[tuple[LonLatLine, int]] = []
    for line in polygon.elements():
        if line.tag != "LSG" or _kind(line) not in (_OUTER, _INNER):
            reading.beyond_element(line)
            continue
        ring = _read_ring(line, reading)
        if ring is None:
            continue
        if _kind(line) == _OUTER:
            outers.append(ring)
        elif outers:
            holes.append((ring, len(outers) - 1))
        else:
            reading.left_out(line, "no outer ring stands before it", what="A hole")
    of_outer: list[list[LonLatLine]] = [[] for _ in outers]
    for (hole, _), home in zip(holes, _homes(holes, outers), strict=True):
        of_outer[home].append(hole)
    return [Part(outer, inner) for outer, inner in zip(outers, of_outer, strict=True)]


def _read_ring(line: Element, reading: Reading) -> LonLatLine | None:
    reading.beyond_line(line, ("A", "D"))
    given = positions(line)
    points = sound(given)
    if len(points) < len(given):
        lost = f"{len(given) - len(points)} of its {len(given)} points have no place that can be read"
        reading.left_out(line, lost, what="Part of a ring")
    if not len(points):
        reading.left_out(line, "it has no point that can be read", what="A ring")
        return None
    closed = len(points) > 1 and np.array_equal(points[0], points[-1])
    return LonLatLine(points[:-1] if closed else points)


def _homes(holes: Sequence[tuple[LonLatLine, int]], outers: Sequence[LonLatLine]) -> Iterator[int]:
    """The number of the outer ring that each hole belongs to: the smallest that holds most of its points.

    Islands in holes have holes of their own: those lie in the island and in the ring round it. A hole that lies in
    no outer ring belongs to the one that stands before it.

    Args:
        holes: each with the number of the outer ring before it.
        outers: the outer rings.
    """
    if not holes or len(outers) == 1 or len(holes) * len(outers) > _MANY_PAIRS:
        yield from (before for _, before in holes)
        return
    low, high = (np.array([edge(ring.points, axis=0) for ring in outers]) for edge in (np.min, np.max))
    size = np.prod(high - low, axis=1)
    for hole, before in holes:
        ends = np.linspace(0, len(hole) - 1, min(len(hole), _TRIED)).round().astype(np.int64)
        tried = hole.points[ends]
        around = np.flatnonzero(((low <= tried.max(axis=0)) & (tried.min(axis=0) <= high)).all(axis=1))
        smallest = around[np.argsort(size[around], kind="stable")][:_MANY_AROUND].tolist()
        inside = {number: int(_inside(tried, outers[number]).sum()) for number in smallest}
        home = max(inside, key=inside.__getitem__, default=before)
        yield home if inside.get(home) else before


def _inside(points: Array, ring: LonLatLine) -> npt.NDArray[np.bool_]:
    """Which points lie in a ring: crossings of a ray to the east are counted, in degrees."""
    x, y = ring.points[:, 0], ring.points[:, 1]
    next_x, next_y = np.roll(x, -1), np.roll(y, -1)
    odd = []
    for lon, lat in points.tolist():
        crosses = (y > lat) != (next_y > lat)
        with np.errstate(divide="ignore", invalid="ignore"):
            at = x + (lat - y) * (next_x - x) / (next_y - y)
        odd.append(bool((crosses & (at > lon)).sum() % 2))
    return np.array(odd, dtype=np.bool_)


def _kind(element: Element) -> str:
    return (element.get("A") or "").strip()
