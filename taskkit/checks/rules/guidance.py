"""Rules on A-B lines: their two points, how far apart they are, and where they lie."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from itertools import groupby

import numpy as np

from taskkit.checks.context import AbLine, SetContext
from taskkit.checks.example import Example, ab_pattern, field_with, outer, polygon
from taskkit.checks.rule import Hit, Need, rule
from taskkit.errors import InputError
from taskkit.findings import Confidence, Fact, Severity
from taskkit.geometry.plane import LocalPlane
from taskkit.taskdata.dictionary import Span
from taskkit.taskdata.version import Version

__all__: list[str] = []

SHORT_M = 10.0
"""At 10 m an error of 1 cm in one point is 1 m after 1000 m."""
HEADING_DEG = 0.5
INSIDE_M = 0.1
"""A and B this near to the edge are at the edge."""

_MANY = 1_000_000_000
"""Pairs of an end and an edge that are looked at, some 20 ns each."""

_A, _B = "6", "7"
_ORDER = "ISO 11783-10, guidance pattern of type A-B (recalled)"
_PRACTICE = "common practice"
_V4 = Span(Version.V4_0)
_BOUNDARY = polygon(outer("0,0 100,0 100,100 0,100 0,0"))
_SOUND = "10,-5 10,105"
_DECIMAL = re.compile(r"[0-9]{1,3}(\.[0-9]{1,30})?")


def _lines(places: str = _SOUND, *, types: str = "67", attributes: str = "") -> Example:
    return Example(field_with(_BOUNDARY, ab_pattern(places, types=types, attributes=attributes)))


@rule(
    "ab-line-point-count",
    Severity.ERROR,
    "The A-B line {pattern} has {count} points; it has to have two, A and B.",
    hint="Leave A and B, or make it a curve.",
    why="The terminal does not load the line, or takes two of the points, and not those that were meant.",
    source=_ORDER,
    versions=_V4,
    failing=_lines("10,-5 12,50 10,105", types="697"),
    passing=_lines(),
)
def ab_line_point_count(checked: SetContext) -> Iterator[Hit]:
    """An A-B line with more or fewer points than two."""
    for line in checked.ab_lines:
        if line.count not in (0, 2):
            yield Hit(line.line.where, {"pattern": line.label, "count": line.count})


@rule(
    "ab-line-point-type",
    Severity.ERROR,
    "The points of the A-B line {pattern} have the types {first} and {second}, not 6 (A) and 7 (B).",
    hint="Give the first point the type 6 and the second the type 7.",
    why="The terminal does not recognise A and B, and does not load the line.",
    source=_ORDER,
    versions=_V4,
    failing=_lines(types="22"),
    passing=_lines(),
)
def ab_line_point_type(checked: SetContext) -> Iterator[Hit]:
    """Points that are not marked as A and B."""
    for line in checked.ab_lines:
        if line.count == 2 and set(line.types) != {_A, _B}:
            first, second = (kind[:9] or "none" for kind in line.types)
            yield Hit(checked.point(line.line, 0), {"pattern": line.label, "first": first, "second": second})


@rule(
    "ab-line-points-swapped",
    Severity.ERROR,
    "The A-B line {pattern} begins with B (type 7) and ends with A (type 6).",
    hint="Write A before B.",
    why="One terminal goes by the order and another by the types: left and right, and pass numbers, are exchanged.",
    source=_ORDER,
    versions=_V4,
    failing=_lines(types="76"),
    passing=_lines(),
)
def ab_line_points_swapped(checked: SetContext) -> Iterator[Hit]:
    """B before A."""
    for line in checked.ab_lines:
        if line.types == (_B, _A):
            yield Hit(checked.point(line.line, 0), {"pattern": line.label})


@rule(
    "ab-line-short",
    Severity.WARNING,
    "A and B of the line {pattern} are only {length_m} m apart.",
    hint="Take A and B at the two ends of the field.",
    why="The error of a point grows with the distance: 1 cm on 10 m is 1 m at the end of a field 1000 m long.",
    source=_PRACTICE,
    needs=Need.COORDINATES,
    versions=_V4,
    failing=_lines("10,-8 10,-2"),
    passing=_lines("10,-15 10,-2"),
)
def ab_line_short(checked: SetContext) -> Iterator[Hit]:
    """A and B too near to each other to give a direction."""
    for line in checked.ab_lines:
        if (span := _span(line)) and span[0] < SHORT_M:
            yield Hit(line.line.where, {"pattern": line.label, "length_m": round(span[0], 2)})


@rule(
    "ab-line-heading-differs",
    Severity.WARNING,
    "The line {pattern} gives a heading of {declared_deg} degrees; from A to B it is {actual_deg}.",
    hint="Remove the heading, or correct it: an A-B line has its direction from A and B.",
    why="One terminal steers by the points and another by the heading.",
    source="ISO 11783-10, heading clockwise from true north (recalled); tolerance: common practice",
    confidence=Confidence.MEDIUM,
    needs=Need.COORDINATES,
    versions=_V4,
    failing=_lines(attributes='G="180"'),
    passing=_lines(attributes='G="0"'),
)
def ab_line_heading_differs(checked: SetContext) -> Iterator[Hit]:
    """A heading beside the points that says something else."""
    for line in checked.ab_lines:
        text = (line.pattern.get("G") or "").strip()
        span = _span(line)
        if span is None or not span[0] or not _DECIMAL.fullmatch(text) or line.types != (_A, _B):
            continue
        off = abs((float(text) - span[1] + 180) % 360 - 180)
        if off > HEADING_DEG:
            facts: dict[str, Fact] = {
                "pattern": line.label,
                "declared_deg": float(text),
                "actual_deg": round(span[1], 2),
            }
            yield Hit(line.pattern.where("G"), facts)


@rule(
    "ab-line-ends-inside-field",
    Severity.WARNING,
    "{end} of the line {pattern} lies {depth_m} m inside the field{extension}.",
    hint="Move {end} along the line beyond the edge of the field.",
    why="Where a terminal does not lengthen the line by itself, guidance ends before the pass does.",
    source=_PRACTICE,
    needs=Need.COORDINATES,
    versions=_V4,
    failing=_lines("10,-5 10,80", attributes='F="4"'),
    passing=_lines(attributes='F="4"'),
)
def ab_line_ends_inside_field(checked: SetContext) -> Iterator[Hit]:
    """A or B inside the boundary; a note where the line is said to go on beyond that point, or nothing is said."""
    looked = 0
    for field, group in groupby(checked.ab_lines, key=lambda line: line.field):
        lines = [line for line in group if line.is_measurable]
        if field is None or not field.boundary or not lines:
            continue
        looked += 2 * len(lines) * sum(ring.count for polygon_ in field.boundary for ring in polygon_.rings)
        if looked > _MANY:
            raise InputError("more lines and boundary points than can be held against each other in a minute")
        places = np.concatenate([line.lonlat for line in lines])
        depths = np.max([measured.depth_m(places) for measured in field.boundary], axis=0).reshape(-1, 2)
        for line, (depth_a, depth_b) in zip(lines, depths.tolist(), strict=True):
            yield from _inside_hits(checked, line, (depth_a, depth_b))


def _inside_hits(checked: SetContext, line: AbLine, depths_m: tuple[float, float]) -> Iterator[Hit]:
    extension = (line.pattern.get("F") or "").strip()
    # An end at which the line does not go on; see the values of GPN F in the dictionary.
    for number, (end, stopping) in enumerate((("A", ("3", "4")), ("B", ("2", "4")))):
        if depths_m[number] > INSIDE_M:
            stops = extension in stopping
            facts: dict[str, Fact] = {
                "end": end,
                "pattern": line.label,
                "depth_m": round(depths_m[number], 1),
                "extension": ", and the line ends there" if stops else "",
            }
            yield Hit(checked.point(line.line, number), facts, None if stops else Severity.NOTE)


def _span(line: AbLine) -> tuple[float, float] | None:
    """From the first point to the second: metres, and degrees clockwise from north at the first."""
    if not line.is_measurable:
        return None
    east, north = LocalPlane(*line.lonlat[0].tolist()).metres(line.lonlat)[1].tolist()
    # A point beyond the horizon has no place on the plane, and is far enough.
    return (math.hypot(east, north), math.degrees(math.atan2(east, north)) % 360) if math.isfinite(east) else None
