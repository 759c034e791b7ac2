"""Coordinates of any system brought to the frame that the machine steers by, honestly: by which operation, how exactly.

Task data carries no frame. What a cab calls WGS 84 is the frame of its correction service, in Europe ETRS89. So
coordinates on such a frame are carried as they are; those on any other datum are transformed to it by the best
operation that is at hand; and where nobody knows how exact that is, they are refused: a frame taken for another
puts a field a hundred metres off.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np
from pyproj import CRS, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.datadir import get_user_data_dir  # type: ignore[attr-defined]  # re-exported without saying so
from pyproj.exceptions import CRSError
from pyproj.network import set_network_enabled  # type: ignore[attr-defined]  # re-exported without saying so
from pyproj.transformer import TransformerGroup

from taskkit.errors import InputError
from taskkit.geometry.frames import (
    UNKNOWN,
    Bounds,
    Realisation,
    SteeringFrame,
    frame_named,
    frames_at,
    realisation,
)
from taskkit.geometry.line import Array
from taskkit.geometry.plane import SEMI_MAJOR_AXIS_M

__all__ = ["ACCURACY_LIMIT_M", "Placed", "to_steering_frame"]

ACCURACY_LIMIT_M = 0.3
"""A transformation that is stated to be worse is not used unless that is accepted: half a row of maize."""
_WORTH_A_NOTE_M = 0.1
"""Realisations of a frame that may lie farther apart are told; those of ETRS89 lie within it (EPSG 6258)."""
_BESIDE_ITS_AREA_DEG = 5.0
"""Grids are used beyond their zone: Denmark's of zone 32 to 15 degrees east. Farther out something is swapped."""
_EDGE_DEG = 0.01
"""Old datums lie some 100 m off: so much a place may seem to lie outside the area of a transformation."""

_GRS80_INVERSE_FLATTENING = 298.257222101
_WGS84 = "world geodetic system 1984"


@dataclass(frozen=True, slots=True)
class Placed:
    """Coordinates brought to the steering frame, and how.

    Attributes:
        lonlat: longitude and latitude, degrees, shape (n, 2).
        frame: the steering frame, e.g. ``ETRS89``; ``unknown`` for plain WGS 84.
        crs_name: the name of the system that they came in.
        crs_code: its code, e.g. ``EPSG:25832``; None where it has none.
        crs_frame: the frame that system lies in: a steering frame, ``unknown`` for plain WGS 84, else its datum.
        operation: what was done, in words.
        accuracy_m: the stated accuracy of that, metres; 0 where the datum was not touched, None where nobody knows.
        notes: what was remarkable, in sentences.
    """

    lonlat: Array
    frame: str
    crs_name: str
    crs_code: str | None
    crs_frame: str
    operation: str
    accuracy_m: float | None
    notes: tuple[str, ...] = ()


def to_steering_frame(
    crs: str, xy: Array, *, frame: str | None = None, accept_accuracy: bool | None = False, epoch: float | None = None
) -> Placed:
    """Longitude and latitude of coordinates in the steering frame of the place where they lie.

    Coordinates on a steering frame or one of its realisations keep their datum; only a projection is undone. Plain
    WGS 84 is carried likewise, with the frame unknown. Others are transformed. Nothing is fetched.

    Args:
        crs: the system, as WKT or as authority and code, e.g. ``EPSG:25832``.
        xy: east (or longitude) and north (or latitude), shape (n, 2), in the units of the system. East comes
            first, whatever the system's own order of axes.
        frame: the steering frame; None to take the one in use where the coordinates lie. For plain WGS 84 it says
            which frame they are really in.
        accept_accuracy: whether to use a transformation whose stated accuracy is worse than ``ACCURACY_LIMIT_M``;
            one without a stated accuracy is never used. None: no, and nobody can be asked to.
        epoch: when the coordinates held, as a year, e.g. 2021.5; None where nobody says.

    Raises:
        InputError: the system or the frame is unknown, a point cannot be in the system, or no transformation to the
            frame is at hand that is exact enough; the message names the grid that is missing, and its folder.

    >>> placed = to_steering_frame("EPSG:25832", np.array([(500000.0, 5983000.0)]))
    >>> placed.lonlat.round(4).tolist(), placed.frame, placed.operation
    ([[9.0, 53.9953]], 'ETRS89', 'projection undone (UTM zone 32N), datum unchanged')
    >>> placed = to_steering_frame("EPSG:28992", np.array([(155000.0, 463000.0)]))
    >>> placed.lonlat.round(5).tolist(), placed.operation, placed.accuracy_m
    ([[5.3872, 52.15517]], 'Amersfoort to ETRS89 (8)', 0.25)
    """
    set_network_enabled(active=False)
    system = _horizontal(_known(crs))
    base = system.geodetic_crs
    if base is None or base.datum is None or not (system.is_geographic or system.is_projected):
        raise InputError(
            f"{_named(system)} is no system of places on the ground",
            remedy="Give the data the system that it is in, such as EPSG:25832",
        )
    # Shapefiles and the registry spell the name of the unit differently.
    if any(not math.isclose(axis.unit_conversion_factor, math.radians(1), rel_tol=1e-9) for axis in base.axis_info[:2]):
        raise InputError(f"angles of {_named(system)} are not in degrees", remedy="Bring the file to EPSG:4258 first")
    degrees, operation = _without_projection(system, base, xy)
    _refuse_nowhere(degrees, xy, system)
    bounds = _bounds(degrees, base)
    notes = _beside_its_area(system, bounds)
    named = None if frame is None else frame_named(frame)
    wanted = None if named is None or named.name == UNKNOWN else named
    known = _carried(base)
    if known is None or (wanted and known.frame not in (UNKNOWN, wanted.name)):
        target = wanted or _frame_of(system, bounds)
        operations = _Operations(base, target, bounds, _named(system))
        best = operations.best(accept_accuracy=accept_accuracy, epoch=epoch)
        lonlat = operations.run(best, degrees, epoch)
        _refuse_nowhere(lonlat, xy, system)
        came_in = known.frame if known else base.datum.name
        return Placed(
            lonlat, target.name, system.name, _code(system), came_in, _title(best), float(best.accuracy), notes
        )
    accuracy_m: float | None = 0.0
    came_in = known.frame
    if known.frame == UNKNOWN and wanted:
        operation, accuracy_m = f"{operation}; said to be in {wanted.name}, not known", None
        known = Realisation(wanted.name, 0.0)
    if known.apart_m > _WORTH_A_NOTE_M:
        apart = f"whose realisations lie up to {known.apart_m:g} m apart"
        check = "compare with a known point before you steer by it"
        notes = (*notes, f"{_named(base)} is carried as {known.frame}, {apart}: {check}")
    return Placed(degrees, known.frame, system.name, _code(system), came_in, operation, accuracy_m, notes)


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


def _without_projection(system: CRS, base: CRS, xy: Array) -> tuple[Array, str]:
    if system.is_geographic:
        return np.array(xy, dtype=np.float64), "carried as it is"
    degrees = np.column_stack(Transformer.from_crs(system, base, always_xy=True).transform(xy[:, 0], xy[:, 1]))
    undone = system.coordinate_operation
    return degrees, f"projection undone ({undone.name if undone else system.name}), datum unchanged"


def _carried(base: CRS) -> Realisation | None:
    """What the datum is a realisation of, if it is carried as it is."""
    datum, ellipsoid, meridian = base.datum, base.ellipsoid, base.prime_meridian
    if datum is None or ellipsoid is None or meridian is None or meridian.longitude != 0:
        return None
    # A name alone is quickly written; the ellipsoid and the meridian must fit it. The two ellipsoids differ by
    # 0.1 mm; frames use the one or the other.
    shape = (ellipsoid.semi_major_metre, ellipsoid.inverse_flattening)
    if not np.allclose(shape, (SEMI_MAJOR_AXIS_M, _GRS80_INVERSE_FLATTENING), rtol=1e-8, atol=0):
        return None
    return Realisation(UNKNOWN, 0.0) if datum.name.casefold().startswith(_WGS84) else realisation(datum.name)


def _frame_of(system: CRS, bounds: Bounds) -> SteeringFrame:
    """The frame in use where the data lies."""
    area = system.area_of_use
    frames = frames_at(bounds, system_area=Bounds(*area.bounds) if area else None)
    if not frames:
        raise InputError(
            f"coordinates in {_named(system)} must be transformed, and no steering frame is known for their place "
            f"({bounds})",
            remedy="Name the frame of your correction service with --frame, or bring the file to it first",
        )
    return frames[0]


class _Operations:
    """The operations from a datum to a steering frame that PROJ has at a place, and why none of them may do."""

    def __init__(self, base: CRS, target: SteeringFrame, bounds: Bounds, source: str) -> None:
        self._base, self._target, self._bounds, self._source = base, target, bounds, source
        self._bring = f"bring the file to {target.name} first by a transformation made for it"
        with warnings.catch_warnings():
            # It warns of grids that are missing; we say so ourselves.
            warnings.simplefilter("ignore")
            self._group = TransformerGroup(
                _registered(base, source),
                CRS.from_user_input(target.code_at(bounds)),
                always_xy=True,
                allow_ballpark=False,
                area_of_interest=AreaOfInterest(  # type: ignore[arg-type]  # it is the same class
                    bounds.west_deg, bounds.south_deg, bounds.east_deg, bounds.north_deg
                ),
            )

    def best(self, *, accept_accuracy: bool | None, epoch: float | None) -> Transformer:
        """The most exact operation for all of the place.

        Raises:
            InputError: none says how exact it is, or the best is worse than the limit and that is not accepted.
        """
        if self._base.datum is not None and self._base.datum.type_name.startswith("Dynamic") and epoch is None:
            moving = f"coordinates in {self._source} move with the ground, and the file does not say when they held"
            raise InputError(moving, remedy=_sentence(self._bring))
        fitting = [one for one in self._group.transformers if one.accuracy >= 0 and self._covered_by(one.area_of_use)]
        best = min(fitting, key=lambda one: one.accuracy, default=None)
        if best is None or (best.accuracy > ACCURACY_LIMIT_M and not accept_accuracy):
            raise self._refusal(best, ask=accept_accuracy is not None)
        return best

    def run(self, operation: Transformer, degrees: Array, epoch: float | None) -> Array:
        """Degrees brought to the frame."""
        if epoch is None:
            return np.column_stack(operation.transform(degrees[:, 0], degrees[:, 1]))
        flat, when = np.zeros(len(degrees)), np.full(len(degrees), epoch)
        return np.column_stack(operation.transform(degrees[:, 0], degrees[:, 1], flat, when)[:2])

    def _covered_by(self, area: Any) -> bool:
        return area is not None and Bounds(*area.bounds).holds(self._bounds, margin_deg=_EDGE_DEG)

    def _refusal(self, best: Transformer | None, *, ask: bool) -> InputError:
        """Why no operation will do, which grid a better one lacks, and what can be done."""
        why, ways = "no transformation that is at hand says how exact it is", [self._bring]
        if best is not None:
            why = f"'{_title(best)}' brings them there to {best.accuracy:g} m only, more than {ACCURACY_LIMIT_M} m"
            if ask:
                ways.insert(0, "take it all the same with --accept-accuracy")
        better = [
            one
            for one in self._group.unavailable_operations
            if 0 <= one.accuracy < (best.accuracy if best else math.inf) and self._covered_by(one.area_of_use)
        ]
        if better:
            first = min(better, key=lambda one: one.accuracy)
            grids = [grid for grid in first.grids if not grid.available]
            names = ", ".join(grid.short_name for grid in grids)
            why += f"; '{first.name}' would, to {first.accuracy:g} m, but it lacks the grid {names}"
            sources = sorted({grid.url.rpartition("/")[0] for grid in grids if grid.url})
            came = f" (from {', '.join(sources)})" if sources else ""
            ways.insert(0, f"put the grid into {get_user_data_dir()}{came}")
        what = f"coordinates in {self._source} are not on {self._target.name}"
        return InputError(f"{what}: {why}", remedy=_sentence(", or ".join(ways)))


def _registered(base: CRS, source: str) -> CRS:
    """The system of the registry that has these names: a .prj file has no codes, transformations are found by them.

    Raises:
        InputError: there is none, or it has another ellipsoid or meridian (PROJ is less than 70 % sure then).
    """
    code = base.to_authority(auth_name="EPSG", min_confidence=70)
    if code is None:
        datum = base.datum.name if base.datum else base.name
        raise InputError(
            f"coordinates in {source} are on the datum {datum}, with an ellipsoid or meridian that it is not known by",
            remedy="Give the data a system that the EPSG registry knows",
        )
    return CRS.from_authority(*code)


def _title(operation: Transformer) -> str:
    steps = str(operation.description).split(" + ")
    return " + ".join(step for step in steps if not step.startswith("axis order change"))


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:]


def _bounds(degrees: Array, base: CRS) -> Bounds:
    """The smallest rectangle around the points, across 180 degrees where that is the shorter way round."""
    if not len(degrees):
        return Bounds(0, 0, 0, 0)
    meridian = base.prime_meridian
    from_greenwich = math.degrees(meridian.longitude * float(meridian.unit_conversion_factor)) if meridian else 0.0
    lon, lat = degrees.T + np.array([[from_greenwich], [0.0]])
    west, east = float(lon.min()), float(lon.max())
    if east - west > 180:
        west, east = float(lon[lon > 0].min()), float(lon[lon <= 0].max())
    return Bounds(west, float(lat.min()), east, float(lat.max()))


def _beside_its_area(system: CRS, bounds: Bounds) -> tuple[str, ...]:
    area = system.area_of_use
    if area is None or Bounds(*area.bounds).holds(bounds, margin_deg=_BESIDE_ITS_AREA_DEG):
        return ()
    far = f"the data lies at {bounds}, far from where {_named(system)} is used ({Bounds(*area.bounds)})"
    return (f"{far}: is it the right system, and are longitude and latitude in their places",)


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
