"""Guidance lines: their five forms, what is common to them, and those that several fields share."""

from __future__ import annotations

from typing import Annotated, Any, Literal

import pydantic
from pydantic import Discriminator, Tag

from taskkit.plan.base import FieldReference, Origin, PlanObject, PlanValue, Position
from taskkit.plan.quantities import Length
from taskkit.plan.scalars import Count, Date, Heading, Line, Listed, Parts, Positive, Text
from taskkit.plan.words import Anchor, Extension, LineKind, Propagation, Rotation

__all__ = [
    "CurvedLine",
    "GuidanceLine",
    "HeadingLine",
    "PivotLine",
    "Sector",
    "SharedCurvedLine",
    "SharedGuidanceLine",
    "SharedHeadingLine",
    "SharedPivotLine",
    "SharedSpiralLine",
    "SharedStraightLine",
    "Shift",
    "SpiralLine",
    "StraightLine",
    "Tramline",
]


class Tramline(PlanValue):
    """Which passes are left unsown for later wheels: pass n, where n - phase is a multiple of the interval."""

    word = "tramline"

    interval: Positive
    """From one tramline to the next, in passes."""
    phase: Count | None = None
    """The number of a pass that is one; 0 where it is not said."""


class Shift(PlanObject):
    """A move of a whole pattern of passes, found on a certain day."""

    word = "shift"
    known_by = ("date",)

    date: Date
    """When it was found or set."""
    across: Length
    """To the right of the direction from A to B; negative to the left."""
    along: Length | None = None
    """In the direction from A to B; negative against it."""
    note: Text | None = None
    """Why."""

    @property
    def title(self) -> str:
        """The shift in a sentence, e.g. ``shift 2026-03-31``."""
        return f"{self.word} {self.date}"


class _Line(PlanObject):
    word = "line"
    leads = (
        *("uuid", "name", "fields", "kind", "a", "b", "heading_deg"),
        *("path", "centre", "radius", "direction", "sector", "spacing"),
    )

    name: Text
    group: Text | None = None
    """The lines that belong together share this name."""
    spacing: Length
    """Distance between neighbouring passes: working width less overlap."""
    anchor: Anchor = Anchor.CENTRE
    """Whether the line is the centre of a pass or the edge between two."""
    propagation: Propagation = Propagation.BOTH
    """On which sides of the line passes lie."""
    extension: Extension = Extension.BOTH
    """Beyond which ends the line goes on."""
    passes_left: Count | None = None
    """How many passes lie to the left at most."""
    passes_right: Count | None = None
    """How many passes lie to the right at most."""
    limit: Parts | None = None
    """The area in which the pattern holds, where that is not the whole field: WKT."""
    tramline: Tramline | None = None
    """Which passes are tramlines."""
    shifts: Listed[Shift] = ()
    source: Text | None = None
    """Where it came from."""
    origin: Origin | None = None
    """The reference system that it came in."""


class StraightLine(_Line):
    """A guidance line: the geodesic through A and B, to which all passes over the field run parallel."""

    kind: Literal[LineKind.STRAIGHT] = LineKind.STRAIGHT
    a: Position = pydantic.Field(title="A")
    """Where the line starts; its direction is from A to B."""
    b: Position = pydantic.Field(title="B")
    """The second point of the line."""


class HeadingLine(_Line):
    """A guidance line: the geodesic that leaves A at a heading."""

    kind: Literal[LineKind.HEADING] = LineKind.HEADING
    a: Position = pydantic.Field(title="A")
    """Where the line starts."""
    heading_deg: Heading = pydantic.Field(title="heading")
    """The heading there: degrees clockwise from true north."""


class CurvedLine(_Line):
    """A guidance line: a run of points; pass n is its parallel at n times the spacing."""

    kind: Literal[LineKind.CURVE] = LineKind.CURVE
    path: Line
    """From A to B: WKT, longitude before latitude, degrees in the steering frame."""


class Sector(PlanValue):
    """A piece of the ground round a centre, from one heading to another in the pivot's direction."""

    word = "sector"

    start_heading_deg: Heading = pydantic.Field(title="start heading")
    """Where it begins, seen from the centre: degrees clockwise from true north."""
    end_heading_deg: Heading = pydantic.Field(title="end heading")
    """Where it ends."""


class PivotLine(_Line):
    """A guidance line: a circle or a piece of one; passes lie inside and outside it."""

    kind: Literal[LineKind.PIVOT] = LineKind.PIVOT
    centre: Position
    """The middle of the circle."""
    radius: Length
    """From the centre to the line."""
    direction: Rotation = Rotation.CLOCKWISE
    """The direction from A to B."""
    sector: Sector | None = None
    """The piece of the circle, where it is not a full one."""


class SpiralLine(_Line):
    """A guidance line that winds inward or outward, given by its points."""

    kind: Literal[LineKind.SPIRAL] = LineKind.SPIRAL
    path: Line
    """From A to B: WKT, longitude before latitude, degrees in the steering frame."""


class _Shared(PlanValue):
    fields: Listed[FieldReference]
    """The fields that it is meant for. The line itself belongs to the first; the others have copies."""


class SharedStraightLine(StraightLine, _Shared):
    """A straight line that several fields share."""


class SharedHeadingLine(HeadingLine, _Shared):
    """A line of a point and a heading that several fields share."""


class SharedCurvedLine(CurvedLine, _Shared):
    """A curve that several fields share."""


class SharedPivotLine(PivotLine, _Shared):
    """A circle that several fields share."""


class SharedSpiralLine(SpiralLine, _Shared):
    """A spiral that several fields share."""


def _kind(value: Any) -> str:
    kind = value.get("kind", LineKind.STRAIGHT) if isinstance(value, dict) else getattr(value, "kind", "")
    return f"={kind}"


GuidanceLine = Annotated[
    Annotated[StraightLine, Tag("=straight")]
    | Annotated[HeadingLine, Tag("=A + heading")]
    | Annotated[CurvedLine, Tag("=curve")]
    | Annotated[PivotLine, Tag("=pivot")]
    | Annotated[SpiralLine, Tag("=spiral")],
    Discriminator(_kind),
]
SharedGuidanceLine = Annotated[
    Annotated[SharedStraightLine, Tag("=straight")]
    | Annotated[SharedHeadingLine, Tag("=A + heading")]
    | Annotated[SharedCurvedLine, Tag("=curve")]
    | Annotated[SharedPivotLine, Tag("=pivot")]
    | Annotated[SharedSpiralLine, Tag("=spiral")],
    Discriminator(_kind),
]
