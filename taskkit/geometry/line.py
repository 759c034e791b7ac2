"""Points in order, as a value: read-only, comparable, hashable. Degrees and metres are different types."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler

__all__ = ["Array", "LonLatLine", "MetreLine", "Part"]

Array = npt.NDArray[np.float64]


class _Line:
    """The common part of both kinds of line; not for use by itself."""

    __slots__ = ("_points",)
    _points: Array
    columns: ClassVar[tuple[str, str]]

    def __init__(self, points: Array | Iterable[Sequence[float]]) -> None:
        array = np.array(points if isinstance(points, np.ndarray) else list(points), dtype=np.float64)
        array = array.reshape(0, 2) if array.size == 0 else array
        if array.ndim != 2 or array.shape[1] != 2:
            raise ValueError(f"points must have the shape (n, 2), not {array.shape}")
        if not np.isfinite(array).all():
            raise ValueError("a coordinate is not a finite number")
        self._check(array)
        # -0.0 equals 0.0 but has other bytes; the hash goes by bytes.
        array += 0.0
        array.setflags(write=False)
        self._points = array

    @classmethod
    def _check(cls, array: Array) -> None:
        """Refuse what the unit forbids."""

    @property
    def points(self) -> Array:
        """All points, shape (n, 2), read-only."""
        return self._points

    def __len__(self) -> int:
        return len(self._points)

    def __iter__(self) -> Iterator[tuple[float, float]]:
        return ((x, y) for x, y in self._points.tolist())

    def __eq__(self, other: object) -> bool:
        return type(other) is type(self) and np.array_equal(self._points, other._points)

    def __hash__(self) -> int:
        return hash((type(self).__name__, self._points.tobytes()))

    def __repr__(self) -> str:
        shown = ", ".join(f"({x:.9g}, {y:.9g})" for x, y in self._points[:3].tolist())
        return f"{type(self).__name__}([{shown}{', ...' if len(self) > 3 else ''}], n={len(self)})"

    @classmethod
    def __get_pydantic_core_schema__(cls, _source: Any, _handler: GetCoreSchemaHandler) -> Any:
        from pydantic_core import core_schema

        def build(value: Any) -> _Line:
            return value if isinstance(value, cls) else cls(value)

        return core_schema.no_info_plain_validator_function(
            build,
            serialization=core_schema.plain_serializer_function_ser_schema(lambda line: line.points.tolist()),
        )

    @classmethod
    def __get_pydantic_json_schema__(cls, _schema: Any, _handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {
            "type": "array",
            "items": {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2},
            "description": f"points, each [{cls.columns[0]}, {cls.columns[1]}]",
        }


class LonLatLine(_Line):
    """Points on the ellipsoid, shape (n, 2): longitude and latitude in degrees, in that order.

    Rings are kept open: the first point is not repeated at the end.

    Raises:
        ValueError: another shape, a value that is not finite, a latitude beyond 90 or a longitude beyond 180 degrees.

    >>> line = LonLatLine([(9.5, 54.0), (9.5, 54.1)])
    >>> line == LonLatLine([(9.5, 54.0), (9.5, 54.1)]), hash(line) == hash(LonLatLine(line.points)), len(line)
    (True, True, 2)
    >>> LonLatLine([(54.0, 99.5)])
    Traceback (most recent call last):
    ...
    ValueError: latitude 99.5 is beyond 90 degrees
    """

    __slots__ = ()
    columns = ("longitude_deg", "latitude_deg")

    @classmethod
    def _check(cls, array: Array) -> None:
        for column, (word, limit) in enumerate((("longitude", 180.0), ("latitude", 90.0))):
            values = array[:, column]
            beyond = np.abs(values) > limit
            if beyond.any():
                raise ValueError(f"{word} {values[beyond][0]:.12g} is beyond {limit:.0f} degrees")

    @property
    def lon_deg(self) -> Array:
        """Longitudes, degrees, east positive; shape (n,)."""
        return self._points[:, 0]

    @property
    def lat_deg(self) -> Array:
        """Latitudes, degrees, north positive; shape (n,)."""
        return self._points[:, 1]


class MetreLine(_Line):
    """Points on a field's local plane, shape (n, 2): metres east and metres north of its origin.

    Raises:
        ValueError: another shape, or a value that is not finite.

    >>> MetreLine([(0, 0), (3, 4)]) == LonLatLine([(0, 0), (3, 4)])
    False
    """

    __slots__ = ()
    columns = ("east_m", "north_m")


class Part:
    """One separate piece of a field: an outer ring and its holes, all open rings in degrees.

    A value like the lines it is made of. It may be bad (crossing itself, a hole outside):
    judging is for checks.
    """

    __slots__ = ("holes", "outer")

    def __init__(self, outer: LonLatLine, holes: Iterable[LonLatLine] = ()) -> None:
        self.outer = outer
        self.holes = tuple(holes)

    @property
    def rings(self) -> tuple[LonLatLine, ...]:
        """The outer ring, then the holes."""
        return (self.outer, *self.holes)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Part) and self.rings == other.rings

    def __hash__(self) -> int:
        return hash(self.rings)

    def __repr__(self) -> str:
        return f"Part({self.outer!r}, holes={len(self.holes)})"
