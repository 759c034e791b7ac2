"""Lines moved to one side on the ellipsoid: at right angles to where they go."""

from __future__ import annotations

import itertools
import math

from taskkit.geometry.geodesy import LonLat, azimuth_deg, destination, destination_and_azimuth
from taskkit.geometry.line import LonLatLine

__all__ = ["heading_moved", "line_moved"]

_SHARPEST = 0.5
"""Cosine of half the sharpest turn whose point goes to where the moved neighbours meet; at a sharper one that would
be far away, and the point goes twice the distance and no farther."""


def line_moved(line: LonLatLine, *, right_m: float) -> LonLatLine:
    """The parallel of a line: each point moved so that the runs before and after it lie at the distance.

    A line that is bent more tightly than the distance crosses itself afterwards; one that has no direction, because
    all its points are one, stays where it is.

    Args:
        line: its direction is that of its order.
        right_m: metres to the right of that direction, negative to the left.

    >>> moved = line_moved(LonLatLine([(5.0, 52.0), (5.0, 52.001)]), right_m=68.679)
    >>> moved.points.round(6).tolist()
    [[5.001, 52.0], [5.001, 52.001]]
    """
    runs = [(place, len(list(same))) for place, same in itertools.groupby(line)]
    places = [place for place, _ in runs]
    if len(places) < 2:
        return line
    leaving = [azimuth_deg(a, end=b) for a, b in itertools.pairwise(places)]
    arriving = [azimuth_deg(b, end=a) + 180.0 for a, b in itertools.pairwise(places)]
    moved: list[LonLat] = []
    directions = zip([leaving[0], *arriving], [*leaving, arriving[-1]], strict=True)
    for (place, times), (before, after) in zip(runs, directions, strict=True):
        half_turn = ((after - before + 180.0) % 360.0 - 180.0) / 2
        distance_m = right_m / max(math.cos(math.radians(half_turn)), _SHARPEST)
        moved += [_beside(place, heading_deg=before + half_turn, right_m=distance_m)] * times
    return LonLatLine(moved)


def heading_moved(start: LonLat, *, heading_deg: float, right_m: float) -> tuple[LonLat, float]:
    """A point moved to the right of a heading, negative to the left, and the heading there that goes the same way.

    >>> (lon_deg, lat_deg), there_deg = heading_moved((5.0, 52.0), heading_deg=0.0, right_m=68.679)
    >>> round(lon_deg, 6), round(lat_deg, 6), round(there_deg, 6)
    (5.001, 52.0, 0.000788)
    """
    aside = _aside(right_m)
    place, there = destination_and_azimuth(start, azimuth_deg=heading_deg + aside, distance_m=abs(right_m))
    return place, (there - aside) % 360.0 % 360.0


def _beside(place: LonLat, *, heading_deg: float, right_m: float) -> LonLat:
    return destination(place, azimuth_deg=heading_deg + _aside(right_m), distance_m=abs(right_m))


def _aside(right_m: float) -> float:
    return 90.0 if right_m >= 0 else -90.0
