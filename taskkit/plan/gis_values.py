"""Values of a plan that stand in GIS files beside it, fetched and brought to the plan's steering frame."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from taskkit.errors import InputError, UnsafeInputError
from taskkit.geometry.frames import UNKNOWN
from taskkit.geometry.line import LonLatLine, Part
from taskkit.geometry.wkb import Shape
from taskkit.geometry.wkb import read_shapes as shapes_from_wkb
from taskkit.geometry.wkt import format_area, format_line, format_point
from taskkit.gis.reading import read_shapes
from taskkit.plan.elsewhere import Elsewhere, Found
from taskkit.plan.origins import origin_of
from taskkit.plan.references import nearest

__all__ = ["GisValues"]

_DECIMALS = 9
"""Decimals of a degree that are taken over: 0.11 mm, the resolution of task data."""
_MOST_BYTES = 256 << 20
"""Shapes that are kept for the next value of the same layer."""


class GisValues:
    """Fetches values for ``load_plan``; a layer is read once, and again only for columns that it was not read with.

    A shape comes as well-known text in the steering frame of the plan, with ``source`` (the name of the file) and
    ``origin`` for the object that has it. It is brought there as ``to_steering_frame`` says; a transformation that is
    stated to be worse than 0.3 m is refused. A plan that does not say its frame takes shapes in plain WGS 84 only.
    """

    def __init__(self) -> None:
        self._layers: dict[tuple[Path, str | None], _Layer] = {}

    @property
    def notes(self) -> tuple[str, ...]:
        """What was remarkable in the files, in sentences."""
        return tuple(dict.fromkeys(note for layer in self._layers.values() for note in layer.notes))

    def __call__(self, meant: Elsewhere) -> Found:
        """The value.

        Raises:
            InputError: file, layer, row, column or a shape that cannot be taken, or no good way to the frame.
            UnsafeInputError: what lies beside the file leads out of its folder, or a bound is broken.
        """
        asked = [meant.where[0]] if meant.where else []
        try:
            layer = self._layer(meant, [*asked, meant.column] if meant.column is not None else asked)
            row = layer.row(meant.where)
            if meant.column is not None:
                return Found(layer.cell(row, meant.column))
            return layer.shape(row, meant.frame)
        except InputError as error:
            remedy = _in_a_plan(error.remedy) if error.remedy else None
            raise type(error)(error.message, path=meant.file, remedy=remedy) from error

    def _layer(self, meant: Elsewhere, columns: Sequence[str]) -> _Layer:
        key = (meant.file, meant.layer)
        known = self._layers.get(key)
        if known is not None and known.has(columns):
            return known
        _refuse_leading_out(meant.file)
        if sum(layer.size for layer in self._layers.values()) > _MOST_BYTES:
            self._layers.clear()
        self._layers[key] = _Layer(meant, [*(known.columns if known else ()), *columns])
        return self._layers[key]


class _Layer:
    """One layer of a file, with the columns that were asked for so far."""

    def __init__(self, meant: Elsewhere, columns: Sequence[str]) -> None:
        self.columns = tuple(dict.fromkeys(columns))
        self._read = read_shapes(meant.file, columns=self.columns, layer=meant.layer)
        self._name = meant.file.name
        self.size = sum(map(len, self._read.shapes))
        self.notes: tuple[str, ...] = tuple(f"{self._name}: {note}" for note in self._read.notes)
        self._rows: dict[str, dict[str, list[int]]] = {}
        self._placed: dict[str, tuple[tuple[Shape, ...], Mapping[str, str]]] = {}

    def has(self, columns: Sequence[str]) -> bool:
        return set(columns) <= set(self.columns)

    def row(self, where: tuple[str, str] | None) -> int:
        """The number of the one row that is meant, from 0."""
        count = len(self._read.rows)
        if where is None:
            if count != 1:
                remedy = "Say which one with `where: COLUMN = value`" if count else None
                raise InputError(f"it has {count or 'no'} rows, and one is wanted", remedy=remedy)
            return 0
        column, value = where
        if column not in self._rows:
            self._rows[column] = {}
            for number, cells in enumerate(self._read.rows):
                self._rows[column].setdefault((cells[column] or "").strip(), []).append(number)
        found = self._rows[column].get(value, [])
        if not found:
            like = nearest(value, self._rows[column])
            raise InputError(
                f"no row has {value[:60]!r} in the column {column}", remedy=f"Did you mean {like!r}" if like else None
            )
        if len(found) > 1:
            raise InputError(
                f"{len(found)} rows have {value[:60]!r} in the column {column}",
                remedy="Choose a column that tells them apart",
            )
        return found[0]

    def cell(self, row: int, column: str) -> str:
        value = (self._read.rows[row][column] or "").strip()
        if not value:
            raise InputError(f"that row has nothing in the column {column}", remedy="Fill it in, or leave the key out")
        return value

    def shape(self, row: int, frame: str) -> Found:
        if frame not in self._placed:
            self._placed[frame] = self._brought(frame)
        shapes, origin = self._placed[frame]
        return Found(_text(shapes[row]), {"source": self._name, "origin": origin})

    def _brought(self, frame: str) -> tuple[tuple[Shape, ...], Mapping[str, str]]:
        # Most plans name no file, and start faster without pyproj.
        from taskkit.geometry.datum import to_steering_frame

        try:
            shapes = shapes_from_wkb(self._read.shapes)
        except ValueError as error:
            raise InputError(str(error)) from error
        epoch = self._read.epoch
        placed = to_steering_frame(self._read.crs, shapes.xy, frame=frame, accept_accuracy=None, epoch=epoch)
        if placed.frame != UNKNOWN and frame.strip().casefold() == UNKNOWN:
            raise InputError(
                f"its coordinates come in {placed.crs_frame}, and the plan does not say which frame its own are in",
                remedy=f"Write `steering_frame: {placed.frame}` if that is the frame of your correction service",
            )
        self.notes += tuple(f"{self._name}: {note}" for note in placed.notes)
        origin = {key: str(value) for key, value in origin_of(placed, epoch=epoch) if value is not None}
        return shapes.shapes(np.round(placed.lonlat, _DECIMALS)), origin


def _text(pieces: Shape) -> str:
    """A shape as well-known text; of lines and points there may be one only."""
    first = pieces[0]
    if isinstance(first, Part):
        return format_area(piece for piece in pieces if isinstance(piece, Part))
    sort = "line" if isinstance(first, LonLatLine) else "point"
    if len(pieces) > 1:
        raise InputError(f"that row has {len(pieces)} {sort}s, and one is wanted", remedy="Give each a row of its own")
    return format_line(first) if isinstance(first, LonLatLine) else format_point(LonLatLine([first]))


def _in_a_plan(remedy: str) -> str:
    """A remedy that names an option of a command, by the key of the plan that says the same."""
    return remedy.replace("--layer", "`layer`").replace("--frame", "`steering_frame`")


def _refuse_leading_out(file: Path) -> None:
    """A shapefile is several files, and each of them could be a link to somewhere else."""
    try:
        folder = file.parent.resolve()
        for other in file.parent.iterdir():
            # Whether the file itself lies in the folder of the plan was seen when its name was read.
            if other.stem == file.stem and other != file and not other.resolve().is_relative_to(folder):
                raise UnsafeInputError(f"{other.name} beside it leads to another folder", remedy="Put a copy there")
    except OSError as error:
        raise InputError(f"its folder cannot be read: {error.strerror or error}") from error
