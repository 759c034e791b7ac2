"""Guidance lines: a group with one A-B pattern for each line of the plan."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from taskkit.findings import Severity, kind
from taskkit.mapping.identity import GROUP, LINE, Ids, Uuids, group_of
from taskkit.mapping.ledger import Noticed
from taskkit.mapping.reading import Reading
from taskkit.mapping.texts import became
from taskkit.mapping.units import (
    allowed,
    degrees_rounding_mm,
    length_of_millimetres,
    millimetres,
    millimetres_rounding,
    point_types,
    position_points,
    positions,
    read_whole,
    sound,
)
from taskkit.plan.model import Position, StraightLine
from taskkit.plan.quantities import Length
from taskkit.taskdata.document import Element

__all__ = ["read_group", "read_line", "write_group"]

NO_SPACING = kind(
    "guidance-spacing-missing",
    Severity.WARNING,
    "The guidance line {name} has no spacing that can be read; the plan gives it 0 m.",
    hint="Write the spacing between its passes into the plan.",
    why="Passes over the field cannot be laid out without it.",
    source="ISO 11783-10, line string width (recalled)",
)

_AB = "1"
_BOTH = "1"
_GUIDANCE = "5"
_A, _B = "6", "7"
_NAME = "fields.lines.name"
_SPACING = "fields.lines.spacing"


def write_group(line: StraightLine, ids: Ids, noticed: Noticed, *, name: str) -> Element:
    """A GGP that holds one A-B pattern: to both sides, beyond both points, spacing in millimetres."""
    if name != line.name:
        noticed.approximated(_NAME, line.uuid, became(line.name, name))
    group = Element("GGP", {"A": ids.of(GROUP, group_of(line)), "B": name})
    pattern = Element("GPN", {"A": ids.of(LINE, line.uuid), "B": name, "C": _AB, "E": _BOTH, "F": _BOTH})
    string = Element("LSG", {"A": _GUIDANCE})
    if allowed("LSG", "C", spacing_mm := millimetres(line.spacing)):
        string.attributes["C"] = str(spacing_mm)
        noticed.rounded("spacing", millimetres_rounding(line.spacing), "mm")
    else:
        noticed.not_carried(_SPACING, line.uuid, f"{line.spacing} is beyond what the standard can hold")
    places = np.array([(p.lon_deg, p.lat_deg) for p in (line.a, line.b)])
    noticed.rounded("coordinates", degrees_rounding_mm(places), "mm")
    string.add(position_points((_A, line.a), (_B, line.b)))
    pattern.add(string)
    group.add(pattern)
    return group


def read_group(group: Element, uuids: Uuids, reading: Reading) -> Iterator[StraightLine]:
    """The straight lines of a GGP."""
    reading.beyond_attributes(group, ("A", "B"))
    patterns = list(group.elements("GPN"))
    if len(patterns) > 1:
        reading.beyond("GGP (several lines in one group; the plan has a group for each)", group)
    reading.beyond_children(group, "GPN")
    for pattern in patterns:
        yield from _read_pattern(pattern, group.get("B"), uuids, reading)


def read_line(string: Element, uuids: Uuids, reading: Reading) -> Iterator[StraightLine]:
    """The straight line that a line string directly under a field stands for, as in version 3."""
    count = len(positions(string))
    if count > 2:
        reading.beyond("LSG (guidance line with more than two points)", string)
        return
    reading.beyond_line(string, ("A", "B", "C", "D", "F"))
    yield from _straight(string, string, string.get("F"), string.get("B"), uuids, reading)


def _read_pattern(pattern: Element, group_name: str | None, uuids: Uuids, reading: Reading) -> Iterator[StraightLine]:
    if (form := (pattern.get("C") or "").strip()) != _AB:
        reading.beyond(f"GPN (guidance pattern of type {form[:9] or 'unknown'})", pattern)
        return
    # The one direction and extension that a line of the plan has are told by their usual values.
    usual = [code for code in "EF" if (pattern.get(code) or _BOTH).strip() == _BOTH]
    reading.beyond_attributes(pattern, ("A", "B", "C", *usual))
    strings = list(pattern.elements("LSG"))
    for child in pattern.elements():
        if child is not next(iter(strings), None):
            reading.beyond_element(child)
    if not strings:
        reading.left_out(pattern, "it has no line string")
        return
    reading.beyond_line(strings[0], ("A", "C", "D"))
    name = pattern.get("B")
    yield from _straight(strings[0], pattern, pattern.get("A"), group_name if name is None else name, uuids, reading)


def _straight(
    string: Element, owner: Element, identifier: str | None, name: str | None, uuids: Uuids, reading: Reading
) -> Iterator[StraightLine]:
    ends = _ends(string, reading)
    if ends is None:
        reading.left_out(owner, "a line needs two points that can be read, A and B", what=identifier)
        return
    name = identifier or owner.tag if name is None else name
    yield StraightLine(
        uuid=uuids.take(owner, identifier), name=name, a=ends[0], b=ends[1], spacing=_spacing(string, name, reading)
    )


def _ends(string: Element, reading: Reading) -> tuple[Position, Position] | None:
    """A and B: by their point types, else the first and the last point."""
    places, kinds = positions(string), point_types(string)
    if len(places) < 2:
        return None
    at = [kinds.index(kind) if kind in kinds else place for kind, place in ((_A, 0), (_B, len(places) - 1))]
    ends = sound(places[at])
    if len(ends) < 2:
        return None
    for _ in range(len(places) - 2):
        reading.beyond("PNT (point of a straight line besides A and B)", string)
    a, b = (Position(lon_deg=lon, lat_deg=lat) for lon, lat in ends.tolist())
    return a, b


def _spacing(string: Element, name: str, reading: Reading) -> Length:
    number = read_whole(string, "C")
    if number is None:
        reading.found(NO_SPACING, string, name=name[:60])
    return length_of_millimetres(number or 0)
