"""The edge of a field: its outlines and where they came from, and its sides."""

from __future__ import annotations

import pydantic

from taskkit.plan.base import FeatureReference, Origin, PlanObject, PlanValue
from taskkit.plan.quantities import Length
from taskkit.plan.scalars import Date, Latitude, Longitude, Parts, Text, YesNo
from taskkit.plan.words import Purpose, Recorded, SideKind

__all__ = ["Boundary", "Corner", "Side"]


class Boundary(PlanObject):
    """One outline of a field, for one purpose, and where it came from.

    It may be bad (crossing itself, parts that overlap): judging is for checks.
    """

    word = "boundary"
    known_by = ("purpose", "season")

    purpose: Purpose = Purpose.WORKED
    """What the outline is meant for."""
    season: Text | None = None
    """The season for which it holds, where that matters."""
    parts: Parts = pydantic.Field(alias="area")
    """The separate pieces and their holes: WKT, longitude before latitude, degrees in the steering frame."""
    source: Text | None = None
    """Where it came from: a survey, a map, a registry."""
    method: Text | None = None
    """How it was measured."""
    date: Date | None = None
    """When it was measured."""
    accuracy: Length | None = None
    """How far the truth may be from it."""
    person: Text | None = None
    """Who measured it."""
    recorded: Recorded | None = None
    """What was led along it when it was recorded."""
    offset: Length | None = None
    """How far it was moved outward since, to lie where the ground ends that is worked."""
    origin: Origin | None = None
    """The reference system that it came in."""

    @property
    def title(self) -> str:
        """The outline in a sentence, e.g. ``worked boundary 2026``."""
        return f"{self.purpose} boundary {self.season or ''}".rstrip()


class Corner(PlanValue):
    """One end of a side: the corner of the outline nearest to a position, or to a point feature.

    Raises:
        ValueError: neither a position nor a point is given, or both, or half a position.
    """

    word = "corner"

    lon_deg: Longitude | None = pydantic.Field(default=None, title="longitude")
    """Degrees, east positive."""
    lat_deg: Latitude | None = pydantic.Field(default=None, title="latitude")
    """Degrees, north positive."""
    point: FeatureReference | None = None
    """A feature of the field that is a point."""

    @pydantic.model_validator(mode="after")
    def _is_one_place(self) -> Corner:
        given = [value is not None for value in (self.lon_deg, self.lat_deg, self.point)]
        if given not in ([True, True, False], [False, False, True]):
            raise ValueError("a corner is `lon_deg` and `lat_deg`, or `point`")
        return self


class Side(PlanObject):
    """A run of the outline between two corners, with the field on the left hand of whoever walks it."""

    word = "side"

    name: Text
    start: Corner = pydantic.Field(alias="from", title="from")
    """Where the run begins."""
    end: Corner = pydantic.Field(alias="to", title="to")
    """Where it ends."""
    kind: SideKind | None = None
    """What lies beyond it."""
    turning: YesNo | None = None
    """Whether machines may turn along it."""
    overhang: Length | None = None
    """How far a machine may reach beyond it."""
