"""Things on the ground of a field: what to keep clear of, and what to find."""

from __future__ import annotations

from taskkit.plan.base import Origin, PlanObject
from taskkit.plan.quantities import Length
from taskkit.plan.scalars import Date, PlaceOnGround, Text
from taskkit.plan.words import FeatureKind

__all__ = ["Feature"]


class Feature(PlanObject):
    """A thing that lies on a field or at its edge: a pole, a pond, the way in."""

    word = "feature"

    name: Text
    kind: FeatureKind
    place: PlaceOnGround
    """A point, a line or an area: WKT, longitude before latitude, degrees in the steering frame."""
    safety_distance: Length | None = None
    """How far machines keep away from it."""
    source: Text | None = None
    """Where it came from."""
    date: Date | None = None
    """When it was measured."""
    origin: Origin | None = None
    """The reference system that it came in."""
