"""Areas as well-known binary, many at once: coordinates out in one array, parts back together after it was placed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from taskkit.geometry.line import Array, LonLatLine, Part

__all__ = ["Areas", "read_areas"]

_POLYGON, _MULTIPOLYGON = 3, 6
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
    shapes = np.empty(len(wkb), dtype=object)
    for number, one in enumerate(wkb):
        try:
            shapes[number] = shapely.from_wkb(one)
        except shapely.errors.GEOSException as error:
            raise ValueError(f"area {number + 1} cannot be read: {error}") from None
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
