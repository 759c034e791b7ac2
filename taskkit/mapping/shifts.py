"""Shifts of guidance lines: millimetres across the line, and along it as millimetres to the east and the north."""

from __future__ import annotations

import math

from taskkit.mapping.ledger import Noticed
from taskkit.mapping.patterns import as_written, direction_deg
from taskkit.mapping.reading import Reading
from taskkit.mapping.units import allowed, length_of_millimetres, millimetres, millimetres_rounding, read_whole
from taskkit.plan.model import GuidanceLine, PivotLine, Shift
from taskkit.plan.quantities import Length
from taskkit.taskdata.document import Element

__all__ = ["read_shift", "write_shift"]

_EAST, _NORTH, _ACROSS = "C", "D", "E"
_NO_MOVE_MM = 1
"""What lies across in an east and a north that were rounded is no move."""


def write_shift(shift: Shift, line: GuidanceLine, *, pattern: str, path: str, noticed: Noticed) -> Element | None:
    """The GST that moves a pattern; to the right is positive, as recalled. None where it cannot be written.

    Args:
        shift: the shift.
        line: the line that it moves, as it is in the plan.
        pattern: identifier of the line's pattern.
        path: path of the shift's leaves, e.g. ``fields.lines.shifts``.
        noticed: is told what is lost or rounded.
    """
    written = as_written(line, "", Noticed())
    is_turned = isinstance(line, PivotLine) and isinstance(written, PivotLine) and line.direction != written.direction
    across_mm = millimetres(shift.across) * (-1 if is_turned else 1)
    if not allowed("GST", _ACROSS, across_mm):
        noticed.not_carried(f"{path}.across", shift.uuid, f"{shift.across} is beyond what the standard can hold")
        return None
    if is_turned:
        noticed.approximated(f"{path}.across", shift.uuid, "left and right of the circle are changed about")
    noticed.rounded("shifts", millimetres_rounding(shift.across), "mm")
    element = Element("GST", {"B": pattern})
    if shift.along is not None:
        moved = _moved(shift.along, written)
        if isinstance(moved, str):
            noticed.not_carried(f"{path}.along", shift.uuid, moved)
        else:
            east_mm, north_mm, off_mm = moved
            element.attributes |= {_EAST: str(east_mm), _NORTH: str(north_mm)}
            noticed.rounded("shifts", off_mm, "mm")
    element.attributes[_ACROSS] = str(across_mm)
    return element


def read_shift(element: Element, line: GuidanceLine, reading: Reading) -> tuple[Length, Length | None] | None:
    """How far a GST moves a line: across to the right, and along; None, and a finding, where it does not say.

    Args:
        element: the GST.
        line: the line.
        reading: is told what cannot be said of that line.
    """
    east, north, across = (read_whole(element, code) for code in (_EAST, _NORTH, _ACROSS))
    direction = direction_deg(line)
    understood = ["A", "B", *([_ACROSS] if across is not None else [])]
    if direction is not None:
        understood += [code for code, value in ((_EAST, east), (_NORTH, north)) if value is not None]
    reading.beyond_attributes(element, understood)
    if direction is None or (east is None and north is None):
        if across is None:
            reading.left_out(element, "it says no distance that can be read")
            return None
        return length_of_millimetres(across), None
    along_mm, aside_mm = _turned(east or 0, north or 0, direction)
    return length_of_millimetres((across or 0) + aside_mm), length_of_millimetres(along_mm)


def _moved(along: Length, line: GuidanceLine) -> tuple[int, int, float] | str:
    """A move along a line to the east and the north, and how far it is off when it comes back; or why it cannot be."""
    direction = direction_deg(line)
    if direction is None:
        return "the line has no one direction along which it could be moved"
    east_mm, north_mm = _east_north(millimetres(along), direction)
    if not (allowed("GST", _EAST, east_mm) and allowed("GST", _NORTH, north_mm)):
        return f"{along} is beyond what the standard can hold"
    return east_mm, north_mm, abs(_turned(east_mm, north_mm, direction)[0] - along.metres * 1000)


def _east_north(along_mm: int, direction_deg: float) -> tuple[int, int]:
    angle = math.radians(direction_deg)
    return round(along_mm * math.sin(angle)), round(along_mm * math.cos(angle))


def _turned(east_mm: int, north_mm: int, direction_deg: float) -> tuple[int, int]:
    """A move to the east and the north as one along a direction and one to the right of it, whole millimetres."""
    angle = math.radians(direction_deg)
    along_mm = round(east_mm * math.sin(angle) + north_mm * math.cos(angle))
    aside_mm = round(east_mm * math.cos(angle) - north_mm * math.sin(angle))
    # Several moves along the line have the same rounded east and north; any of those is written as these again.
    for near_mm in (along_mm, along_mm - 1, along_mm + 1):
        if _east_north(near_mm, direction_deg) == (east_mm, north_mm):
            return near_mm, 0
    return along_mm, aside_mm if abs(aside_mm) > _NO_MOVE_MM else 0
