"""Areas and columns from a GIS file, read in a child process on a private copy."""

from __future__ import annotations

import json
import os
import shutil
import signal
import struct
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path, PurePath, PurePosixPath
from typing import Any, TypeVar

import numpy as np

import taskkit
from taskkit.errors import InputError, InternalError, UnsafeInputError
from taskkit.packed import MAX_FILE_BYTES, Packed

__all__ = ["Areas", "read_areas"]

_SECONDS = 300
"""How long the child may take by the clock."""

_GEOPACKAGE, _SHAPEFILE = "GPKG", "ESRI Shapefile"
"""The names that GDAL has for the two formats."""

_SQLITE_BEGINNING = b"SQLite format 3\0"
_SHAPEFILE_BEGINNING = b"\0\0\x27\x0a"
_ZIP_BEGINNING = b"PK"

# What the Shapefile's description calls for (.shx, .dbf), and what says how to read it.
_NEEDED = {".shx": "its index", ".dbf": "its columns", ".prj": "its coordinate system"}
_WELCOME = (".cpg",)

# GDAL is told to leave the network, other files and other drivers alone before it starts.
_FENCE = {
    "CPL_VSIL_CURL_ALLOWED_EXTENSIONS": ".none",
    "GDAL_CONFIG_FILE": os.devnull,
    "GDAL_DRIVER_PATH": "disable",
    "GDAL_PAM_ENABLED": "NO",
    "GDAL_VRT_ENABLE_PYTHON": "NO",
    "OPENBLAS_NUM_THREADS": "1",
    "PROJ_NETWORK": "OFF",
    "SHAPE_RESTORE_SHX": "NO",
}
_SETTINGS_OF_OTHERS = ("CPL_", "GDAL_", "OGR_", "PROJ_", "SHAPE_", "SQLITE_", "VSI_")


_File = TypeVar("_File", Path, str)


@dataclass(frozen=True, slots=True)
class Areas:
    """What a GIS file says, in the order of the file.

    Attributes:
        crs: the coordinate system, as authority and code or as WKT.
        columns: the names of all columns of the layer.
        rows: of each area, the text in each column that was asked for; None where it is empty.
        shapes: of each area, its shape as well-known binary: polygons and multi-polygons without heights.
        notes: what was left out, in sentences.
    """

    crs: str
    columns: tuple[str, ...]
    rows: tuple[Mapping[str, str | None], ...]
    shapes: tuple[bytes, ...]
    notes: tuple[str, ...]


def read_areas(path: Path | str, *, columns: Sequence[str] = (), layer: str | None = None) -> Areas:
    """The areas of a GeoPackage or a Shapefile, each also in a zip.

    What the file is goes by its first bytes, not by its name. Nothing is written beside it and nothing is fetched.

    Args:
        path: the file; for a Shapefile, the one that ends in .shp, with its companions beside it.
        columns: the columns wanted.
        layer: which layer of a GeoPackage, or which Shapefile of a zip, where there are several.

    Raises:
        InputError: it is of no such format, or lacks something; it has no areas, several layers, no such column.
        UnsafeInputError: it breaks a bound of size, time or memory, or a zip is not what it says.
        InternalError: the child failed in a way that is our fault.
    """
    path = Path(path)
    wanted = list(dict.fromkeys(columns))
    with tempfile.TemporaryDirectory(prefix="taskkit-") as folder:
        copy, layer = _copied(path, Path(folder), layer)
        driver = _GEOPACKAGE if copy.suffix == ".gpkg" else _SHAPEFILE
        head, shapes = _answered(path, driver, {"path": str(copy), "layer": layer, "columns": wanted})
    if "error" in head:
        raise InputError(head["error"], path=path, remedy=head["remedy"])
    rows = tuple(dict(zip(wanted, row, strict=True)) for row in head["rows"])
    return Areas(head["crs"], tuple(head["columns"]), rows, tuple(shapes), tuple(head["notes"]))


def _copied(path: Path, folder: Path, layer: str | None) -> tuple[Path, str | None]:
    """A private copy under a plain name, and the layer to ask for in it."""
    try:
        with path.open("rb") as file:
            begin = file.read(16)
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", path=path) from error
    if begin.startswith(_ZIP_BEGINNING):
        return _unpacked(path, folder, layer)
    if begin == _SQLITE_BEGINNING:
        files = {".gpkg": path}
        # What a program that has the file open did not yet write into it.
        log = path.with_name(path.name + "-wal")
        files |= {".gpkg-wal": log} if log.is_file() else {}
    elif begin.startswith(_SHAPEFILE_BEGINNING):
        files = _companions(path, {p.name: p for p in path.parent.iterdir()})
        layer = None
    else:
        raise InputError(
            "neither a GeoPackage nor a Shapefile (.shp), nor a zip of one",
            path=path,
            remedy="Write it as a GeoPackage in a system on ETRS89, such as EPSG:25832",
        )
    for ending, source in files.items():
        if source.stat().st_size > MAX_FILE_BYTES:
            raise UnsafeInputError(f"larger than {MAX_FILE_BYTES >> 20} MiB", path=source)
        shutil.copyfile(source, folder / f"source{ending}")
    return folder / f"source{next(iter(files))}", layer


def _unpacked(path: Path, folder: Path, layer: str | None) -> tuple[Path, str | None]:
    packed = Packed(path)
    names = [n for n in packed.names if not n.startswith("__MACOSX/") and not PurePosixPath(n).name.startswith(".")]
    found = [name for name in names if name.lower().endswith((".gpkg", ".shp"))]
    named = [name for name in found if PurePosixPath(name).stem == layer]
    if len(found) > 1 and len(named) == 1:
        found, layer = named, None
    if len(found) != 1:
        listed = ", ".join(found)
        raise InputError(
            f"the zip holds several files: {listed}" if found else "the zip holds neither a GeoPackage nor a Shapefile",
            path=path,
            remedy="Name one of them, without its ending, as the layer, or pack it alone" if found else None,
        )
    main = PurePosixPath(found[0])
    if main.suffix.lower() == ".gpkg":
        files, beginning = {".gpkg": found[0]}, _SQLITE_BEGINNING
    else:
        beside = {PurePosixPath(n).name: n for n in names if PurePosixPath(n).parent == main.parent}
        files, beginning, layer = _companions(main, beside, inside=path), _SHAPEFILE_BEGINNING, None
    for ending, name in files.items():
        data = packed.read(name)
        if name == found[0] and not data.startswith(beginning):
            raise InputError(f"{name} is not what its ending says", path=path)
        (folder / f"source{ending}").write_bytes(data)
    return folder / f"source{main.suffix.lower()}", layer


def _companions(main: PurePath, beside: Mapping[str, _File], *, inside: Path | None = None) -> dict[str, _File]:
    """The files that make up a Shapefile, by their endings; endings may be in capitals."""
    own = {PurePosixPath(n).suffix.lower(): f for n, f in sorted(beside.items()) if PurePosixPath(n).stem == main.stem}
    for ending, what in _NEEDED.items():
        if ending not in own:
            raise InputError(
                f"the file {main.stem}{ending} with {what} is missing beside {main.name}",
                path=inside or str(main),
                remedy=f"A Shapefile is several files: keep {', '.join(('.shp', *_NEEDED))} together",
            )
    return {ending: own[ending] for ending in (".shp", *_NEEDED, *_WELCOME) if ending in own}


def _answered(path: Path, driver: str, request: Mapping[str, Any]) -> tuple[dict[str, Any], list[bytes]]:
    """What the child says: the head of its answer and the shapes."""
    kept = {k: v for k, v in os.environ.items() if not k.upper().startswith(_SETTINGS_OF_OTHERS)}
    home = str(Path(taskkit.__file__).parents[1])
    # The child must not import what lies where it happens to be started: hence this, and -P.
    search = [entry for entry in os.environ.get("PYTHONPATH", "").split(os.pathsep) if Path(entry).is_absolute()]
    command = [sys.executable, "-P", "-m", "taskkit.gis.child", driver]
    env = {**kept, **_FENCE, "PYTHONPATH": os.pathsep.join((home, *search))}
    try:
        child = subprocess.run(
            command, input=json.dumps(request).encode(), capture_output=True, env=env, timeout=_SECONDS, check=False
        )
    except subprocess.TimeoutExpired:
        raise UnsafeInputError(f"reading it took more than {_SECONDS} s", path=path) from None
    if child.returncode:
        raise _broken_off(path, child.returncode, child.stderr)
    answer = child.stdout
    (length,) = struct.unpack(">Q", answer[:8])
    head = json.loads(answer[8 : 8 + length])
    ends = np.cumsum([8 + length, *head.get("sizes", ())]).tolist()
    return head, [answer[begin:end] for begin, end in pairwise(ends)]


def _broken_off(path: Path, code: int, told: bytes) -> Exception:
    last = (told.decode("utf-8", "replace").strip().splitlines() or [""])[-1]
    if code in (-signal.SIGXCPU, -signal.SIGKILL, -signal.SIGABRT) or "MemoryError" in last:
        return UnsafeInputError("reading it took more time or memory than is allowed", path=path)
    if code < 0:
        return InputError(f"GDAL broke down on it (signal {-code})", path=path, remedy="Write the file again")
    return InternalError(f"reading {path} failed: {last}")
