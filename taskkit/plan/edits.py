"""Named changes of a plan that keep where things came from: an outline moved outward, lines made longer."""

from __future__ import annotations

import contextlib
import datetime
import enum
import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from taskkit.errors import InputError, RefusedError
from taskkit.geometry.edges import edges_of, reach_m
from taskkit.geometry.geodesy import LonLat, area_m2, azimuth_deg, destination
from taskkit.geometry.line import Array, LonLatLine, MetreLine, Part
from taskkit.geometry.outsets import moved_corners, outset
from taskkit.geometry.plane import LocalPlane
from taskkit.geometry.polygons import overlaps
from taskkit.plan.disk import put_in_place
from taskkit.plan.fitness import unfit
from taskkit.plan.guidance import CurvedLine, GuidanceLine, HeadingLine, StraightLine
from taskkit.plan.model import Boundary, BoundaryChoice, Corner, Field, Plan, Position, Recorded, Side
from taskkit.plan.quantities import Length
from taskkit.plan.sense import SENSIBLE

__all__ = ["EndMoved", "LineLeft", "OutlineMoved", "Why", "extend_lines", "former_kept", "move_outline"]

_DECIMALS = 9
"""Decimals of a degree that are kept: 0.11 mm, the resolution of task data."""
_SAME_M = 0.001
"""An end that lies this near to where it should be stays."""


@dataclass(frozen=True, slots=True)
class OutlineMoved:
    """An outline that was moved outward.

    Attributes:
        field: the field's name.
        boundary: the outline as it is now.
        by: how far.
        area_before_m2: its area as it was.
        area_after_m2: its area now.
    """

    field: str
    boundary: Boundary
    by: Length
    area_before_m2: float
    area_after_m2: float


@dataclass(frozen=True, slots=True)
class EndMoved:
    """An end of a guidance line that was moved.

    Attributes:
        line: the line's name.
        end: ``A`` or ``B``.
        by_m: how far along the line, metres.
        place: where it is now, longitude and latitude in degrees.
        shared_with: names of other fields that have the line too.
    """

    line: str
    end: str
    by_m: float
    place: LonLat
    shared_with: tuple[str, ...]


class Why(enum.StrEnum):
    """Why a line stays as it is."""

    LONG_ENOUGH = "its ends lie as far beyond the edge already"
    NO_ENDS = "it has no ends that could be moved"
    ASIDE = "it does not run over the field"


@dataclass(frozen=True, slots=True)
class LineLeft:
    """A guidance line that stays as it is, and why."""

    line: str
    why: Why


def move_outline(
    plan: Plan, field: Field, *, by: Length, on: datetime.date, boundary: BoundaryChoice | None = None
) -> tuple[Plan, OutlineMoved]:
    """The plan with an outline that was driven moved outward, to where the ground ends that is worked.

    The outer rings grow and the holes shrink, with every edge parallel to where it was and sharp corners. The sum of
    all moves is kept in ``offset``, the day in ``method``; corners of sides go along. Everything else that is said of
    the outline stays.

    Args:
        plan: the whole.
        field: the field, one of the plan.
        by: how far, mostly half the width of what was driven.
        on: the day, for the note.
        boundary: which of its outlines; the usual one where nothing is said.

    Raises:
        InputError: the length is not positive, or more than can be meant; the field has no such outline.
        RefusedError: the outline came from a map, or is unfit, or would close a hole, or its parts would meet.
    """
    most = SENSIBLE["offset"][1]
    assert isinstance(most, Length)
    if not 0 < by.metres <= most.metres:
        message = f"an outline is moved outward, by more than 0 m and at most {most}, not by {by}"
        raise InputError(message, remedy="Give half the width of what was driven, such as 1.5 m")
    old = _outline(field, boundary)
    if old.recorded is Recorded.MAP:
        raise RefusedError(f"the {old.title} of {field.name} came from a map: nobody drove along it, so it stays")
    alone = plan.model_copy(update={"fields": (field,)})
    if troubles := unfit(alone, boundary=boundary):
        raise RefusedError(f"the {old.title} of {field.name} is no area that can be moved: {troubles[0].reason}")
    plane = LocalPlane.around(ring for part in old.parts for ring in part.rings)
    flat = [tuple(plane.to_plane(ring) for ring in part.rings) for part in old.parts]
    grown = []
    for number, part in enumerate(flat, 1):
        try:
            grown.append(outset(part, distance_m=by.metres))
        except ValueError as error:
            where = f" in part {number}" if len(flat) > 1 else ""
            raise RefusedError(f"the {old.title} of {field.name} cannot move by {by}{where}: {error}") from None
    if met := overlaps([[part] for part in grown]):
        pair = f"parts {met[0].first + 1} and {met[0].second + 1}"
        raise RefusedError(f"the {old.title} of {field.name} cannot move by {by}: {pair} would meet")
    parts = tuple(Part(*_split([_degrees(plane, ring) for ring in part])) for part in grown)
    new = old.model_copy(update={"parts": parts, "offset": _sum(old.offset, by), "method": _noted(old.method, by, on)})
    boundaries = tuple(new if one is old else one for one in field.boundaries)
    corners = [
        (ring, moved_corners(ring, distance_m=by.metres, hole=number > 0))
        for part in flat
        for number, ring in enumerate(part)
    ]
    sides = field.sides
    if old is field.boundary():
        sides = tuple(_side_moved(side, plane, corners) for side in sides)
    changed = field.model_copy(update={"boundaries": boundaries, "sides": sides})
    moved = OutlineMoved(field.name, new, by, area_m2(old.parts), area_m2(parts))
    return _with_field(plan, changed), moved


def extend_lines(
    plan: Plan, field: Field, *, by: Length, boundary: BoundaryChoice | None = None
) -> tuple[Plan, tuple[EndMoved, ...], tuple[LineLeft, ...]]:
    """The plan in which A and B of a field's lines lie beyond its edge.

    Ends are moved along the geodesic on which they lie, outward only: the direction stays, and so does every pass. An
    end is beyond the edge when the line does not meet the outline within the distance nor farther out. A line of a
    point and a heading gets the heading that the same geodesic has at the new A; a curve goes straight on. Circles and
    spirals stay as they are. A shared line changes for all fields that have it.

    Args:
        plan: the whole.
        field: the field, one of the plan.
        by: how far beyond the edge at least.
        boundary: which of its outlines has the edge; the usual one where nothing is said.

    Raises:
        InputError: the length is negative, or more than can be meant; the field has no such outline.
    """
    if not 0 <= by.metres <= 1000:
        raise InputError(f"ends are moved to between 0 m and 1 km beyond the edge, not {by}", remedy="Give 20 m, say")
    outline = _outline(field, boundary)
    plane = LocalPlane.around(ring for part in outline.parts for ring in part.rings)
    edges = np.concatenate([edges_of(plane.metres(ring.points)) for part in outline.parts for ring in part.rings])
    names = {one.uuid: one.name for one in plan.fields}
    moved: list[EndMoved] = []
    left: list[LineLeft] = []

    def longer(line: Any, others: tuple[str, ...] = ()) -> Any:
        ends = _ends(line)
        reaches = [_beyond_m(plane, edges, *end, by_m=by.metres) for end in ends.values()]
        known = [reach for reach in reaches if reach is not None]
        if not any(reach > _SAME_M for reach in known):
            left.append(LineLeft(line.name, Why.NO_ENDS if not ends else Why.LONG_ENOUGH if known else Why.ASIDE))
            return line
        for (end, (tip, inner)), reach in zip(ends.items(), reaches, strict=True):
            if reach is not None and reach > _SAME_M:
                azimuth = (azimuth_deg(tip, end=inner) + 180.0) % 360.0
                place = _rounded(destination(tip, azimuth_deg=azimuth, distance_m=reach))
                line = line.model_copy(update=_with_end(line, end, place, tip))
                moved.append(EndMoved(line.name, end, reach, place, others))
        return line

    lines = tuple(longer(line) for line in field.lines)
    shared = tuple(
        longer(line, tuple(names[uuid] for uuid in line.fields if uuid != field.uuid))
        if field.uuid in line.fields
        else line
        for line in plan.shared_lines
    )
    new = _with_field(plan, field.model_copy(update={"lines": lines}))
    return new.model_copy(update={"shared_lines": shared}), tuple(moved), tuple(left)


@contextlib.contextmanager
def former_kept(file: Path, text: str, *, on: datetime.date) -> Iterator[Path]:
    """Keep the text of a plan beside it while the plan is changed, e.g. as ``plan.before-2026-11-25.yaml``.

    A second change on one day makes ``plan.before-2026-11-25-2.yaml``. If the change fails, nothing is kept.

    Raises:
        InputError: the folder cannot be written to.
    """
    number = 1
    while (former := file.with_name(_former(file, on, number))).exists():
        number += 1
    try:
        put_in_place(former, text)
    except OSError as error:
        message = f"the plan as it was cannot be kept here ({error.strerror or error}); nothing was changed"
        raise InputError(message, path=former, remedy="Work on a copy in a folder that can be written to") from error
    try:
        yield former
    except BaseException:
        former.unlink()
        raise


def _former(file: Path, on: datetime.date, number: int) -> str:
    return f"{file.stem}.before-{on.isoformat()}{f'-{number}' if number > 1 else ''}{file.suffix}"


def _outline(field: Field, boundary: BoundaryChoice | None) -> Boundary:
    purpose, season = (boundary.purpose, boundary.season) if boundary else (None, None)
    outline = field.boundary(purpose, season=season)
    if outline is None:
        wanted = " ".join(word for word in (purpose, "boundary", season) if word)
        raise InputError(f"the field {field.name} has no {wanted}", remedy="Give it one, or name another")
    return outline


def _with_field(plan: Plan, field: Field) -> Plan:
    return plan.model_copy(update={"fields": tuple(field if f.uuid == field.uuid else f for f in plan.fields)})


def _split(rings: list[LonLatLine]) -> tuple[LonLatLine, list[LonLatLine]]:
    return rings[0], rings[1:]


def _degrees(plane: LocalPlane, ring: MetreLine) -> LonLatLine:
    return LonLatLine(np.round(plane.degrees(ring.points), _DECIMALS))


def _rounded(place: LonLat) -> LonLat:
    return round(place[0], _DECIMALS), round(place[1], _DECIMALS)


def _sum(before: Length | None, by: Length) -> Length:
    return by if before is None or before.metres == 0 else Length.of(round(before.metres + by.metres, 6))


def _noted(method: str | None, by: Length, on: datetime.date) -> str:
    note = f"moved outward by {by} on {on.isoformat()}"
    return f"{method}; {note}" if method else note


def _side_moved(side: Side, plane: LocalPlane, rings: list[tuple[MetreLine, MetreLine]]) -> Side:
    ends = {"start": _corner_moved(side.start, plane, rings), "end": _corner_moved(side.end, plane, rings)}
    return side.model_copy(update=ends)


def _corner_moved(corner: Corner, plane: LocalPlane, rings: list[tuple[MetreLine, MetreLine]]) -> Corner:
    """A corner given by a position, moved as the corner of the outline that it means."""
    if corner.lon_deg is None or corner.lat_deg is None:
        return corner
    (place,) = plane.metres(np.array([(corner.lon_deg, corner.lat_deg)]))
    old, new = (np.concatenate([pair[n].points for pair in rings]) for n in (0, 1))
    nearest = int(np.argmin(np.hypot(*(old - place).T)))
    lon_deg, lat_deg = _rounded(tuple(plane.degrees(new[nearest : nearest + 1])[0].tolist()))
    return Corner(lon_deg=lon_deg, lat_deg=lat_deg)


def _ends(line: GuidanceLine) -> dict[str, tuple[LonLat, LonLat]]:
    """The ends of a line that may lie beyond an edge, each with a place inward of it on the same straight run."""
    match line:
        case StraightLine():
            a, b = _lonlat(line.a), _lonlat(line.b)
            return {} if a == b else {"A": (a, b), "B": (b, a)}
        case HeadingLine():
            a = _lonlat(line.a)
            return {"A": (a, destination(a, azimuth_deg=line.heading_deg, distance_m=1000.0))}
        case CurvedLine():
            places = [place for place, _ in itertools.groupby(line.path)]
            return {} if len(places) < 2 else {"A": (places[0], places[1]), "B": (places[-1], places[-2])}
    return {}


def _lonlat(position: Position) -> LonLat:
    return position.lon_deg, position.lat_deg


def _beyond_m(plane: LocalPlane, edges: Array, tip: LonLat, inner: LonLat, *, by_m: float) -> float | None:
    """How far an end has to go outward to lie ``by_m`` beyond the outline; None where its run meets no edge."""
    start, toward = plane.metres(np.array((tip, inner)))
    if not np.isfinite((start, toward)).all():
        return None
    reach = reach_m(edges, start=start, toward=toward)
    return None if reach is None else max(by_m - reach[0], 0.0)


def _with_end(line: GuidanceLine, end: str, place: LonLat, before: LonLat) -> dict[str, Any]:
    """The members of a line that say where one of its ends lies, with the new place."""
    if isinstance(line, CurvedLine):
        points = line.path.points.copy()
        points[0 if end == "A" else -1] = place
        return {"path": LonLatLine(points)}
    update: dict[str, Any] = {end.lower(): Position(lon_deg=place[0], lat_deg=place[1])}
    if isinstance(line, HeadingLine):
        update["heading_deg"] = round(azimuth_deg(place, end=before), _DECIMALS) % 360.0
    return update
