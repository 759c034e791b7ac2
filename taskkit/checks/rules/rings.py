"""Rules on single rings: enough points, closed, no point twice, no edge across another."""

from __future__ import annotations

from collections.abc import Iterator

from taskkit.checks.context import SetContext
from taskkit.checks.example import Example, field_with, outer, polygon
from taskkit.checks.rings import Ring, RingTrouble
from taskkit.checks.rule import Hit, Need, rule
from taskkit.findings import Confidence, Fact, Severity
from taskkit.geometry.polygons import Trouble
from taskkit.taskdata.dictionary import Span
from taskkit.taskdata.version import Version

__all__ = ["SIMPLE_FEATURES", "hits"]

SIMPLE_FEATURES = "OGC 06-103r4, simple features: what a valid polygon is"
_PRACTICE = "common practice"

GAP_M = 10.0
"""A gap that is shorter closes by itself without harm."""
GAP_SHARE = 0.05
"""Of the ring's length; a gap that is less is no missing side."""
GAP_TIMES_LONGEST = 3.0
"""A ring left open is closed by an edge of its own sort; one so many times its longest edge is not one."""

_SQUARE = "0,0 100,0 100,100 0,100 0,0"
_WALKED = (
    " ".join(f"{east},0" for east in range(0, 101, 5)) + " " + " ".join(f"100,{north}" for north in range(5, 101, 5))
)


def _field(*rings: str) -> Example:
    return Example(field_with(polygon(*rings)))


@rule(
    "ring-too-few-points",
    Severity.WARNING,
    "The {ring} has {count} points, fewer than three of them at different places.",
    hint="Complete the ring, or remove it.",
    why="It encloses nothing; some terminals stop while they draw it.",
    source="ISO 11783-10, polygons (recalled); " + SIMPLE_FEATURES,
    confidence=Confidence.LOW,
    needs=Need.COORDINATES,
    failing=_field(outer("0,0 100,0 0,0")),
    passing=_field(outer("0,0 100,0 100,100 0,0")),
)
def ring_too_few_points(checked: SetContext) -> Iterator[Hit]:
    """Fewer than three places."""
    for trouble in _troubles(checked, Trouble.TOO_FEW_POINTS):
        yield Hit(trouble.ring.element.where, {"ring": trouble.ring.word, "count": trouble.ring.count})


@rule(
    "ring-not-closed",
    Severity.WARNING,
    "The {ring} is not closed: its last point is {gap_m} m from its first.",
    hint="Repeat the first point at the end of the ring.",
    why="Most terminals close it by themselves; some refuse it.",
    source="ISO 11783-10, polygons (recalled); " + _PRACTICE,
    confidence=Confidence.LOW,
    needs=Need.COORDINATES,
    versions=Span(Version.V4_0),
    failing=_field(outer("0,0 100,0 100,100 0,100")),
    passing=_field(outer(_SQUARE)),
)
def ring_not_closed(checked: SetContext) -> Iterator[Hit]:
    """The first point is not repeated; version 3 closes rings without it."""
    for ring in _rings(checked):
        if not ring.closed and ring.count > 1:
            yield Hit(checked.point(ring.element, ring.count - 1), {"ring": ring.word, "gap_m": round(ring.gap_m, 3)})


@rule(
    "ring-gap-large",
    Severity.WARNING,
    "The {ring} has a gap of {gap_m} m between its last and its first point; its longest edge is {longest_m} m.",
    hint="Is a piece of the boundary missing? Complete it.",
    why="The terminal closes the ring with a straight line that cuts through the field, or through the neighbour's.",
    source=_PRACTICE,
    needs=Need.COORDINATES,
    failing=Example(field_with(polygon(outer(_WALKED))), version="3.3"),
    passing=Example(field_with(polygon(outer("0,0 100,0 100,100 0,100"))), version="3.3"),
)
def ring_gap_large(checked: SetContext) -> Iterator[Hit]:
    """Whoever walked the boundary stopped too early; thresholds from practice."""
    for ring in _rings(checked):
        long = max(GAP_M, GAP_SHARE * (ring.length_m + ring.gap_m), GAP_TIMES_LONGEST * ring.longest_m)
        if not ring.closed and ring.count > 2 and ring.gap_m > long:
            facts: dict[str, Fact] = {
                "ring": ring.word,
                "gap_m": round(ring.gap_m, 1),
                "longest_m": round(ring.longest_m, 1),
            }
            yield Hit(checked.point(ring.element, ring.count - 1), facts)


@rule(
    "ring-point-repeated",
    Severity.WARNING,
    "The {ring} repeats a point at latitude {lat_deg}, longitude {lon_deg}: an edge without length.",
    hint="Remove one of the two points.",
    why="An edge without length has no direction; headlands and parallel lines built on it go wrong.",
    source=_PRACTICE,
    needs=Need.COORDINATES,
    failing=_field(outer("0,0 100,0 100,0 100,100 0,100 0,0")),
    passing=_field(outer(_SQUARE)),
)
def ring_point_repeated(checked: SetContext) -> Iterator[Hit]:
    """Two neighbouring points are one place; the closing point is not meant."""
    return hits(checked, Trouble.REPEATED_POINT)


@rule(
    "ring-spike",
    Severity.WARNING,
    "The {ring} runs out and back on itself at latitude {lat_deg}, longitude {lon_deg}.",
    hint="Remove the point at the tip.",
    why="Offset lines shoot out at the tip of a spike.",
    source=SIMPLE_FEATURES + "; " + _PRACTICE,
    needs=Need.COORDINATES,
    failing=_field(outer("0,0 100,0 100,100 50,100 50,140 50,100 0,100 0,0")),
    passing=_field(outer(_SQUARE)),
)
def ring_spike(checked: SetContext) -> Iterator[Hit]:
    """An edge that encloses nothing."""
    return hits(checked, Trouble.SPIKE)


@rule(
    "ring-crosses-itself",
    Severity.WARNING,
    "The {ring} crosses itself at latitude {lat_deg}, longitude {lon_deg}.",
    hint="Put its points in the order in which they lie round the field.",
    why="Its area is wrong, and sections are switched the wrong way round inside the loop.",
    source=SIMPLE_FEATURES,
    needs=Need.COORDINATES,
    failing=_field(outer("0,0 100,100 100,0 0,100 0,0")),
    passing=_field(outer(_SQUARE)),
)
def ring_crosses_itself(checked: SetContext) -> Iterator[Hit]:
    """Two edges cross; of a hopeless tangle one place is told."""
    return hits(checked, Trouble.CROSSING, Trouble.TANGLED)


@rule(
    "ring-touches-itself",
    Severity.WARNING,
    "The {ring} touches itself, or another ring, at latitude {lat_deg}, longitude {lon_deg}.",
    hint="Draw a hole as a ring of its own, and two pieces that meet as two parts.",
    why="What is inside is told differently by different terminals, and offset lines fail there.",
    source=SIMPLE_FEATURES,
    needs=Need.COORDINATES,
    failing=_field(outer("0,0 100,0 50,50 100,100 0,100 50,50 0,0")),
    passing=_field(outer("0,0 100,0 55,50 100,100 0,100 45,50 0,0")),
)
def ring_touches_itself(checked: SetContext) -> Iterator[Hit]:
    """Edges meet without crossing, or rings touch so that the inside falls apart."""
    return hits(checked, Trouble.TOUCHING, Trouble.FALLS_APART)


def hits(checked: SetContext, *wanted: Trouble) -> Iterator[Hit]:
    """One hit for each trouble of these sorts, at its point or else at its ring, with the place on the ground."""
    for trouble in _troubles(checked, *wanted):
        element = trouble.ring.element
        where = element.where if trouble.point is None else checked.point(element, trouble.point)
        yield Hit(where, _facts(trouble))


def _facts(trouble: RingTrouble) -> dict[str, Fact]:
    return {"ring": trouble.ring.word, "lat_deg": round(trouble.lat_deg, 7), "lon_deg": round(trouble.lon_deg, 7)}


def _rings(checked: SetContext) -> Iterator[Ring]:
    return (ring for polygon in checked.polygons for ring in polygon.rings)


def _troubles(checked: SetContext, *wanted: Trouble) -> Iterator[RingTrouble]:
    return (trouble for polygon in checked.polygons for trouble in polygon.troubles if trouble.trouble in wanted)
