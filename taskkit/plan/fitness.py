"""Fields that cannot go out as they are: why, and where; and a plan without them."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from uuid import UUID

from taskkit.geometry.line import MetreLine
from taskkit.geometry.plane import LocalPlane
from taskkit.geometry.polygons import Problem, Trouble, overlaps, part_problems
from taskkit.plan.choices import line_on, lines_of
from taskkit.plan.model import Boundary, BoundaryChoice, Field, GuidanceLine, Job, JobLine, Plan, StraightLine
from taskkit.plan.quantities import Length

__all__ = ["Unfit", "unfit", "without"]

_SHOWN = 3
"""Places of one part that are told."""
_WORDS = {
    Trouble.CROSSING: "the {ring} crosses itself",
    Trouble.FALLS_APART: "the {ring} falls into pieces",
    Trouble.HOLE_CROSSES_OUTER: "the {ring} crosses the outer ring",
    Trouble.HOLE_OUTSIDE: "the {ring} lies outside the outer ring",
    Trouble.HOLES_OVERLAP: "the {ring} lies over {other}",
    Trouble.TANGLED: "the {ring} is a tangle",
    Trouble.TOO_FEW_POINTS: "the {ring} has fewer than three points",
}
"""What makes a boundary unusable. Touches, spikes and repeated points do not: a check of the set tells of them."""


@dataclass(frozen=True, slots=True)
class Unfit:
    """A field that cannot go out, and one reason.

    Attributes:
        field: its UUID.
        name: its name.
        reason: what is wrong, with the vertex and its place where there is one.
        lon_deg: where, degrees; None where the reason has no place.
        lat_deg: likewise.
    """

    field: UUID
    name: str
    reason: str
    lon_deg: float | None = None
    lat_deg: float | None = None

    def __str__(self) -> str:
        return f"field {self.name}: {self.reason}"


def unfit(plan: Plan, *, boundary: BoundaryChoice | None = None) -> tuple[Unfit, ...]:
    """The fields of a plan that cannot go out, in its order; one entry for each reason.

    A field is unfit where the outline that is chosen is no area (a ring crosses itself, a hole lies outside, a ring
    has too few points), or where it has none although a job or a guidance line needs one; where A and B of a line are
    one place, or a headland is of negative depth.

    Args:
        plan: the plan.
        boundary: the outline of each field to judge, where it is not the usual one.
    """
    worked = {job.field for job in plan.jobs} | {uuid for line in plan.shared_lines for uuid in line.fields}
    found: list[Unfit] = []
    for field in plan.fields:
        purpose, season = (boundary.purpose, boundary.season) if boundary else (None, None)
        outline = field.boundary(purpose, season=season)
        if outline is not None:
            found += _troubles(field, outline)
        elif boundary is not None and field.boundaries:
            word = " ".join(text for text in (purpose, "boundary", season) if text)
            found.append(Unfit(field.uuid, field.name, f"it has no {word}"))
        elif field.lines or field.uuid in worked:
            found.append(Unfit(field.uuid, field.name, "it has no boundary, and a job or a guidance line needs one"))
        found += _senseless(plan, field)
    return tuple(found)


def without(plan: Plan, fields: Collection[UUID]) -> Plan:
    """The plan without some fields, and without the jobs on them.

    A line that they share with others stays for the others; where it belonged to a field that goes, their copies
    become lines of their own, with the UUIDs that they have always had.
    """
    gone = set(fields)
    left = [field for field in plan.fields if field.uuid not in gone]
    shared = []
    own: dict[UUID, list[GuidanceLine]] = {field.uuid: [] for field in left}
    renamed: dict[tuple[UUID, UUID], UUID] = {}
    for line in plan.shared_lines:
        if line.fields and line.fields[0] not in gone:
            others = tuple(uuid for uuid in line.fields if uuid not in gone)
            shared.append(line.model_copy(update={"fields": others}))
        for field in left if line.fields and line.fields[0] in gone else ():
            if field.uuid in line.fields:
                uuid = line_on(plan, line.uuid, field.uuid)
                copy = next(one for one in lines_of(plan, field) if one.uuid == uuid)
                own[field.uuid].append(copy)
                renamed[field.uuid, line.uuid] = uuid
                pairs = zip(line.shifts, copy.shifts, strict=True)
                renamed |= {(field.uuid, old.uuid): new.uuid for old, new in pairs}
    jobs = [_with_lines(job, renamed) for job in plan.jobs if job.field not in gone]
    kept = [field.model_copy(update={"lines": (*field.lines, *own[field.uuid])}) for field in left]
    return plan.model_copy(update={"fields": tuple(kept), "shared_lines": tuple(shared), "jobs": tuple(jobs)})


def _with_lines(job: Job, renamed: Mapping[tuple[UUID, UUID], UUID]) -> Job:
    """A job that names its lines and their shifts by the UUIDs that they have on its field."""
    lines = []
    for one in job.lines:
        shift = one.shift and renamed.get((job.field, one.shift), one.shift)
        lines.append(JobLine(line=renamed.get((job.field, one.line), one.line), shift=shift))
    return job.model_copy(update={"lines": tuple(lines)})


def _senseless(plan: Plan, field: Field) -> Iterator[Unfit]:
    """What no machine could follow, whatever the outline."""
    for line in lines_of(plan, field):
        if isinstance(line, StraightLine) and line.a == line.b:
            reason = f"A and B of the {line.title} are the same place, so it has no direction"
            yield Unfit(field.uuid, field.name, reason, line.a.lon_deg, line.a.lat_deg)
    depth = field.headland.depth if field.headland else None
    if isinstance(depth, Length) and depth.metres < 0:
        yield Unfit(field.uuid, field.name, f"its headland has a depth below nothing, {depth}")


def _troubles(field: Field, outline: Boundary) -> Iterator[Unfit]:
    plane = LocalPlane.around(ring for part in outline.parts for ring in part.rings)
    many = len(outline.parts) > 1
    flat = []
    for number, part in enumerate(outline.parts, 1):
        where = f" of part {number}" if many else ""
        try:
            rings = tuple(plane.to_plane(ring) for ring in part.rings)
        except ValueError:
            reason = f"the {outline.title}{where} reaches round a quarter of the globe"
            yield Unfit(field.uuid, field.name, reason, *part.outer.points[0].tolist())
            return
        flat.append([rings])
        grave = [problem for problem in part_problems(rings) if problem.trouble in _WORDS]
        for problem in grave[:_SHOWN]:
            yield _at(field, outline, where, problem, plane)
        if len(grave) > _SHOWN:
            more = f"and {len(grave) - _SHOWN} more such places in the {outline.title}{where}"
            yield Unfit(field.uuid, field.name, more)
    for overlap in overlaps(flat) if many else ():
        pair = f"parts {overlap.first + 1} and {overlap.second + 1}"
        lon_deg, lat_deg = _degrees(plane, overlap.east_m, overlap.north_m)
        reason = f"{pair} of the {outline.title} lie over each other at {_place(lon_deg, lat_deg)}"
        yield Unfit(field.uuid, field.name, reason, lon_deg, lat_deg)


def _at(field: Field, outline: Boundary, where: str, problem: Problem, plane: LocalPlane) -> Unfit:
    lon_deg, lat_deg = _degrees(plane, problem.east_m, problem.north_m)
    said = _WORDS[problem.trouble].format(ring=_ring(problem.ring) + where, other=_ring(problem.other or 0))
    vertex = "" if problem.vertex is None else f"vertex {problem.vertex + 1}, "
    reason = f"{said} at {vertex}{_place(lon_deg, lat_deg)} ({outline.title})"
    return Unfit(field.uuid, field.name, reason, lon_deg, lat_deg)


def _degrees(plane: LocalPlane, east_m: float, north_m: float) -> tuple[float, float]:
    lon_deg, lat_deg = plane.to_degrees(MetreLine([(east_m, north_m)])).points[0].tolist()
    return lon_deg, lat_deg


def _place(lon_deg: float, lat_deg: float) -> str:
    return f"latitude {lat_deg:.7f}, longitude {lon_deg:.7f}"


def _ring(number: int) -> str:
    return f"hole {number}" if number else "outer ring"
