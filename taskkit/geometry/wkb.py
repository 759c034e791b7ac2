"""Shapes as well-known binary: coordinates out in one array, put together again after they were placed; and back."""

from __future__ import annotations

import struct
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import shapely

from taskkit.geometry.line import Array, LonLatLine, Part

__all__ = ["Areas", "LonLat", "Shape", "Shapes", "area_wkb", "line_wkb", "point_wkb", "read_areas", "read_shapes"]

LonLat = tuple[float, float]
"""Longitude and latitude of one point, degrees."""
Shape = tuple[Part, ...] | tuple[LonLatLine, ...] | tuple[LonLat, ...]
"""An area of one or several parts, or lines, or points."""

# As GEOS counts them, which is not as well-known binary does.
_POINT, _LINE, _POLYGON, _MULTIPOINT, _MULTILINE, _MULTIPOLYGON = 0, 1, 3, 4, 5, 6
_Offsets = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Areas:
    """Areas whose coordinates are in some system of their own.

    Attributes:
        xy: the coordinates of all rings one after another, shape (n, 2); rings are closed.
    """

    xy: Array
    _rings: _Offsets
    _parts: _Offsets
    _areas: _Offsets

    def __len__(self) -> int:
        return len(self._areas) - 1

    def parts(self, lonlat: Array | None = None) -> tuple[tuple[Part, ...], ...]:
        """The parts of each area, in order; closing points dropped.

        Args:
            lonlat: ``xy`` in degrees, shape (n, 2); None where it is in degrees already.
        """
        places = self.xy if lonlat is None else lonlat
        rings = [LonLatLine(places[b : e - 1]) for b, e in zip(self._rings[:-1], self._rings[1:], strict=True)]
        parts = [Part(rings[b], rings[b + 1 : e]) for b, e in zip(self._parts[:-1], self._parts[1:], strict=True)]
        return tuple(tuple(parts[b:e]) for b, e in zip(self._areas[:-1], self._areas[1:], strict=True))


def read_areas(wkb: Sequence[bytes]) -> Areas:
    """Areas from well-known binary (OGC 06-103r4, clause 8): polygons and multi-polygons; heights are left out.

    Shapes are taken as they are, crossing or not: judging is for checks.

    Raises:
        ValueError: one is no such binary, no area, or empty; the message counts from 1.
    """
    shapes = _opened(wkb, "area")
    kinds = shapely.get_type_id(shapes)
    wrong = ~np.isin(kinds, (_POLYGON, _MULTIPOLYGON)) | shapely.is_empty(shapes)
    if wrong.any():
        raise ValueError(f"area {int(np.argmax(wrong)) + 1} is no polygon or is empty")
    if not len(shapes):
        none = np.zeros(1, dtype=np.int64)
        return Areas(np.empty((0, 2)), none, none, none)
    _, xy, (rings, parts, areas) = shapely.to_ragged_array(
        np.array([shapely.multipolygons([s]) if k == _POLYGON else s for s, k in zip(shapes, kinds, strict=True)]),
        include_z=False,
    )
    return Areas(xy, rings.astype(np.int64), parts.astype(np.int64), areas.astype(np.int64))


@dataclass(frozen=True, slots=True, eq=False)
class Shapes:
    """Shapes of any sort whose coordinates are in some system of their own.

    Attributes:
        xy: the coordinates of all of them one after another, shape (n, 2); rings are closed.
    """

    xy: Array
    _kinds: tuple[int, ...]
    _sizes: tuple[tuple[tuple[int, ...], ...], ...]

    def __len__(self) -> int:
        return len(self._kinds)

    def shapes(self, lonlat: Array | None = None) -> tuple[Shape, ...]:
        """The shapes, in order.

        Args:
            lonlat: ``xy`` in degrees, shape (n, 2); None where it is in degrees already.
        """
        runs = self._runs(self.xy if lonlat is None else lonlat)
        return tuple(_shape(kind, pieces) for kind, pieces in zip(self._kinds, runs, strict=True))

    def _runs(self, places: Array) -> Iterator[list[list[Array]]]:
        begin = 0
        for pieces in self._sizes:
            found = []
            for rings in pieces:
                ends = np.cumsum((begin, *rings))
                found.append([places[b:e] for b, e in pairwise(ends)])
                begin = int(ends[-1])
            yield found


def read_shapes(wkb: Sequence[bytes]) -> Shapes:
    """Shapes from well-known binary (OGC 06-103r4, clause 8): areas, lines and points, one or several in each.

    Raises:
        ValueError: one is no such binary, of another sort, or empty; the message counts from 1.

    >>> read_shapes([line_wkb(LonLatLine([(9, 54), (9.1, 54)])), point_wkb((9, 54))]).shapes()
    ((LonLatLine([(9, 54), (9.1, 54)], n=2),), ((9.0, 54.0),))
    """
    shapes = _opened(wkb, "feature")
    kinds = [int(kind) for kind in shapely.get_type_id(shapes)]
    for number, (kind, shape) in enumerate(zip(kinds, shapes, strict=True), 1):
        pieces = shapely.get_parts(shape)
        if kind not in (_POINT, _LINE, _POLYGON, _MULTIPOINT, _MULTILINE, _MULTIPOLYGON):
            raise ValueError(f"feature {number} is no area, line or point")
        if not len(pieces) or shapely.is_empty(pieces).any():
            raise ValueError(f"feature {number} is empty, or a piece of it is")
    sizes = tuple(tuple(_ring_sizes(piece) for piece in shapely.get_parts(shape)) for shape in shapes)
    return Shapes(shapely.get_coordinates(shapes), tuple(kinds), sizes)


def area_wkb(parts: Iterable[Part]) -> bytes:
    """Parts as a multi-polygon in well-known binary, however bad they are; rings are closed."""
    bodies = [
        struct.pack("<BII", 1, 3, len(part.rings))
        + b"".join(_points(np.vstack((r.points, r.points[:1]))) for r in part.rings)
        for part in parts
    ]
    return struct.pack("<BII", 1, 6, len(bodies)) + b"".join(bodies)


def line_wkb(line: LonLatLine) -> bytes:
    """A line in well-known binary."""
    return struct.pack("<BI", 1, 2) + _points(line.points)


def point_wkb(point: LonLat) -> bytes:
    """A point in well-known binary.

    >>> point_wkb((9, 54)).hex()
    '010100000000000000000022400000000000004b40'
    """
    return struct.pack("<BIdd", 1, 1, *point)


def _points(points: Array) -> bytes:
    return struct.pack("<I", len(points)) + points.astype("<f8").tobytes()


def _opened(wkb: Sequence[bytes], word: str) -> npt.NDArray[np.object_]:
    shapes = np.empty(len(wkb), dtype=object)
    for number, one in enumerate(wkb):
        try:
            shapes[number] = shapely.from_wkb(one)
        except shapely.errors.GEOSException as error:
            raise ValueError(f"{word} {number + 1} {_why(str(error))}") from None
    return shapes


def _why(said: str) -> str:
    """What GEOS says of a shape, in our words where it is a common fault."""
    if "closed linestring" in said:
        return "has a ring that is not closed: its last point must repeat its first"
    if "Invalid number of points" in said:
        return "has a ring or line of too few points"
    return f"cannot be read: {said}"


def _ring_sizes(piece: shapely.Geometry) -> tuple[int, ...]:
    if shapely.get_type_id(piece) != _POLYGON:
        return (int(shapely.get_num_coordinates(piece)),)
    return tuple(int(shapely.get_num_coordinates(ring)) for ring in shapely.get_rings(piece))


def _shape(kind: int, pieces: list[list[Array]]) -> Shape:
    if kind in (_POINT, _MULTIPOINT):
        return tuple((float(point[0, 0]), float(point[0, 1])) for (point,) in pieces)
    if kind in (_LINE, _MULTILINE):
        return tuple(LonLatLine(line) for (line,) in pieces)
    return tuple(Part(LonLatLine(outer[:-1]), [LonLatLine(h[:-1]) for h in holes]) for outer, *holes in pieces)
