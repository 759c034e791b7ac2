"""Areas out of GIS files: what may be read, a private copy of it, and the child process that reads."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from taskkit.errors import InputError, UnsafeInputError
from taskkit.gis.child import HEAD, SECONDS
from taskkit.packed import MAX_FILE_BYTES, Packed

__all__ = ["Areas", "read_areas"]


@dataclass(frozen=True, slots=True)
class _Format:
    """A file format that is read.

    Attributes:
        driver: its name in GDAL; no other driver is loaded.
        suffix: the end of its files' names.
        begins: the bytes that each of them begins with.
        beside: the ends of the files that belong to it.
    """

    driver: str
    suffix: str
    begins: bytes
    beside: tuple[str, ...] = ()


_FORMATS = (
    _Format("GPKG", ".gpkg", b"SQLite format 3\0"),
    # File code 9994, big-endian (ESRI Shapefile Technical Description, 1998, page 4).
    _Format("ESRI Shapefile", ".shp", (9994).to_bytes(4, "big"), (".shx", ".dbf", ".prj", ".cpg")),
)
# The vector drivers of GDAL (3.8 to 3.13) but for those above: none of them is to be loaded. What is not in the
# list cannot be reached either: the beginning of the file decides before GDAL sees it, and the child asks which
# driver took it.
_OTHER_DRIVERS = (
    "MEM", "PCIDSK", "PDS4", "VICAR", "PDF", "MBTiles", "EEDA", "OGCAPI", "GDALG", "MapInfo File", "LVBAG",
    "S57", "DGN", "OGR_VRT", "CSV", "GML", "GPX", "LIBKML", "KML", "GeoJSON", "GeoJSONSeq", "ESRIJSON",
    "TopoJSON", "OGR_GMT", "SQLite", "WAsP", "OpenFileGDB", "DXF", "FlatGeobuf", "GeoRSS", "VFK", "PGDUMP",
    "OSM", "GPSBabel", "OGR_PDS", "WFS", "OAPIF", "EDIGEO", "Idrisi", "ODS", "XLSX", "Elasticsearch", "Carto",
    "AmigoCloud", "SXF", "Selafin", "JML", "PLSCENES", "CSW", "VDV", "MVT", "NGW", "MapML", "GTFS", "PMTiles",
    "JSONFG", "MiraMonVector", "ADBC", "AVCBin", "AVCE00", "AIVector", "HTTP",
)  # fmt: skip
_ACCEPTED = "GeoPackage (.gpkg) and Shapefile (.shp) are read, also in a .zip"


@dataclass(frozen=True, slots=True)
class Areas:
    """The areas of a file, in its order.

    Attributes:
        crs: their coordinate system, as WKT or as authority and code.
        rows: for each area the columns that were asked for, as text; None where a value is missing.
        shapes: for each area its outline as well-known binary.
        notes: what was remarkable, in sentences.
    """

    crs: str
    rows: tuple[Mapping[str, str | None], ...]
    shapes: tuple[bytes, ...]
    notes: tuple[str, ...]


def read_areas(path: Path | str, *, columns: Sequence[str] = (), layer: str | None = None) -> Areas:
    """Read all areas of a GeoPackage or Shapefile, also in a zip.

    A child process reads a private copy with one driver loaded, without network, within bounds of memory and time;
    the user's folder is not touched.

    Args:
        path: the file.
        columns: the columns to read.
        layer: which layer, where there are several.

    Raises:
        InputError: format, layer, column, coordinate system or a shape that cannot be taken.
        UnsafeInputError: it breaks a bound.
    """
    path = Path(path)
    with tempfile.TemporaryDirectory(prefix="taskkit-gis-") as folder:
        copy, form = _private_copy(path, Path(folder))
        request = {"path": str(copy), "driver": form.driver, "layer": layer, "columns": list(columns)}
        head, body = _ask(request, path, folder)
    if head.get("error"):
        raise InputError(head["error"], path=path, remedy=head["remedy"])
    if not head["crs"]:
        remedy = "Put its .prj file beside it" if form.suffix == ".shp" else "Give the layer a coordinate system"
        raise InputError("it does not say which coordinate system it is in", path=path, remedy=remedy)
    shapes, begin = [], 0
    for length in head["lengths"]:
        shapes.append(body[begin : begin + length])
        begin += length
    return Areas(head["crs"], tuple(head["rows"]), tuple(shapes), tuple(head["notes"]))


def _private_copy(path: Path, folder: Path) -> tuple[Path, _Format]:
    """Copy what belongs together under a name of ours; the path of the main file, and its format."""
    if not path.is_file():
        raise InputError("there is no such file", path=path, remedy=_ACCEPTED)
    if path.suffix.lower() == ".zip":
        packed = Packed(path)
        files = dict.fromkeys(packed.names, packed.read)
        names = list(files)
    else:
        beside = {other.name: other for other in path.parent.iterdir() if other.stem == path.stem and other.is_file()}
        names, packed = [path.name, *(name for name in beside if name != path.name)], None
    mains = [(name, form) for name in names for form in _FORMATS if name.lower().endswith(form.suffix)]
    if packed is None:
        mains = [(name, form) for name, form in mains if name == path.name]
    if len(mains) != 1:
        found = f"it holds {len(mains)} of them: {', '.join(n for n, _ in mains)}" if mains else "it is neither"
        raise InputError(f"{_ACCEPTED}; {found}", path=path, remedy="Name one such file")
    main, form = mains[0]
    stem = PurePosixPath(main).with_suffix("")
    for name in names:
        suffix = PurePosixPath(name).suffix.lower()
        if name == main or (suffix in form.beside and PurePosixPath(name).with_suffix("") == stem):
            data = packed.read(name) if packed else _bytes(path.with_name(name))
            if name == main and not data.startswith(form.begins):
                raise InputError(f"its content is no {form.driver} file", path=path, remedy=_ACCEPTED)
            (folder / f"areas{suffix}").write_bytes(data)
    return folder / f"areas{form.suffix}", form


def _bytes(path: Path) -> bytes:
    try:
        if path.stat().st_size > MAX_FILE_BYTES:
            raise UnsafeInputError(f"larger than {MAX_FILE_BYTES >> 20} MiB", path=path)
        return path.read_bytes()
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", path=path) from error


def _ask(request: Mapping[str, Any], path: Path, folder: str) -> tuple[dict[str, Any], bytes]:
    try:
        done = subprocess.run(
            [sys.executable, "-m", "taskkit.gis.child"],
            input=json.dumps(request).encode(),
            capture_output=True,
            timeout=SECONDS,
            env=_environment(folder),
            cwd=folder,
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise UnsafeInputError(f"it could not be read within {SECONDS} seconds", path=path) from None
    answer = done.stdout
    if done.returncode != 0 or len(answer) < HEAD.size:
        said = done.stderr.decode("utf-8", "replace").strip().splitlines()
        raise InputError(f"it could not be read: {said[-1] if said else 'the reader ended early'}"[:300], path=path)
    head_bytes, body_bytes = HEAD.unpack_from(answer)
    head = json.loads(answer[HEAD.size : HEAD.size + head_bytes])
    return head, answer[HEAD.size + head_bytes : HEAD.size + head_bytes + body_bytes]


def _environment(folder: str) -> dict[str, str]:
    """What GDAL is told before it starts: it reads its settings and registers its drivers only then."""
    package = str(Path(__file__).resolve().parents[2])
    kept = {name: os.environ[name] for name in ("PATH", "LANG", "LC_ALL", "SYSTEMROOT") if name in os.environ}
    inherited = {name: value for name, value in os.environ.items() if name.startswith(("COVERAGE", "COV_"))}
    return {
        **kept,
        **inherited,
        "PYTHONPATH": os.pathsep.join(filter(None, (package, os.environ.get("PYTHONPATH")))),
        "TMPDIR": folder,
        "OPENBLAS_NUM_THREADS": "1",
        "OGR_SKIP": ",".join(_OTHER_DRIVERS),
        "GDAL_DRIVER_PATH": "disable",
        "GDAL_DISABLE_READDIR_ON_OPEN": "TRUE",
        "GDAL_PAM_ENABLED": "NO",
        "GDAL_HTTP_MAX_RETRY": "0",
        "CPL_VSIL_CURL_ALLOWED_EXTENSIONS": ".none",
        "CPL_TMPDIR": folder,
        "OGR_SQLITE_LOAD_EXTENSIONS": "NO",
        "SHAPE_RESTORE_SHX": "NO",
        "PROJ_NETWORK": "OFF",
    }
