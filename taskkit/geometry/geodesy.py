"""Areas, distances and directions on the ellipsoid, along geodesics."""

from __future__ import annotations

from collections.abc import Iterable

from pyproj import Geod

from taskkit.geometry.line import LonLatLine, Part
from taskkit.geometry.plane import FLATTENING, SEMI_MAJOR_AXIS_M

__all__ = ["LonLat", "area_m2", "azimuth_deg", "destination", "destination_and_azimuth", "distance_m"]

LonLat = tuple[float, float]
"""Longitude and latitude of one point, degrees."""

# PROJ's geodesic routines are those of C. F. F. Karney, Algorithms for geodesics, J. Geodesy 87 (2013) 43-55.
_GEOD = Geod(a=SEMI_MAJOR_AXIS_M, f=FLATTENING)


def area_m2(parts: Iterable[Part]) -> float:
    """The area of some parts on the ellipsoid, square metres: outer rings less their holes, edges as geodesics.

    Neither the direction of a ring nor longitude 180 matters. Rings are taken as they are: what a ring
    encloses twice counts twice, and holes larger than their outer ring leave nothing.

    >>> part = Part(LonLatLine([(5.0, 52.0), (5.0058, 52.0), (5.0058, 52.00225), (5.0, 52.00225)]))
    >>> round(area_m2([part]), 3)
    99720.674
    """
    total = sum(_ring_m2(part.outer) - sum(map(_ring_m2, part.holes)) for part in parts)
    return max(float(total), 0.0)


def distance_m(start: LonLat, *, end: LonLat) -> float:
    """The length of the shortest line between two points, metres.

    >>> round(distance_m((5.0, 52.0), end=(5.0, 52.001)), 6)
    111.267363
    """
    return float(_GEOD.inv(*start, *end)[2])


def azimuth_deg(start: LonLat, *, end: LonLat) -> float:
    """The direction of the shortest line at its start, degrees clockwise from north, 0 <= azimuth < 360.

    >>> round(azimuth_deg((5.0, 52.0), end=(4.999, 52.0)), 6)
    270.000394
    """
    # A tiny negative angle would come out of % as 360.0 itself.
    return float(_GEOD.inv(*start, *end)[0]) % 360.0 % 360.0


def destination(start: LonLat, *, azimuth_deg: float, distance_m: float) -> LonLat:
    """The point that the line leaving ``start`` at an azimuth reaches after a distance.

    >>> lon_deg, lat_deg = destination((5.0, 52.0), azimuth_deg=0, distance_m=111.267363)
    >>> round(lon_deg, 9), round(lat_deg, 9)
    (5.0, 52.001)
    """
    lon, lat, _ = _GEOD.fwd(*start, azimuth_deg, distance_m)
    return float(lon), float(lat)


def destination_and_azimuth(start: LonLat, *, azimuth_deg: float, distance_m: float) -> tuple[LonLat, float]:
    """The same point, and the direction in which the line arrives there, 0 <= azimuth < 360.

    >>> round(destination_and_azimuth((5.0, 52.0), azimuth_deg=90, distance_m=68.679)[1], 6)
    90.000788
    """
    lon, lat, back = _GEOD.fwd(*start, azimuth_deg, distance_m)
    return (float(lon), float(lat)), (float(back) + 180.0) % 360.0 % 360.0


def _ring_m2(ring: LonLatLine) -> float:
    if len(ring) < 3:
        return 0.0
    area, _ = _GEOD.polygon_area_perimeter(ring.lon_deg, ring.lat_deg)
    return abs(float(area))
