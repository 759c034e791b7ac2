"""The boundary of a field: is there one, is it an area, how old and how sure is it, does it reach the edge."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from taskkit.findings import Finding, Severity, Where, kind
from taskkit.geometry.geodesy import area_m2
from taskkit.plan.fitness import unfit
from taskkit.plan.model import Boundary, BoundaryChoice, Field, Plan, Recorded
from taskkit.plan.quantities import Length
from taskkit.readiness.answers import Answer, Facts, Topic

__all__ = ["on_boundary"]

_PRACTICE = "common practice, no source"

OLD_YEARS = 5
"""After so long fences, ditches and neighbours have moved here and there."""
INACCURATE = Length("0.3 m")
"""Beyond this a machine that follows the boundary by itself leaves the field; half a row of maize is less."""
LEAST_M2, MOST_M2 = 500.0, 5_000_000.0
"""Fields are larger than 0.05 ha and smaller than 500 ha, or a unit is wrong."""
AREA_SHARE = 0.05
"""Declared and computed area part by more than this where one of them means other ground."""

MISSING = kind(
    "boundary-missing",
    Severity.ERROR,
    "There is no {wanted}.",
    hint="Survey it, or take it from a GIS file: taskkit new FOLDER --from FILE.",
    why="Without it there is neither headland nor main field, and the machine does not know where to turn.",
    source=_PRACTICE,
)
UNFIT = kind(
    "boundary-unfit",
    Severity.ERROR,
    "The boundary is no area: {reason}.",
    hint="Correct the shape at that place.",
    why="A terminal refuses the field, or makes another shape of it.",
    source="OGC 06-103r4, polygons",
)
OF_UNKNOWN_SOURCE = kind(
    "boundary-of-unknown-source",
    Severity.WARNING,
    "Nothing says where the {title} came from.",
    hint="Write its `source` in the plan.",
    why="Nobody can judge whether a machine may go by it.",
    source=_PRACTICE,
)
UNDATED = kind(
    "boundary-undated",
    Severity.WARNING,
    "Nothing says when the {title} was measured.",
    hint="Write its `date` in the plan.",
    why="Fences, ditches and neighbours move.",
    source=_PRACTICE,
)
OLD = kind(
    "boundary-old",
    Severity.WARNING,
    "The {title} was measured {years} years ago, on {date}.",
    hint="Look at it on the ground, and measure it again where something has changed.",
    why="Fences, ditches and neighbours move.",
    source=_PRACTICE,
)
DATED_AHEAD = kind(
    "boundary-dated-ahead",
    Severity.WARNING,
    "The {title} has a date to come, {date}.",
    hint="Correct its `date` in the plan.",
    why="Its age cannot be judged.",
    source=_PRACTICE,
)
ACCURACY_UNKNOWN = kind(
    "boundary-accuracy-unknown",
    Severity.WARNING,
    "Nothing says how accurate the {title} is.",
    hint="Write its `accuracy` in the plan; a receiver with corrections gives some 2 cm, a map 1 m or worse.",
    why="The machine turns by it as if it were exact.",
    source=_PRACTICE,
)
INACCURATE_KIND = kind(
    "boundary-inaccurate",
    Severity.WARNING,
    "The {title} may be off by {accuracy}.",
    hint="Measure it with corrections, or keep that much more away from what lies beyond it.",
    why="A machine that turns by itself gets that near to a ditch or a fence without knowing.",
    source=_PRACTICE,
)
FRAME_INACCURATE = kind(
    "boundary-frame-inaccurate",
    Severity.WARNING,
    "The {title} was brought from {frame} to {steering_frame}, and {accuracy}.",
    hint="Bring it over by a transformation made for that region, or measure it anew.",
    why="All of it may lie off by that much, while its shape looks right.",
    source=_PRACTICE,
)
SHORT_OF_EDGE = kind(
    "boundary-short-of-edge",
    Severity.WARNING,
    "The {title} was recorded at the antenna and never moved outward: it is short by half the width of what was "
    "driven{half}.",
    hint='Move it: taskkit edit PLAN "{field}" --shift-outline "{by}".',
    why="A strip along the whole edge is never worked, and the headland is too narrow by the same.",
    source=_PRACTICE,
)
AREA_IMPLAUSIBLE = kind(
    "boundary-area-implausible",
    Severity.WARNING,
    "The {title} encloses {area_ha} ha.",
    hint="Look whether it is this field, and whether its coordinates are in degrees, longitude first.",
    why="It is hardly a field.",
    source=_PRACTICE,
)
AREA_DIFFERS = kind(
    "boundary-area-differs",
    Severity.WARNING,
    "The {title} encloses {area_ha} ha; declared are {declared}, which is {percent} % {direction}.",
    hint="Find out which of them means the ground that is worked.",
    why="One of them means other ground; what is ordered by area will be too much or too little.",
    source=_PRACTICE,
)


def on_boundary(
    plan: Plan,
    field: Field,
    *,
    on: datetime.date,
    choice: BoundaryChoice | None = None,
    half_width: Length | None = None,
) -> Answer:
    """The answer on the outline of a field.

    Args:
        plan: the whole.
        field: the field.
        on: the day on which its age is judged.
        choice: which outline; the usual one where nothing is said.
        half_width: half the width of the machine that works there, as far as it is known.
    """
    purpose, season = (choice.purpose, choice.season) if choice else (None, None)
    outline = field.boundary(purpose, season=season)
    where = Where(id=str(field.uuid))
    if outline is None:
        wanted = " ".join(word for word in (purpose, "boundary", season) if word)
        return Answer(Topic.BOUNDARY, findings=(MISSING.at(where, wanted=wanted),))
    area = area_m2(outline.parts)
    facts: Facts = {
        "boundary": outline.title,
        "parts": len(outline.parts),
        "holes": sum(len(part.holes) for part in outline.parts),
        "closed": True,
        "area_m2": round(area, 1),
        "declared_area_m2": field.declared_area.square_metres if field.declared_area else None,
        "source": outline.source,
        "date": outline.date.isoformat() if outline.date else None,
        "accuracy_m": outline.accuracy.metres if outline.accuracy else None,
        "recorded": str(outline.recorded) if outline.recorded else None,
        "offset_m": outline.offset.metres if outline.offset else None,
        "frame": plan.steering_frame,
    }
    alone = plan.model_copy(update={"fields": (field,)})
    troubles = [UNFIT.at(where, reason=one.reason) for one in unfit(alone, boundary=choice)]
    findings = (
        *troubles,
        *_provenance(outline, where, on),
        *_accuracy(plan, outline, where),
        *_extent(field, outline, where, area if not troubles else None, half_width),
    )
    return Answer(Topic.BOUNDARY, (facts,), findings)


def _provenance(outline: Boundary, where: Where, on: datetime.date) -> Iterator[Finding]:
    title = outline.title
    if not outline.source:
        yield OF_UNKNOWN_SOURCE.at(where, title=title)
    if outline.date is None:
        yield UNDATED.at(where, title=title)
        return
    years = on.year - outline.date.year - ((on.month, on.day) < (outline.date.month, outline.date.day))
    if outline.date > on:
        yield DATED_AHEAD.at(where, title=title, date=outline.date.isoformat())
    elif years >= OLD_YEARS:
        yield OLD.at(where, title=title, years=years, date=outline.date.isoformat())


def _accuracy(plan: Plan, outline: Boundary, where: Where) -> Iterator[Finding]:
    title = outline.title
    if outline.accuracy is None:
        yield ACCURACY_UNKNOWN.at(where, title=title)
    elif not outline.accuracy <= INACCURATE:
        yield INACCURATE_KIND.at(where, title=title, accuracy=str(outline.accuracy))
    origin = outline.origin
    if origin is None or origin.frame in (None, plan.steering_frame):
        return
    by = origin.operation_accuracy
    if by is None or not by <= INACCURATE:
        said = f"that may be off by {by}" if by else "nothing says how accurately"
        yield FRAME_INACCURATE.at(
            where, title=title, frame=origin.frame, steering_frame=plan.steering_frame, accuracy=said
        )


def _extent(
    field: Field, outline: Boundary, where: Where, area: float | None, half_width: Length | None
) -> Iterator[Finding]:
    title = outline.title
    if outline.recorded is Recorded.ANTENNA and (outline.offset is None or outline.offset.metres == 0):
        half = f", {half_width} with its machine of today" if half_width else ""
        by = str(half_width or "1.5 m")
        yield SHORT_OF_EDGE.at(where, title=title, field=field.name, half=half, by=by)
    if area is None:
        return
    if not LEAST_M2 <= area <= MOST_M2:
        yield AREA_IMPLAUSIBLE.at(where, title=title, area_ha=round(area / 10_000, 3))
    declared = field.declared_area
    if declared is not None and declared.square_metres > 0:
        share = declared.square_metres / area - 1 if area else 1.0
        if abs(share) > AREA_SHARE:
            yield AREA_DIFFERS.at(
                where,
                title=title,
                area_ha=round(area / 10_000, 2),
                declared=str(declared),
                percent=round(abs(share) * 100),
                direction="more" if share > 0 else "less",
            )
