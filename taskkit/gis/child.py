"""The child process that reads GIS files: the only code that loads GDAL, fenced in before it does.

Run as ``python -m taskkit.gis.child DRIVER`` by ``taskkit.gis.reading``. It takes one request as JSON on standard
input, ``{"path", "layer", "columns"}``, and gives one answer on standard output: eight bytes with the length of a
JSON text (big-endian), that text, and behind it the shapes as well-known binary, one after another. The text is
either ``{"error", "remedy"}`` or ``{"crs", "columns", "rows", "sizes", "notes"}``.
"""

from __future__ import annotations

import json
import os
import sqlite3
import struct
import sys
import warnings
from collections.abc import Iterable, Mapping
from contextlib import closing
from typing import Any
from urllib.parse import quote

import numpy as np
import numpy.typing as npt

__all__ = ["CPU_SECONDS", "GEOPACKAGE", "MEMORY_BYTES", "SHAPEFILE", "main"]

GEOPACKAGE = "GPKG"
SHAPEFILE = "ESRI Shapefile"

_DRIVERS = (
    *("ADBC", "AIVector", "AVCBin", "AVCE00", "AmigoCloud", "CSV", "CSW", "Carto", "DGN", "DXF", "EDIGEO", "EEDA"),
    *("ESRI Shapefile", "ESRIJSON", "Elasticsearch", "FlatGeobuf", "GDALG", "GML", "GPKG", "GPSBabel", "GPX", "GTFS"),
    *("GeoJSON", "GeoJSONSeq", "GeoRSS", "HTTP", "Idrisi", "JML", "JSONFG", "KML", "LIBKML", "LVBAG", "MBTiles", "MEM"),
    *(
        "MVT",
        "MapInfo File",
        "MapML",
        "MiraMonVector",
        "NGW",
        "OAPIF",
        "ODS",
        "OGCAPI",
        "OGR_GMT",
        "OGR_PDS",
        "OGR_VRT",
    ),
    *(
        "OSM",
        "OpenFileGDB",
        "PCIDSK",
        "PDF",
        "PDS4",
        "PGDUMP",
        "PLSCENES",
        "PMTiles",
        "S57",
        "SQLite",
        "SXF",
        "Selafin",
    ),
    *("TopoJSON", "VDV", "VFK", "VICAR", "WAsP", "WFS", "XLSX"),
)
"""The vector drivers of GDAL 3.12 as pyogrio ships it: knowing them saves a second start, nothing else."""

MEMORY_BYTES = 4 << 30
"""Address space; importing numpy and GDAL takes about 1 GiB of it."""

CPU_SECONDS = 120

_WRITTEN_BYTES = 16 << 20
"""Largest file that the child may write; it has no need to write any."""

_KINDS = {
    1: "a point",
    2: "a line",
    4: "a set of points",
    5: "a set of lines",
    7: "a collection",
    10: "an area with curved edges",
    12: "an area with curved edges",
}
"""Kinds of shape by their code in well-known binary (OGC 06-103r4, table 7)."""

_AREAS = (3, 6)
_HEIGHT_BIT = 1 << 31
_KIND_BITS = _HEIGHT_BIT - 1

_SHAPEFILE_KINDS = (
    dict.fromkeys((1, 8, 11, 18, 21, 28), "points") | dict.fromkeys((3, 13, 23), "lines") | {31: "surfaces"}
)
"""Kinds of shape in a Shapefile that are no areas, by the code in its head (technical description of July 1998)."""

_EXACT = 1 << 53
"""Integers below this are exact as floats, which is what GDAL's integers become beside gaps."""


class _UnreadableError(Exception):
    """The file cannot be used; the message is for the user."""

    def __init__(self, message: str, remedy: str | None = None) -> None:
        super().__init__(message)
        self.remedy = remedy


def main(driver: str) -> None:
    """Answer one request.

    Args:
        driver: the only GDAL driver that is to be there.
    """
    _limit()
    _keep_only(driver)
    # GDAL and the libraries below it write to standard output now and then; the answer must stay alone there.
    with os.fdopen(os.dup(1), "wb") as answer:
        os.dup2(2, 1)
        request = json.load(sys.stdin)
        shapes: list[bytes] = []
        try:
            head, shapes = _areas(driver, request["path"], request["layer"], request["columns"])
        except _UnreadableError as error:
            head = {"error": str(error), "remedy": error.remedy}
        except MemoryError:
            head = {"error": "reading it takes more memory than is allowed", "remedy": None}
        text = json.dumps(head).encode()
        answer.write(struct.pack(">Q", len(text)) + text)
        answer.writelines(shapes)


def _limit() -> None:
    try:
        import resource
    except ImportError:  # Not a system with limits of this kind; the parent's time limit is left.
        return
    for what, most in (
        (resource.RLIMIT_AS, MEMORY_BYTES),
        (resource.RLIMIT_CPU, CPU_SECONDS),
        (resource.RLIMIT_FSIZE, _WRITTEN_BYTES),
        (resource.RLIMIT_CORE, 0),
    ):
        _, hard = resource.getrlimit(what)
        resource.setrlimit(what, (most if hard == resource.RLIM_INFINITY else min(most, hard), hard))


def _keep_only(driver: str) -> None:
    """Load GDAL with every other driver left out; it looks at the list once, before it is asked for anything.

    Where this GDAL has drivers that we do not know of, start over with those on the list as well.
    """
    known = os.environ.get("GDAL_SKIP")
    os.environ["GDAL_SKIP"] = known or ",".join(sorted(set(_DRIVERS) - {driver}))
    import pyogrio

    others = set(pyogrio.list_drivers()) - {driver}
    if others and known is None:
        os.environ["GDAL_SKIP"] += "," + ",".join(sorted(others))
        os.execv(sys.executable, [sys.executable, "-P", "-m", "taskkit.gis.child", driver])


def _areas(driver: str, path: str, layer: str | None, columns: list[str]) -> tuple[dict[str, Any], list[bytes]]:
    import pyogrio
    from pyogrio.errors import DataLayerError, DataSourceError

    # Where this pyogrio has more to say, e.g. on measures, we have said it ourselves.
    warnings.simplefilter("ignore")
    try:
        layer = _chosen(pyogrio.list_layers(path).tolist(), layer)
        info = pyogrio.read_info(path, layer=layer)
        known = [str(name) for name in info["fields"]]
        _refuse_unknown(columns, known)
        if not info["crs"]:
            raise _UnreadableError(
                "it does not say which coordinate system it is in",
                "Set the system in the program that wrote it (for a Shapefile, the .prj file) and write it again",
            )
        codes = _codes_of_geopackage(path, layer, info) if driver == GEOPACKAGE else _codes_of_shapefile(path)
        _refuse_others(codes)
        meta, _, shapes, values = pyogrio.raw.read(
            path, layer=layer, columns=columns, force_2d=True, datetime_as_string=True
        )
        texts = {
            str(name): _texts(str(name), column, str(dtype))
            for name, column, dtype in zip(meta["fields"], values, meta["dtypes"], strict=True)
        }
    except (DataSourceError, DataLayerError, sqlite3.Error) as error:
        raise _UnreadableError(f"GDAL cannot read it ({_without_path(str(error), path)})") from None
    except UnicodeDecodeError as error:
        raise _UnreadableError(
            f"its text is not in the encoding that it names ({error.encoding})",
            "For a Shapefile, name the encoding in a .cpg file beside it",
        ) from None
    chosen = [b"" if shape is None or _empty(shape) else bytes(shape) for shape in shapes]
    if b"" in chosen:
        # What GDAL cannot make out looks the same: leaving it out could lose a field.
        raise _UnreadableError(f"feature {chosen.index(b'') + 1} has no shape", "Draw its outline or remove it")
    _refuse_others((number, _code(shape)) for number, shape in enumerate(chosen, 1))
    high = any(code // 1000 or code & _HEIGHT_BIT for _, code in codes)
    notes = ["heights or measures of points were left out"] if high else []
    rows = [[texts[name][number] for name in columns] for number in range(len(chosen))]
    head = {"crs": info["crs"], "columns": known, "rows": rows, "sizes": list(map(len, chosen)), "notes": notes}
    return head, chosen


def _chosen(layers: list[list[str | None]], wanted: str | None) -> str:
    """The layer to read: the one asked for, or the only one with shapes."""
    names = [str(name) for name, kind in layers if kind is not None]
    listed = ", ".join(map(repr, names))
    if wanted is not None:
        if wanted not in names:
            raise _UnreadableError(
                f"it has no layer {wanted!r} with shapes", f"Choose from {listed}" if names else None
            )
        return wanted
    if not names:
        raise _UnreadableError("it has no layer with shapes")
    if len(names) > 1:
        raise _UnreadableError(f"it has several layers: {listed}", "Name one of them as the layer")
    return names[0]


def _refuse_unknown(columns: list[str], known: list[str]) -> None:
    for column in columns:
        if column not in known:
            listed = ", ".join(map(repr, known))
            raise _UnreadableError(f"it has no column {column!r}", f"Choose from {listed}" if known else None)


def _refuse_others(codes: Iterable[tuple[int, int]]) -> None:
    for number, code in codes:
        if code & _KIND_BITS and (code & _KIND_BITS) % 1000 not in _AREAS:
            kind = _KINDS.get((code & _KIND_BITS) % 1000, "a shape of another kind")
            raise _UnreadableError(f"feature {number} is {kind}, not an area", "Keep only areas with straight edges")


def _codes_of_geopackage(path: str, layer: str, info: Mapping[str, Any]) -> list[tuple[int, int]]:
    """The number of each feature and the code of its kind of shape; pyogrio would straighten curves without a word.

    A shape in a GeoPackage begins with eight bytes and an envelope whose size the fourth of them gives (OGC
    12-128r18, 2.1.3); the shape follows as well-known binary.
    """
    column, key = info["geometry_name"] or "geom", info["fid_column"] or "rowid"
    query = f"SELECT substr({_quoted(column)}, 1, 77) FROM {_quoted(layer)} ORDER BY {_quoted(key)}"
    with closing(sqlite3.connect(f"file:{quote(path)}?mode=ro", uri=True)) as database:
        database.execute("PRAGMA trusted_schema = OFF")
        heads = [head for (head,) in database.execute(query)]
    codes = []
    for number, head in enumerate(heads, 1):
        if isinstance(head, bytes) and len(head) >= 8:
            begin = 8 + {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}.get(head[3] >> 1 & 7, 0)
            codes.append((number, _code(head[begin:])))
    return codes


def _codes_of_shapefile(path: str) -> list[tuple[int, int]]:
    """The kind of all shapes, from the head of the file, as a code of well-known binary; no feature but the first."""
    with open(path, "rb") as file:
        (kind,) = struct.unpack("<i", file.read(100)[32:36])
    if kind in _SHAPEFILE_KINDS:
        raise _UnreadableError(f"it holds {_SHAPEFILE_KINDS[kind]}, not areas", "Name a file of areas")
    return [(1, {15: 3003, 25: 2003}.get(kind, 3))]


def _code(wkb: bytes) -> int:
    if len(wkb) < 5:
        return 0
    return int.from_bytes(wkb[1:5], "little" if wkb[0] else "big")


def _empty(wkb: bytes) -> bool:
    return len(wkb) <= 9 and not any(wkb[5:9])


def _texts(name: str, values: npt.NDArray[Any], declared: str) -> list[str | None]:
    """A column's values as text; None where there is none."""
    if values.dtype.kind == "f" and declared.startswith(("int", "uint")) and (np.abs(values) >= _EXACT).any():
        raise _UnreadableError(
            f"the column {name!r} has integers too large to be read beside gaps", "Make it a column of text"
        )
    return [_text(value) for value in values.tolist()]


def _text(value: Any) -> str | None:
    if value is None or value != value:
        return None
    if isinstance(value, bytes):
        return value.decode("utf-8", "replace")
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < _EXACT else repr(value)
    return str(value)


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _without_path(message: str, path: str) -> str:
    return " ".join(message.replace(path, "the file").split()).rstrip(".")


if __name__ == "__main__":
    main(sys.argv[1])
