"""The five forms of guidance line as the points and attributes of a pattern, and back."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

import numpy as np

from taskkit.geometry.geodesy import LonLat, azimuth_deg, destination, distance_m
from taskkit.geometry.line import LonLatLine
from taskkit.geometry.sideways import heading_moved, line_moved
from taskkit.mapping.ledger import Noticed
from taskkit.mapping.reading import Reading
from taskkit.mapping.units import (
    allowed,
    degrees_rounding_mm,
    degrees_text,
    length_of_millimetres,
    millimetres,
    millimetres_rounding,
    point_types,
    positions,
    read_decimal,
    read_whole,
    sound,
)
from taskkit.plan.leaves import leaf_paths
from taskkit.plan.model import (
    Anchor,
    CurvedLine,
    GuidanceLine,
    HeadingLine,
    PivotLine,
    Position,
    Propagation,
    Rotation,
    Sector,
    SpiralLine,
    StraightLine,
)
from taskkit.plan.quantities import Length
from taskkit.taskdata.document import Element, Points
from taskkit.taskdata.writer import DECIMALS, built_points

__all__ = ["CURVE", "STRAIGHT", "as_written", "direction_deg", "not_writable", "read_form", "write_form"]

STRAIGHT, _HEADING, CURVE, _PIVOT, _SPIRAL = "1", "2", "3", "4", "5"
_A, _B, _CENTRE, _BETWEEN = "6", "7", "8", "9"
_CLOCKWISE, _ANTICLOCKWISE, _FULL = "1", "2", "3"
_OPPOSITE: Mapping[Propagation, Propagation] = MappingProxyType(
    {
        Propagation.BOTH: Propagation.BOTH,
        Propagation.LEFT: Propagation.RIGHT,
        Propagation.RIGHT: Propagation.LEFT,
        Propagation.NONE: Propagation.NONE,
    }
)
_FEW_DEGREES = 0.01
"""How far the heading of an end of a sector may be off for being a point with so many decimals."""


def not_writable(line: GuidanceLine) -> str | None:
    """Why no pattern can stand for a line, None where one can."""
    try:
        centred = _centred(line)
    except ValueError:
        return "it cannot be moved to the middle of a pass"
    if isinstance(centred, PivotLine) and not allowed("GPN", "H", millimetres(centred.radius)):
        return f"a radius of {centred.radius} is beyond what the standard can hold"
    return None


def as_written(line: GuidanceLine, path: str, noticed: Noticed) -> GuidanceLine:
    """The line that the standard can hold in the place of a line of the plan: itself, mostly.

    A line that is the edge of a pass is moved to the middle of that pass. A full circle has no direction: it is
    taken clockwise, with left and right changed about.

    Args:
        line: the line.
        path: path of its leaves, e.g. ``fields.lines``.
        noticed: is told of each leaf that is another then.
    """
    centred = _centred(line)
    _notice(line, centred, path, noticed, f"moved {_half(line)} to the middle of a pass")
    turned = _clockwise(centred)
    _notice(centred, turned, path, noticed, "a full circle has no direction there and goes clockwise")
    return turned


def write_form(line: GuidanceLine, path: str, noticed: Noticed) -> tuple[dict[str, str], Points]:
    """The attributes of the pattern that are its form's own, and its points.

    Args:
        line: a line that can be written.
        path: path of its leaves.
        noticed: is told of roundings, and of a sector too small to tell its headings.
    """
    match line:
        case StraightLine():
            return {"C": STRAIGHT}, _points([(_A, _place(line.a)), (_B, _place(line.b))], noticed)
        case HeadingLine():
            noticed.rounded("headings", abs(line.heading_deg - round(line.heading_deg, DECIMALS)), "degrees")
            heading = {"C": _HEADING, "G": degrees_text(line.heading_deg)}
            return heading, _points([(_A, _place(line.a))], noticed)
        case CurvedLine() | SpiralLine():
            kinds = [_A, *[_BETWEEN] * (len(line.path) - 2), _B]
            form = CURVE if isinstance(line, CurvedLine) else _SPIRAL
            return {"C": form}, _points(list(zip(kinds, line.path, strict=True)), noticed)
    return _write_pivot(line, path, noticed)


def read_form(
    pattern: Element, string: Element, form: str, reading: Reading
) -> tuple[type[GuidanceLine], dict[str, Any]]:
    """The class and the form's own members of a line.

    Args:
        pattern: has the attributes.
        string: has the points.
        form: the type of the pattern.
        reading: is told which points the form has no use for, and which cannot be read.

    Raises:
        LookupError: there is no such form.
        ValueError: something is missing; the message says what.
    """
    match form:
        case "1":
            return StraightLine, _read_straight(string, reading)
        case "2":
            heading = read_decimal(pattern, "G")
            if heading is None:
                raise ValueError("a line of A and a heading needs a heading that can be read")
            (start,) = _marked(string, (_A,), "a line of A and a heading needs a point that can be read", reading)
            return HeadingLine, {"a": _position(start), "heading_deg": heading}
        case "3":
            return CurvedLine, {"path": _read_path(string, reading)}
        case "4":
            return PivotLine, _read_pivot(pattern, string, reading)
        case "5":
            return SpiralLine, {"path": _read_path(string, reading)}
    raise LookupError(form)


def direction_deg(line: GuidanceLine) -> float | None:
    """The direction from A to B at A, degrees clockwise from north; of a curve to its other end; None for a circle."""
    match line:
        case HeadingLine():
            return line.heading_deg
        case StraightLine():
            ends = _place(line.a), _place(line.b)
        case CurvedLine() | SpiralLine():
            places = list(line.path)
            ends = places[0], places[-1]
        case _:
            return None
    return azimuth_deg(ends[0], end=ends[1]) if ends[0] != ends[1] else None


# Out


def _points(marked: list[tuple[str, LonLat]], noticed: Noticed) -> Points:
    places = np.array([place for _, place in marked])
    noticed.rounded("coordinates", degrees_rounding_mm(places), "mm")
    return built_points([kind for kind, _ in marked], places)


def _write_pivot(line: PivotLine, path: str, noticed: Noticed) -> tuple[dict[str, str], Points]:
    noticed.rounded("radii", millimetres_rounding(line.radius), "mm")
    attributes = {"C": _PIVOT, "D": _FULL, "H": str(millimetres(line.radius))}
    centre = _place(line.centre)
    if line.sector is None:
        return attributes, _points([(_CENTRE, centre)], noticed)
    attributes["D"] = _CLOCKWISE if line.direction is Rotation.CLOCKWISE else _ANTICLOCKWISE
    marked = [(_CENTRE, centre)]
    written = _rounded(centre)
    for kind, name in ((_A, "start_heading_deg"), (_B, "end_heading_deg")):
        heading_deg = getattr(line.sector, name)
        end = destination(written, azimuth_deg=heading_deg, distance_m=line.radius.metres)
        marked.append((kind, end))
        off_deg = abs((azimuth_deg(written, end=_rounded(end)) - heading_deg + 180.0) % 360.0 - 180.0)
        if off_deg > _FEW_DEGREES:
            note = f"the end of so small a sector is a point, and its heading {off_deg:.3g} degrees off"
            noticed.approximated(f"{path}.sector.{name}", line.uuid, note)
        else:
            noticed.rounded("headings of sectors", off_deg, "degrees")
    return attributes, _points(marked, noticed)


def _centred(line: GuidanceLine) -> GuidanceLine:
    """The middle of the pass to the right of a line that is an edge; where there is no pass, of that to the left."""
    if line.anchor is Anchor.CENTRE:
        return line
    is_right = line.propagation is not Propagation.LEFT and line.passes_right != 0
    right_m = line.spacing.metres / 2 * (1 if is_right else -1)
    moved: dict[str, Any] = {"anchor": Anchor.CENTRE}
    # The pass that the line is the middle of now is no longer one of those beside it.
    side = "passes_right" if is_right else "passes_left"
    if (count := getattr(line, side)) is not None:
        moved[side] = max(count - 1, 0)
    match line:
        case StraightLine():
            a, b = line_moved(LonLatLine([_place(line.a), _place(line.b)]), right_m=right_m)
            moved |= {"a": _position(a), "b": _position(b)}
        case HeadingLine():
            place, heading_deg = heading_moved(_place(line.a), heading_deg=line.heading_deg, right_m=right_m)
            moved |= {"a": _position(place), "heading_deg": heading_deg}
        case CurvedLine() | SpiralLine():
            moved["path"] = line_moved(line.path, right_m=right_m)
        case PivotLine():
            inward_m = right_m if line.direction is Rotation.CLOCKWISE else -right_m
            moved["radius"] = Length.of(line.radius.metres - inward_m)
    return line.model_copy(update=moved)


def _clockwise(line: GuidanceLine) -> GuidanceLine:
    if not isinstance(line, PivotLine) or line.sector or line.direction is Rotation.CLOCKWISE:
        return line
    turned = {
        "direction": Rotation.CLOCKWISE,
        "propagation": _OPPOSITE[line.propagation],
        "passes_left": line.passes_right,
        "passes_right": line.passes_left,
    }
    return line.model_copy(update=turned)


def _notice(line: GuidanceLine, other: GuidanceLine, path: str, noticed: Noticed, note: str) -> None:
    for leaf in leaf_paths(type(line)):
        member = leaf.partition(".")[0]
        if getattr(line, member) != getattr(other, member):
            noticed.approximated(f"{path}.{leaf}", line.uuid, note)


def _half(line: GuidanceLine) -> str:
    return f"{line.spacing.metres / 2:.4g} m"


# Back


def _read_straight(string: Element, reading: Reading) -> dict[str, Any]:
    """A and B: by their point types, else the first and the last point."""
    a, b = _marked(string, (_A, _B), "a line needs two points that can be read, A and B", reading)
    return {"a": _position(a), "b": _position(b)}


def _marked(string: Element, kinds: tuple[str, ...], missing: str, reading: Reading) -> list[LonLat]:
    """One point of each type; where a type is missing, the point at its end of those that no other type has."""
    places, found = positions(string), point_types(string)
    if len(places) < len(kinds):
        raise ValueError(missing)
    known = {kind: found.index(kind) for kind in kinds if kind in found}
    free = [number for number in range(len(places)) if number not in known.values()]
    at = [known[kind] if kind in known else free.pop(0 if kind == kinds[0] else -1) for kind in kinds]
    marked = sound(places[at])
    if len(marked) < len(kinds):
        raise ValueError(missing)
    for _ in range(len(places) - len(kinds)):
        reading.beyond("PNT (point of a straight line besides A and B)", string)
    return [(lon, lat) for lon, lat in marked.tolist()]


def _read_path(string: Element, reading: Reading) -> LonLatLine:
    places, kinds = positions(string), point_types(string)
    along = np.array([kind != _CENTRE for kind in kinds], dtype=np.bool_)
    for _ in range(len(along) - int(along.sum())):
        reading.beyond("PNT (centre of a curve)", string)
    places, kinds = places[along], [kind for kind in kinds if kind != _CENTRE]
    points = sound(places)
    if len(points) < 2:
        raise ValueError("a curve needs two points that can be read")
    if len(points) < len(places):
        lost = f"{len(places) - len(points)} of its {len(places)} points have no place that can be read"
        reading.left_out(string, lost, what="Part of a curve")
    if kinds[0] == _B and kinds[-1] == _A:
        points = points[::-1]
    return LonLatLine(points)


def _read_pivot(pattern: Element, string: Element, reading: Reading) -> dict[str, Any]:
    ends: dict[str, LonLat] = {}
    for kind, place in zip(point_types(string), positions(string), strict=True):
        kind = kind if kind in (_A, _B) else _CENTRE
        if kind not in ends and len(sound(place[np.newaxis])):
            ends[kind] = tuple(place.tolist())
        else:
            reading.beyond("PNT (point of a pivot besides its centre, A and B)", string)
    centre, a, b = (ends.get(kind) for kind in (_CENTRE, _A, _B))
    radius_mm = read_whole(pattern, "H")
    if centre is None or (radius_mm is None and a is None):
        raise ValueError("a pivot needs a centre that can be read, and a radius or A")
    if radius_mm is None:
        assert a
        radius_mm = round(distance_m(centre, end=a) * 1000)
    option = (pattern.get("D") or "").strip()
    found: dict[str, Any] = {
        "centre": _position(centre),
        "radius": length_of_millimetres(radius_mm),
        "direction": Rotation.ANTICLOCKWISE if option == _ANTICLOCKWISE else Rotation.CLOCKWISE,
    }
    if option == _FULL and (a or b):
        reading.beyond("PNT (end of a full circle)", string)
    elif a and b:
        start, end = (azimuth_deg(centre, end=place) for place in (a, b))
        found["sector"] = Sector(start_heading_deg=start, end_heading_deg=end)
    elif a or b:
        reading.beyond("PNT (one end of a sector without the other)", string)
    return found


def _place(position: Position) -> LonLat:
    return position.lon_deg, position.lat_deg


def _position(place: LonLat) -> Position:
    return Position(lon_deg=place[0], lat_deg=place[1])


def _rounded(place: LonLat) -> LonLat:
    return round(place[0], DECIMALS), round(place[1], DECIMALS)
