"""Which frame coordinates are in, and the projection undone: degrees in the frame that the machine steers by.

Task data carries no frame. What a cab calls WGS 84 is the frame of its correction service, in Europe ETRS89.
So coordinates that are on ETRS89 are carried as they are, and no others are taken.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError
from pyproj.network import set_network_enabled  # type: ignore[attr-defined]  # re-exported without saying so

from taskkit.errors import InputError
from taskkit.geometry.line import Array
from taskkit.geometry.plane import SEMI_MAJOR_AXIS_M

__all__ = ["Placed", "to_steering_frame"]

# Datums that the EPSG registry ties to ETRS89 by a transformation of nothing, 0.1 m or better (version 11.022,
# as shipped with PROJ 9.5); members of the ensemble itself and its national forms go by the beginning of their name.
_REALISATIONS = frozenset(
    {
        "bgs2005",
        "bh_etrs89",
        "bulgaria geodetic system 2005",
        "croatian terrestrial reference system",
        "estonia 1992",
        "estonia 1997",
        "etrf2000 poland",
        "irenet95",
        "latvian geodetic coordinate system 1992",
        "lithuania 1994 (etrs89)",
        "moldref99",
        "rete dinamica nazionale 2008",
        "reseau geodesique francais 1993 v1",
        "reseau geodesique francais 1993 v2",
        "reseau geodesique francais 1993 v2b",
        "serbian reference network 1998",
        "serbian spatial reference system 2000",
        "slovenia geodetic datum 1996",
        "sweref99",
        "swiss terrestrial reference system 1995",
    }
)
_BEGINNINGS = ("european terrestrial reference", "etrs89")
_GRS80_INVERSE_FLATTENING = 298.257222101


@dataclass(frozen=True, slots=True)
class Placed:
    """Coordinates brought to the steering frame, and how.

    Attributes:
        lonlat: longitude and latitude, degrees, shape (n, 2).
        frame: the steering frame, ``ETRS89``.
        crs_name: the name of the system that they came in.
        crs_code: its code, e.g. ``EPSG:25832``; None where it has none.
        operation: what was done, in words.
        accuracy_m: what that may have cost, metres; 0 where the datum was not touched.
    """

    lonlat: Array
    frame: str
    crs_name: str
    crs_code: str | None
    operation: str
    accuracy_m: float


def to_steering_frame(crs: str, xy: Array) -> Placed:
    """Longitude and latitude of coordinates whose system is on ETRS89 or one of its realisations.

    Only the projection is undone; the datum is left as it is. Nothing is fetched.

    Args:
        crs: the system, as WKT or as authority and code, e.g. ``EPSG:25832``.
        xy: east (or longitude) and north (or latitude), shape (n, 2), in the units of the system. East comes
            first, whatever the system's own order of axes.

    Raises:
        InputError: the system is unknown or on another datum, or a point cannot be in it.

    >>> placed = to_steering_frame("EPSG:25832", np.array([(500000.0, 5983000.0)]))
    >>> placed.lonlat.round(4).tolist(), placed.frame, placed.operation
    ([[9.0, 53.9953]], 'ETRS89', 'projection undone (UTM zone 32N), datum unchanged')
    """
    set_network_enabled(active=False)
    system = _horizontal(_known(crs))
    base = system.geodetic_crs
    if base is None or not (system.is_geographic or system.is_projected) or not _on_etrs89(base):
        raise InputError(
            f"coordinates in {_named(system)} are not on ETRS89, and other frames are not taken",
            remedy="Bring the file to a system on ETRS89 first, such as EPSG:25832, by a transformation made for it",
        )
    # Shapefiles and the registry spell the name of the unit differently.
    if any(not math.isclose(axis.unit_conversion_factor, math.radians(1), rel_tol=1e-9) for axis in base.axis_info[:2]):
        raise InputError(f"angles of {_named(system)} are not in degrees", remedy="Bring the file to EPSG:4258 first")
    if system.is_geographic:
        lonlat, operation = np.array(xy, dtype=np.float64), "carried as it is"
    else:
        lonlat = np.column_stack(Transformer.from_crs(system, base, always_xy=True).transform(xy[:, 0], xy[:, 1]))
        undone = system.coordinate_operation
        operation = f"projection undone ({undone.name if undone else system.name}), datum unchanged"
    _refuse_nowhere(lonlat, xy, system)
    return Placed(lonlat, "ETRS89", system.name, _code(system), operation, 0.0)


def _known(crs: str) -> CRS:
    try:
        return CRS.from_user_input(crs)
    except CRSError:
        shown = crs if len(crs) <= 60 else crs[:60] + "..."
        raise InputError(
            f"the coordinate system {shown!r} is not known",
            remedy="Give the data a system that the EPSG registry knows, such as EPSG:25832",
        ) from None


def _horizontal(system: CRS) -> CRS:
    """Without heights, and without a transformation to somewhere else that is tied to it."""
    while system.is_bound and system.source_crs is not None:
        system = system.source_crs
    if system.is_compound:
        system = _horizontal(system.sub_crs_list[0])
    return system.to_2d()


def _on_etrs89(base: CRS) -> bool:
    datum, ellipsoid, meridian = base.datum, base.ellipsoid, base.prime_meridian
    if datum is None or ellipsoid is None or meridian is None:
        return False
    name = datum.name.casefold()
    shape = (ellipsoid.semi_major_metre, ellipsoid.inverse_flattening)
    # A name alone is quickly written; the ellipsoid and the meridian must fit it.
    same_shape = np.allclose(shape, (SEMI_MAJOR_AXIS_M, _GRS80_INVERSE_FLATTENING), rtol=1e-10, atol=0)
    return bool(same_shape) and meridian.longitude == 0 and (name.startswith(_BEGINNINGS) or name in _REALISATIONS)


def _refuse_nowhere(lonlat: Array, xy: Array, system: CRS) -> None:
    sound = np.isfinite(lonlat).all(axis=1) & (np.abs(lonlat) <= (180, 90)).all(axis=1)
    if not sound.all():
        x, y = xy[~sound][0].tolist()
        raise InputError(
            f"the point {x:.9g}, {y:.9g} cannot be in {_named(system)}",
            remedy="Check which coordinate system the file says it is in",
        )


def _named(system: CRS) -> str:
    code = _code(system)
    return f"{system.name} ({code})" if code else str(system.name)


def _code(system: CRS) -> str | None:
    code = system.to_authority(auth_name="EPSG", min_confidence=90)
    return ":".join(code) if code else None
