"""A field's local plane: metres east and north of an origin, exact both ways, in numpy alone.

A point of the ellipsoid is taken to earth-centred x, y, z and dropped at right angles on the plane that
touches the ellipsoid at the origin (orthographic projection). The way back meets the ellipsoid again above
or below the plane point, which is one quadratic equation: nothing is iterated.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from taskkit.geometry.line import Array, LonLatLine, MetreLine

__all__ = ["ECCENTRICITY_SQUARED", "FLATTENING", "SEMI_MAJOR_AXIS_M", "LocalPlane"]

SEMI_MAJOR_AXIS_M = 6378137.0
FLATTENING = 1 / 298.257223563
"""The ellipsoid of WGS 84 (EPSG:7030). That of GRS 80, which ETRS89 uses, has the same equator and is 0.1 mm
longer at the poles: on a field no digit differs."""

ECCENTRICITY_SQUARED = FLATTENING * (2 - FLATTENING)
_SEMI_MINOR_AXIS_M = SEMI_MAJOR_AXIS_M * (1 - FLATTENING)
_SMALLEST_RADIUS_M = _SEMI_MINOR_AXIS_M**2 / SEMI_MAJOR_AXIS_M
_WEIGHTS = np.array([SEMI_MAJOR_AXIS_M, SEMI_MAJOR_AXIS_M, _SEMI_MINOR_AXIS_M]) ** -2.0


@dataclass(frozen=True, slots=True)
class LocalPlane:
    """The plane that touches the ellipsoid at an origin; x east, y north, metres.

    Attributes:
        lon_deg: longitude of the origin, degrees.
        lat_deg: latitude of the origin, degrees.

    >>> plane = LocalPlane(9.5, 54.0)
    >>> plane.to_plane(LonLatLine([(9.5, 54.001)])).points.round(3).tolist()
    [[0.0, 111.305]]
    >>> plane.to_degrees(MetreLine([(0, 111.305)])).points.round(6).tolist()
    [[9.5, 54.001]]
    """

    lon_deg: float
    lat_deg: float
    _origin: Array = field(init=False, repr=False, compare=False)
    _axes: Array = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        origin = LonLatLine([(self.lon_deg, self.lat_deg)]).points
        lon, lat = math.radians(self.lon_deg), math.radians(self.lat_deg)
        east = (-math.sin(lon), math.cos(lon), 0.0)
        north = (-math.sin(lat) * math.cos(lon), -math.sin(lat) * math.sin(lon), math.cos(lat))
        up = (math.cos(lat) * math.cos(lon), math.cos(lat) * math.sin(lon), math.sin(lat))
        object.__setattr__(self, "_origin", _earth_centred(origin)[0])
        object.__setattr__(self, "_axes", np.array((east, north, up)))

    @classmethod
    def around(cls, lines: Iterable[LonLatLine]) -> LocalPlane:
        """The plane whose origin is the middle of some lines; right across 180 degrees of longitude and at a pole.

        Raises:
            ValueError: there is no point at all.
        """
        points = [_earth_centred(line.points) for line in lines if len(line)]
        if not points:
            raise ValueError("no point to lay a plane around")
        low = np.min([p.min(axis=0) for p in points], axis=0)
        high = np.max([p.max(axis=0) for p in points], axis=0)
        lon_deg, lat_deg = _degrees(((low + high) / 2)[np.newaxis])[0].tolist()
        return cls(lon_deg, lat_deg)

    def to_plane(self, line: LonLatLine) -> MetreLine:
        """Degrees to metres.

        Raises:
            ValueError: a point lies beyond the horizon of the origin, a quarter of the globe away.
        """
        try:
            return MetreLine(self.metres(line.points))
        except ValueError:
            raise ValueError(f"a point lies beyond the horizon of {self._name()}") from None

    def to_degrees(self, line: MetreLine) -> LonLatLine:
        """Metres to degrees.

        Raises:
            ValueError: no place on the ellipsoid lies over or under a point; it is farther off than the earth's radius.
        """
        degrees = self.degrees(line.points)
        if not np.isfinite(degrees).all():
            raise ValueError(f"a point of the plane at {self._name()} misses the ellipsoid")
        return LonLatLine(degrees)

    def metres(self, lonlat: Array) -> Array:
        """Degrees, shape (n, 2), longitude first, to metres east and north; NaN for points beyond the horizon."""
        earth = _earth_centred(lonlat)
        east, north, up = self._axes
        offset = earth - self._origin
        plane = np.column_stack((_along(east, offset), _along(north, offset)))
        # The surface normal at a point tells which side of the globe it is on.
        plane[_along(up, earth * _WEIGHTS) <= 0] = np.nan
        return plane

    def degrees(self, east_north: Array) -> Array:
        """Metres east and north, shape (n, 2), to degrees, longitude first; NaN where the ellipsoid is missed."""
        east, north, up = self._axes
        flat = east_north[:, :1] * east + east_north[:, 1:] * north
        # With M = diag(1/a2, 1/a2, 1/b2) the surface is p M p = 1. M times the origin is parallel to up, so its
        # products with east and north vanish, and what is left of the quadratic has no cancellation.
        square = float((up * up * _WEIGHTS).sum())
        half = _along(up, (self._origin + flat) * _WEIGHTS)
        rest = (flat * flat * _WEIGHTS).sum(axis=1)
        with np.errstate(invalid="ignore"):
            height = -rest / (half + np.sqrt(half * half - square * rest))
        return _degrees(self._origin + flat + height[:, np.newaxis] * up)

    def error_m(self, distance_m: float) -> float:
        """A bound of the error of a distance between two points, neither farther than ``distance_m`` from the origin.

        Plane distances are never longer than those on the ground, and shorter by at most d^3 / (3 R^2), R being
        the smallest radius of curvature of the ellipsoid; by half of that when one of the points is the origin.
        (A line that leaves the origin has fallen by an angle of at most s / R after s metres; the integral of
        1 - cos of it is d^3 / (6 R^2).)

        >>> [round(LocalPlane(9.5, 54.0).error_m(d) * 1000, 3) for d in (1000, 3000, 10000)]
        [0.008, 0.224, 8.305]
        """
        return distance_m**3 / (3 * _SMALLEST_RADIUS_M**2)

    def _name(self) -> str:
        return f"longitude {self.lon_deg:.9g}, latitude {self.lat_deg:.9g}"


def _along(axis: Array, vectors: Array) -> Array:
    """The component of each vector, shape (n, 3), along an axis; a point's result depends on no other point."""
    component: Array = vectors[:, 0] * axis[0] + vectors[:, 1] * axis[1] + vectors[:, 2] * axis[2]
    return component


def _earth_centred(lonlat: Array) -> Array:
    """Degrees, shape (n, 2), to earth-centred x, y, z in metres, shape (n, 3), on the ellipsoid's surface."""
    lon, lat = np.radians(lonlat[:, 0]), np.radians(lonlat[:, 1])
    across = SEMI_MAJOR_AXIS_M / np.sqrt(1 - ECCENTRICITY_SQUARED * np.sin(lat) ** 2)
    return np.column_stack(
        (
            across * np.cos(lat) * np.cos(lon),
            across * np.cos(lat) * np.sin(lon),
            across * (1 - ECCENTRICITY_SQUARED) * np.sin(lat),
        )
    )


def _degrees(earth: Array) -> Array:
    """Earth-centred x, y, z, shape (n, 3), of points on the surface to degrees, shape (n, 2)."""
    across = np.hypot(earth[:, 0], earth[:, 1])
    lat = np.arctan2(earth[:, 2], across * (1 - ECCENTRICITY_SQUARED))
    degrees: Array = np.degrees(np.column_stack((np.arctan2(earth[:, 1], earth[:, 0]), lat)))
    return degrees
