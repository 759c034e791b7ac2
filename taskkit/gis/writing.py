"""Layers of features to GIS files: made in a private folder by a child process, then put in place."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from taskkit.errors import InputError, RefusedError
from taskkit.gis.formats import Format, accepted, format_of
from taskkit.gis.process import ask

__all__ = ["Layer", "Value", "Written", "write_layers"]

Value = str | float | None

_WGS84 = "EPSG:4326"
# The resolution of task data. Nothing depends on the clock, and features stay in their order.
_OPTIONS: Mapping[str, Mapping[str, str]] = {
    "ESRI Shapefile": {"ENCODING": "UTF-8", "DBF_DATE_LAST_UPDATE": "2000-01-01"},
    "GeoJSON": {"COORDINATE_PRECISION": "9"},
    "FlatGeobuf": {"SPATIAL_INDEX": "NO"},
    "CSV": {"GEOMETRY": "AS_WKT"},
}


@dataclass(frozen=True, slots=True)
class Layer:
    """Features of one sort with the same columns.

    Attributes:
        name: its name, a word in small letters.
        sort: ``area``, ``line`` or ``point``.
        columns: for each column, by name, a value for each feature: all text or all numbers, None where it is missing.
            Names of at most ten letters fit all formats.
        shapes: for each feature its shape as well-known binary, longitude first; areas as multi-polygons.
    """

    name: str
    sort: str
    columns: Mapping[str, Sequence[Value]]
    shapes: Sequence[bytes]


@dataclass(frozen=True, slots=True)
class Written:
    """What was written: the files in their places, and what was remarkable, in sentences."""

    files: tuple[Path, ...]
    notes: tuple[str, ...]


def write_layers(path: Path | str, layers: Sequence[Layer], *, crs: str, replace: bool = False) -> Written:
    """Write layers as the format that the file's name says; the same layers give the same bytes.

    A GeoPackage and a KML file hold all layers; GeoJSON and CSV one table with a column ``layer``; Shapefiles and
    FlatGeobuf become a file a layer, ``farm_fields.shp``, ``farm_lines.shp``. Layers without features are left out.

    Args:
        path: where to; its ending says the format.
        layers: what.
        crs: the system of the coordinates, e.g. ``EPSG:4258``. KML can only name WGS 84, and gets the same numbers.
        replace: whether files that are there already may be replaced.

    Raises:
        InputError: no such format, or it cannot be written.
        RefusedError: a file is there already, or there is nothing to write.
    """
    path = Path(path)
    form = format_of(path.name, read=False)
    if form is None:
        raise InputError(accepted(read=False), path=path, remedy="Give the file one of these endings")
    full = [layer for layer in layers if layer.shapes]
    if not full:
        raise RefusedError(f"{path} was not written: there is no feature to put into it")
    notes = []
    if form.driver == "LIBKML" and crs != _WGS84:
        notes.append(f"KML can only name WGS 84: the places are those of {crs}, and no word of that is in the file")
    if form.driver == "GeoJSON" and crs != _WGS84:
        notes.append(f"RFC 7946 knows WGS 84 only; {crs} is named in the older member crs")
    files = _files(path, full, form)
    _refuse_to_replace([path.with_name(name) for name, _ in files], replace=replace)
    with _beside(path) as folder:
        job = {
            "do": "write",
            "files": [
                {"path": str(Path(folder) / name), "layers": [_asked(layer) for layer in own]} for name, own in files
            ],
            "crs": _WGS84 if form.driver == "LIBKML" else crs,
            "options": dict(_OPTIONS.get(form.driver, {})),
        }
        shapes = [shape for _, own in files for layer in own for shape in layer.shapes]
        head, _ = ask(job, driver=form.driver, folder=folder, path=path, shapes=shapes)
        made = sorted(Path(folder).iterdir())
        places = [path.with_name(one.name) for one in made]
        _refuse_to_replace(places, replace=replace)
        for one, place in zip(made, places, strict=True):
            os.replace(one, place)
    return Written(tuple(places), (*notes, *head["notes"]))


@contextmanager
def _beside(path: Path) -> Iterator[str]:
    """A private folder beside the place; trouble with either is the user's to know."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        # Absolute, because the child works in a folder of its own; Python before 3.12 gives it as it was named.
        with tempfile.TemporaryDirectory(prefix=".taskkit-gis-", dir=path.parent.absolute()) as folder:
            yield folder
    except OSError as error:
        remedy = "Is there room, and the right to write?"
        raise InputError(f"cannot be written: {error.strerror}", path=path, remedy=remedy) from error


def _refuse_to_replace(places: Sequence[Path], *, replace: bool) -> None:
    there = [str(place) for place in places if place.exists()]
    if there and not replace:
        raise RefusedError(f"{', '.join(there[:3])} is there already; nothing was written. Replace it with --overwrite")


def _files(path: Path, layers: Sequence[Layer], form: Format) -> list[tuple[str, list[Layer]]]:
    """The names of the files, and the layers in each."""
    if form.layers or form.driver == "LIBKML" or len(layers) == 1:
        return [(path.name, list(layers))]
    if form.driver in ("GeoJSON", "CSV"):
        return [(path.name, [_together(path.stem, layers)])]
    return [(f"{path.stem}_{layer.name}{path.suffix}", [layer]) for layer in layers]


def _together(name: str, layers: Sequence[Layer]) -> Layer:
    """One layer with the features of all, the columns of all, and a first column that says which is whose."""
    columns: dict[str, list[Value]] = {"layer": [layer.name for layer in layers for _ in layer.shapes]}
    for column in dict.fromkeys(column for layer in layers for column in layer.columns):
        columns[column] = [value for layer in layers for value in layer.columns.get(column, [None] * len(layer.shapes))]
    return Layer(name, "", columns, [shape for layer in layers for shape in layer.shapes])


def _asked(layer: Layer) -> dict[str, Any]:
    columns = [
        (name, any(isinstance(value, float | int) for value in column), list(column))
        for name, column in layer.columns.items()
    ]
    return {"name": layer.name, "sort": layer.sort or None, "columns": columns, "count": len(layer.shapes)}
