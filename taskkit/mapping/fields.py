"""Fields and the boundary that was chosen: one polygon for each part, its outer ring and its holes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from uuid import UUID

import numpy as np
import numpy.typing as npt

from taskkit.geometry.geodesy import area_m2
from taskkit.geometry.line import LonLatLine, Part
from taskkit.mapping.guidance import read_group, read_line, write_group
from taskkit.mapping.headland_file import Attached
from taskkit.mapping.identity import CUSTOMER, FARM, FIELD, PART, Ids, Uuids, part_of
from taskkit.mapping.ledger import Noticed
from taskkit.mapping.parties import read_reference, reference
from taskkit.mapping.reading import Reading
from taskkit.mapping.texts import fitted, read_texts, write_texts
from taskkit.mapping.units import (
    allowed,
    degrees_rounding_mm,
    positions,
    ring_points,
    sound,
    whole,
)
from taskkit.plan.identity import derived
from taskkit.plan.model import Boundary, Field, Plan, StraightLine
from taskkit.taskdata.document import Element, Points

__all__ = ["read_field", "write_fields"]

_TEXTS = {"code": "B", "name": "C"}
_BOUNDARY = "1"
_OUTER, _INNER = "1", "2"
_GUIDANCE = "5"
_POINT = "2"
"""The type of a boundary's points: other."""


def write_fields(plan: Plan, ids: Ids, noticed: Noticed) -> Iterator[Element]:
    """One PFD for each field: its boundary, then its guidance lines."""
    for field, name in zip(plan.fields, fitted(plan.fields, "PFD", "C"), strict=True):
        element = Element("PFD", {"A": ids.of(FIELD, field.uuid)})
        element.attributes |= write_texts(field, "PFD", _TEXTS, path="fields", noticed=noticed, name=name)
        boundary = field.boundary()
        parts = boundary.parts if boundary else ()
        areas_m2 = [area_m2([part]) for part in parts]
        element.attributes["D"] = _area(sum(areas_m2), "PFD", "D", noticed) or "0"
        for kind, code, target in ((CUSTOMER, "E", field.customer), (FARM, "F", field.farm)):
            found = reference(kind, target, ids, path=f"fields.{kind}", owner=field.uuid, noticed=noticed)
            element.attributes |= {code: found} if found else {}
        for ordinal, (part, part_area_m2) in enumerate(zip(parts, areas_m2, strict=True)):
            assert boundary
            identifier = ids.of(PART, part_of(boundary, ordinal))
            element.add(_polygon(part, identifier, _area(part_area_m2, "PLN", "C", noticed), noticed))
        for line, line_name in zip(field.lines, fitted(field.lines, "GPN", "B"), strict=True):
            element.add(write_group(line, ids, noticed, name=line_name))
        yield element


def read_field(
    element: Element,
    uuids: Uuids,
    customers: Mapping[str, UUID],
    farms: Mapping[str, UUID],
    attached: Attached,
    reading: Reading,
) -> Field:
    """The field that a PFD stands for.

    Args:
        element: the PFD.
        uuids: gives the field and what it holds their UUIDs.
        customers: identifier -> UUID of the set's customers.
        farms: likewise of its farms.
        attached: what HEADLAND.XML says of fields.
        reading: is told what is broken, and what the plan has no word for.
    """
    reading.beyond_attributes(element, ("A", "D", "E", "F", *_TEXTS.values()))
    uuid = uuids.take(element, element.get("A"))
    polygons: list[Element] = []
    lines: list[StraightLine] = []
    for child in element.children:
        if isinstance(child, Points):
            for point in child.elements():
                reading.beyond_element(point)
        elif not isinstance(child, Element):
            continue
        elif child.tag == "PLN" and _kind(child) == _BOUNDARY:
            polygons.append(child)
        elif child.tag == "GGP":
            lines += read_group(child, uuids, reading)
        elif child.tag == "LSG" and _kind(child) == _GUIDANCE:
            lines += read_line(child, uuids, reading)
        else:
            reading.beyond_element(child)
    boundary = _read_boundary(polygons, uuids, reading)
    return Field(
        uuid=uuid,
        customer=read_reference(element, "E", customers, reading),
        farm=read_reference(element, "F", farms, reading),
        boundaries=(boundary,) if boundary else (),
        lines=tuple(lines),
        headland=attached.headlands.get(uuid),
        row_end=attached.row_ends.get(uuid),
        **read_texts(element, _TEXTS),
    )


def _polygon(part: Part, identifier: str, area: str | None, noticed: Noticed) -> Element:
    polygon = Element("PLN", {"A": _BOUNDARY, **({"C": area} if area else {}), "E": identifier})
    for ring in part.rings:
        noticed.rounded("coordinates", degrees_rounding_mm(ring.points), "mm")
        line = Element("LSG", {"A": _OUTER if ring is part.outer else _INNER})
        line.add(ring_points(ring, kind=_POINT))
        polygon.add(line)
    return polygon


def _area(exact_m2: float, tag: str, code: str, noticed: Noticed) -> str | None:
    """An area as an attribute, None where the standard cannot hold it (a country, or a ring gone wrong)."""
    rounded_m2 = whole(exact_m2)
    if not allowed(tag, code, rounded_m2):
        return None
    noticed.rounded("areas", abs(exact_m2 - rounded_m2), "m2")
    return str(rounded_m2)


def _read_boundary(polygons: Sequence[Element], uuids: Uuids, reading: Reading) -> Boundary | None:
    """One boundary from all polygons of its type, however they share out parts and holes."""
    parts = [part for polygon in polygons for part in _read_parts(polygon, reading)]
    for polygon in polygons:
        reading.beyond_attributes(polygon, ("A", "C", "E"))
    if not parts:
        return None
    # The first part goes by the boundary's own UUID; a terminal may have put the parts in another order.
    linked = {uuid: polygon for polygon in polygons if (uuid := uuids.linked(polygon.get("E")))}
    further = {derived(uuid, PART, ordinal) for uuid in linked for ordinal in range(1, len(polygons))}
    first = next((polygon for uuid, polygon in linked.items() if uuid not in further), polygons[0])
    return Boundary(uuid=uuids.take(first, first.get("E")), parts=tuple(parts))


def _read_parts(polygon: Element, reading: Reading) -> list[Part]:
    """The parts of one polygon: one in version 4, any number in version 3."""
    outers: list[LonLatLine] = []
    holes: list[list[LonLatLine]] = []
    for line in polygon.elements():
        if line.tag != "LSG" or _kind(line) not in (_OUTER, _INNER):
            reading.beyond_element(line)
            continue
        ring = _read_ring(line, reading)
        if ring is None:
            continue
        if _kind(line) == _OUTER:
            outers.append(ring)
            holes.append([])
        elif outers:
            holes[_home(ring, outers)].append(ring)
        else:
            reading.left_out(line, "no outer ring stands before it", what="A hole")
    return [Part(outer, inner) for outer, inner in zip(outers, holes, strict=True)]


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


def _home(hole: LonLatLine, outers: Sequence[LonLatLine]) -> int:
    """The number of the outer ring that a hole belongs to: the one that holds most of its points, else the last."""
    if len(outers) == 1:
        return 0
    inside = [int(_inside(hole, outer).sum()) for outer in outers]
    most = max(inside)
    return inside.index(most) if most else len(outers) - 1


def _inside(points: LonLatLine, ring: LonLatLine) -> npt.NDArray[np.bool_]:
    """Which points lie in a ring: crossings of a ray to the east are counted, in degrees."""
    x, y = ring.points[:, 0], ring.points[:, 1]
    next_x, next_y = np.roll(x, -1), np.roll(y, -1)
    odd = []
    for lon, lat in points:
        crosses = (y > lat) != (next_y > lat)
        with np.errstate(divide="ignore", invalid="ignore"):
            at = x + (lat - y) * (next_x - x) / (next_y - y)
        odd.append(bool((crosses & (at > lon)).sum() % 2))
    return np.array(odd, dtype=np.bool_)


def _kind(element: Element) -> str:
    return (element.get("A") or "").strip()
