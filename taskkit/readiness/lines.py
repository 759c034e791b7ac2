"""The guidance lines of a field or a job: is there one to turn by, do A and B lie beyond the edge, does it fit."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from taskkit.findings import Fact, Finding, Severity, Where, kind
from taskkit.geometry.edges import depth_m, edges_of
from taskkit.geometry.geodesy import LonLat, distance_m
from taskkit.geometry.line import Array
from taskkit.geometry.plane import LocalPlane
from taskkit.plan.choices import line_on, lines_of
from taskkit.plan.model import (
    Boundary,
    CurvedLine,
    Field,
    GuidanceLine,
    HeadingLine,
    Job,
    PivotLine,
    Plan,
    SpiralLine,
    StraightLine,
)
from taskkit.readiness.answers import Answer, Topic

__all__ = ["has_row_ends", "lines_for", "on_lines"]

_PRACTICE = "common practice, no source"

SHORT_M = 10.0
"""At 10 m an error of 1 cm in one point is 1 m after 1000 m."""
INSIDE_M = 0.1
"""A and B this near to the edge are at the edge."""
FAR_M = 1000.0
"""A line farther from its field than this belongs to another, or its coordinates are wrong."""
GAP_M = 0.01
"""Spacing beyond the working width by less than this comes from another unit."""

MISSING = kind(
    "guidance-line-missing",
    Severity.ERROR,
    "There is no guidance line.",
    hint="Give the field a line: A and B, A and a heading, a curve or a circle.",
    why="Without a line there are no passes, and nothing to turn from or to.",
    source=_PRACTICE,
)
NOT_CHOSEN = kind(
    "guidance-line-not-chosen",
    Severity.WARNING,
    "The job names no line; the field has {lines}.",
    hint="Write under `lines` of the job which one it uses.",
    why="The driver has to pick one, and may pick that of another width.",
    source=_PRACTICE,
)
INSIDE = kind(
    "guidance-line-ends-inside",
    Severity.WARNING,
    "{end} of the line {line} lies {depth_m} m inside the field.",
    hint='Move it out: taskkit edit PLAN "{field}" --extend-lines "20 m".',
    why="Where a terminal does not lengthen the line by itself, guidance ends before the pass does.",
    source=_PRACTICE,
)
SHORT = kind(
    "guidance-line-short",
    Severity.WARNING,
    "A and B of the line {line} are only {length_m} m apart.",
    hint="Take A and B at the two ends of the field.",
    why="1 cm on 10 m is 1 m at the end of a field 1000 m long.",
    source=_PRACTICE,
)
FAR = kind(
    "guidance-line-far-away",
    Severity.WARNING,
    "The line {line} lies {distance_m} m from the field.",
    hint="Look whether it belongs to this field, and whether longitude and latitude are exchanged.",
    why="Passes reckoned from so far away lie wrong, or the terminal does not offer the line.",
    source=_PRACTICE,
)
WIDE = kind(
    "line-spacing-beyond-width",
    Severity.WARNING,
    "The line {line} has a spacing of {spacing}; the machine works {width}.",
    hint="Use a line whose spacing is the working width less the overlap.",
    why="A strip between neighbouring passes is left out.",
    source=_PRACTICE,
)


def lines_for(plan: Plan, field: Field, job: Job | None) -> tuple[GuidanceLine, ...]:
    """The lines that a job names, or all of the field where it names none."""
    lines = lines_of(plan, field)
    named = [line_on(plan, one.line, field.uuid) for one in job.lines] if job else []
    return tuple(line for line in lines if line.uuid in named) or lines


def has_row_ends(line: GuidanceLine) -> bool:
    """Whether its passes end at a headland: those of full circles and spirals do not."""
    return not isinstance(line, SpiralLine) and not (isinstance(line, PivotLine) and line.sector is None)


def on_lines(
    plan: Plan, field: Field, job: Job | None, *, outline: Boundary | None, width_m: float | None, width: str | None
) -> Answer:
    """The answer on the lines of a job, or of a field without one.

    Args:
        plan: the whole.
        field: the field.
        job: the job; None for the field alone.
        outline: the outline that counts.
        width_m: working width of the machine, metres, as far as it is known.
        width: the same as it was written.
    """
    where = Where(id=str(job.uuid if job else field.uuid))
    lines = lines_for(plan, field, job)
    facts: tuple[dict[str, Fact], ...] = tuple(
        {
            "line": line.name,
            "kind": str(line.kind),
            "spacing_m": line.spacing.metres,
            "spacing": str(line.spacing),
            "row_ends": has_row_ends(line),
        }
        for line in lines
    )
    findings: list[Finding] = []
    if not lines:
        findings.append(MISSING.at(where))
    elif job and not job.lines:
        names = ", ".join(line.name for line in lines[:3]) + (" and more" if len(lines) > 3 else "")
        findings.append(NOT_CHOSEN.at(where, lines=names))
    findings += _places(field, lines, outline, where)
    for line in lines if job else ():
        if width_m is not None and line.spacing.metres > width_m + GAP_M:
            findings.append(WIDE.at(where, line=line.name, spacing=str(line.spacing), width=width))
    return Answer(Topic.LINES, facts, tuple(findings))


def _places(field: Field, lines: Sequence[GuidanceLine], outline: Boundary | None, where: Where) -> Iterator[Finding]:
    """Where the ends of lines lie, and how far apart they are."""
    rings = [ring for part in outline.parts for ring in part.rings if len(ring)] if outline else []
    plane = LocalPlane.around(rings) if rings else None
    edges = np.concatenate([edges_of(plane.metres(ring.points)) for ring in rings]) if plane else None
    for line in lines:
        ends = _ends(line)
        if isinstance(line, StraightLine) and (length := distance_m(ends["A"], end=ends["B"])) < SHORT_M:
            yield SHORT.at(where, line=line.name, length_m=round(length, 2))
        if plane is None or edges is None or not np.isfinite(edges).all():
            continue
        depths = {end: _depth_m(plane, edges, place) for end, place in ends.items()}
        for end, depth in depths.items():
            if depth > INSIDE_M and end in ("A", "B"):
                yield INSIDE.at(where, end=end, line=line.name, depth_m=round(depth, 1), field=field.name)
        if depths and max(depths.values()) < -FAR_M:
            away = -max(depths.values())
            far = f"more than {10_000}" if not math.isfinite(away) else f"{away:.0f}"
            yield FAR.at(where, line=line.name, distance_m=far)


def _ends(line: GuidanceLine) -> dict[str, LonLat]:
    """Places that tell where a line lies, its ends by name."""
    match line:
        case StraightLine():
            return {"A": (line.a.lon_deg, line.a.lat_deg), "B": (line.b.lon_deg, line.b.lat_deg)}
        case HeadingLine():
            return {"A": (line.a.lon_deg, line.a.lat_deg)}
        case CurvedLine():
            places = [*line.path]
            return {"A": places[0], "B": places[-1]}
        case PivotLine():
            return {"centre": (line.centre.lon_deg, line.centre.lat_deg)}
        case SpiralLine():
            return {"start": next(iter(line.path))}


def _depth_m(plane: LocalPlane, edges: Array, place: LonLat) -> float:
    (metres,) = plane.metres(np.array([place]))
    return depth_m(metres, edges) if np.isfinite(metres).all() else -math.inf
