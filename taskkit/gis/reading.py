"""Shapes out of GIS files: what may be read, a private copy of it, and what the child process found in it."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from taskkit.errors import InputError, UnsafeInputError
from taskkit.gis.formats import Format, accepted, format_of, kml_in_kmz, named_system, refuse_disguise
from taskkit.gis.process import ARC_STEP_DEG, ask
from taskkit.packed import MAX_FILE_BYTES, Packed

__all__ = ["SORTS", "Shapes", "read_areas", "read_shapes"]

SORTS = ("area", "line", "point")
"""What a feature can be; several of one sort may stand in one feature."""

_WGS84 = "EPSG:4326"
_MEANS_WGS84 = re.compile(r"CRS:?84|WGS ?_?84|4326", re.IGNORECASE)
_SAFE_NAME = re.compile(r"\w[\w .()-]{0,60}")


@dataclass(frozen=True, slots=True)
class Shapes:
    """The features of a layer, in its order.

    Attributes:
        crs: their coordinate system, as WKT or as authority and code.
        rows: for each feature the columns that were asked for, as text; None where a value is missing.
        shapes: for each feature its shape as well-known binary.
        epoch: when the coordinates held, as a year; None where the file does not say.
        notes: what was remarkable, in sentences.
    """

    crs: str
    rows: tuple[Mapping[str, str | None], ...]
    shapes: tuple[bytes, ...]
    epoch: float | None
    notes: tuple[str, ...]


def read_areas(path: Path | str, *, columns: Sequence[str] = (), layer: str | None = None) -> Shapes:
    """Read a layer that has areas only; see ``read_shapes``."""
    return read_shapes(path, columns=columns, layer=layer, sorts=("area",))


def read_shapes(
    path: Path | str, *, columns: Sequence[str] = (), layer: str | None = None, sorts: Sequence[str] = SORTS
) -> Shapes:
    """Read all features of a layer of a GeoPackage, Shapefile, GeoJSON, KML, FlatGeobuf or GML file, also in a zip.

    A child process reads a private copy with one driver loaded, without network, within bounds of memory and time;
    the user's folder is not touched. KML, and GeoJSON that names no system, are in WGS 84 by definition (OGC
    12-007r2; RFC 7946). East comes first, whatever the order in the file. Arcs are drawn as corners.

    Args:
        path: the file.
        columns: the columns to read.
        layer: which layer, where there are several.
        sorts: which sorts of shapes are taken.

    Raises:
        InputError: format, layer, column, coordinate system or a shape that cannot be taken.
        UnsafeInputError: it breaks a bound.
    """
    path = Path(path)
    with tempfile.TemporaryDirectory(prefix="taskkit-gis-") as folder:
        copy, form, notes, named = _private_copy(path, Path(folder))
        # The name of the only layer is that of the file, in one form or another.
        wanted = None if layer == copy.stem and not form.layers else layer
        job = {
            "do": "read", "path": str(copy), "title": form.title, "layer": wanted, "columns": list(columns),
            "sorts": list(sorts), "curves": form.curves,
        }  # fmt: skip
        head, shapes = ask(job, driver=form.driver, folder=folder, path=path)
    if not head["crs"]:
        remedy = "Put its .prj file beside it" if ".prj" in form.beside else "Give the layer a coordinate system"
        raise InputError("it does not say which coordinate system it is in", path=path, remedy=remedy)
    if named and head["crs"] == _WGS84 and not _MEANS_WGS84.search(named):
        remedy = "Save it again in WGS 84, or in a format that names its system"
        raise InputError(
            f"the coordinate system that it names is not understood: {named[:80]}", path=path, remedy=remedy
        )
    of_all = f"of {len(shapes)} {'areas' if tuple(sorts) == ('area',) else 'shapes'}"
    if head["heights"]:
        notes.append(f"{head['heights']} {of_all} have heights; they were left out")
    if head["arcs"]:
        drawn = f"drawn as corners {ARC_STEP_DEG:g} degrees apart, at most 5 mm off where the radius is 500 m"
        notes.append(f"{head['arcs']} {of_all} have arcs; they were {drawn}")
    notes += [f"GDAL said: {said}" for said in head["said"]]
    return Shapes(head["crs"], tuple(head["rows"]), tuple(shapes), head["epoch"], tuple(notes))


def _private_copy(path: Path, folder: Path) -> tuple[Path, Format, list[str], str | None]:
    """Copy what belongs together; the main file, its format, what was remarkable, and the system that it names."""
    if not path.is_file():
        raise InputError("there is no such file", path=path, remedy=accepted(read=True))
    notes: list[str] = []
    named = None
    packed = Packed(path) if path.suffix.lower() in (".zip", ".kmz") else None
    if packed is not None:
        names: list[str] = list(packed.names)
        main = _main_of(path, packed)
    else:
        beside = {other.name: other for other in path.parent.iterdir() if other.stem == path.stem and other.is_file()}
        names, main = [path.name, *(name for name in beside if name != path.name)], path.name
    form = format_of(main, read=True)
    if form is None:
        raise InputError(f"{accepted(read=True)}; it is none of them", path=path, remedy="Name one such file")
    stem = PurePosixPath(main).with_suffix("")
    called = stem.name if _SAFE_NAME.fullmatch(stem.name) else "areas"
    for name in names:
        suffix = PurePosixPath(name).suffix.lower()
        if name == main or (suffix in form.beside and PurePosixPath(name).with_suffix("") == stem):
            data = packed.read(name) if packed else _bytes(path.with_name(name))
            if name == main:
                refuse_disguise(data, form, path)
                named = named_system(data, form)
            (folder / f"{called}{suffix}").write_bytes(data)
    # What a program that has a GeoPackage open has not put into it yet.
    open_elsewhere = path.with_name(path.name + "-wal")
    if form.driver == "GPKG" and packed is None and open_elsewhere.is_file() and open_elsewhere.stat().st_size:
        notes.append("another program has the file open; what it has not put into it yet is not read")
    return folder / f"{called}{PurePosixPath(main).suffix.lower()}", form, notes, named


def _main_of(path: Path, packed: Packed) -> str:
    if path.suffix.lower() == ".kmz":
        main = kml_in_kmz(packed.names)
        if main is None:
            raise InputError("it holds no .kml file", path=path)
        return main
    mains = [name for name in packed.names if format_of(name, read=True) and not name.lower().endswith(".kmz")]
    if len(mains) != 1:
        found = f"it holds {len(mains)} of them: {', '.join(mains[:9])}" if mains else "it holds none of them"
        raise InputError(f"{accepted(read=True)}; {found}", path=path, remedy="Name one such file")
    return mains[0]


def _bytes(path: Path) -> bytes:
    try:
        if path.stat().st_size > MAX_FILE_BYTES:
            raise UnsafeInputError(f"larger than {MAX_FILE_BYTES >> 20} MiB", path=path)
        return path.read_bytes()
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", path=path) from error
