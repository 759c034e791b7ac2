"""The GIS formats that are read and written: their names, how their files begin, and what GDAL is told of each."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import PurePosixPath
from xml.parsers import expat

from taskkit.errors import InputError, UnsafeInputError

__all__ = ["ALL_DRIVERS", "FORMATS", "Format", "accepted", "format_of", "kml_in_kmz", "named_system", "refuse_disguise"]

# Every vector driver of GDAL 3.8 to 3.13; a child loads one of them.
ALL_DRIVERS = (
    "MEM", "PCIDSK", "PDS4", "VICAR", "PDF", "MBTiles", "EEDA", "OGCAPI", "GDALG", "ESRI Shapefile", "MapInfo File",
    "LVBAG", "S57", "DGN", "OGR_VRT", "CSV", "GML", "GPX", "LIBKML", "KML", "GeoJSON", "GeoJSONSeq", "ESRIJSON",
    "TopoJSON", "OGR_GMT", "GPKG", "SQLite", "WAsP", "OpenFileGDB", "DXF", "FlatGeobuf", "GeoRSS", "VFK", "PGDUMP",
    "OSM", "GPSBabel", "OGR_PDS", "WFS", "OAPIF", "EDIGEO", "Idrisi", "ODS", "XLSX", "Elasticsearch", "Carto",
    "AmigoCloud", "SXF", "Selafin", "JML", "PLSCENES", "CSW", "VDV", "MVT", "NGW", "MapML", "GTFS", "PMTiles",
    "JSONFG", "MiraMonVector", "ADBC", "AVCBin", "AVCE00", "AIVector", "HTTP",
)  # fmt: skip

_HEAD_BYTES = 64 << 10
"""So much of a text is looked at to tell what it is."""
# Nothing is given back once it was taken (atomic), so that no text makes this slow.
_BEFORE_ROOT = rb"(?:\xef\xbb\xbf)?(?>\s+|<\?.*?\?>|<!--.*?-->|<![A-Za-z][^>]*>)*+"
_ROOT = re.compile(_BEFORE_ROOT + rb"<(?:[\w.-]+:)?([\w.-]+)", re.DOTALL)
_PIECE_BYTES = 64 << 10
"""Expat is fed in pieces of this size; in smaller ones a long text takes quadratic time."""
_CRS_MEMBER = re.compile(rb'"crs"\s*:\s*(\{[^{}]{0,2000}(?:\{[^{}]{0,2000}\}[^{}]{0,2000})?\})')


@dataclass(frozen=True, slots=True)
class Format:
    """A file format.

    Attributes:
        driver: its name in GDAL; a child loads no other.
        title: its name in a sentence.
        suffixes: the ends of its files' names, the usual one first.
        begins: whether bytes are the beginning of such a file.
        beside: the ends of the files that belong to one.
        curves: whether it may hold arcs.
        layers: whether one file holds several layers of its own.
        text: whether it is XML, in which nothing may be declared.
        read: whether it is read, or written only.
    """

    driver: str
    title: str
    suffixes: tuple[str, ...]
    begins: Callable[[bytes], bool]
    beside: tuple[str, ...] = ()
    curves: bool = False
    layers: bool = False
    text: bool = False
    read: bool = True


def _is_kml(head: bytes) -> bool:
    root = _ROOT.match(head)
    return root is not None and root[1] == b"kml"


def _is_gml(head: bytes) -> bool:
    root = _ROOT.match(head)
    return root is not None and root[1] != b"kml" and b"http://www.opengis.net/gml" in head


FORMATS = (
    Format(
        "GPKG", "GeoPackage", (".gpkg",), lambda head: head.startswith(b"SQLite format 3\0"), curves=True, layers=True
    ),
    # File code 9994, big-endian (ESRI Shapefile Technical Description, 1998, page 4).
    Format(
        "ESRI Shapefile", "Shapefile", (".shp",), lambda head: head.startswith((9994).to_bytes(4, "big")),
        (".shx", ".dbf", ".prj", ".cpg"),
    ),
    Format(
        "GeoJSON", "GeoJSON", (".geojson", ".json"), lambda head: head.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"{")
    ),
    Format("LIBKML", "KML", (".kml", ".kmz"), _is_kml, text=True),
    # FlatGeobuf, version 3 of its format: the magic bytes.
    Format("FlatGeobuf", "FlatGeobuf", (".fgb",), lambda head: head.startswith(b"fgb\x03fgb"), curves=True),
    Format("GML", "GML", (".gml",), _is_gml, curves=True, text=True),
    Format("CSV", "CSV", (".csv",), lambda _head: False, read=False),
)  # fmt: skip


def accepted(*, read: bool) -> str:
    """The formats that are read, or written, in a sentence."""
    fit = [form for form in FORMATS if (form.read if read else form.driver != "GML")]
    names = [f"{form.title} ({', '.join(form.suffixes if read else form.suffixes[:1])})" for form in fit]
    last = names.pop()
    return f"{', '.join(names)} and {last} are {'read, also in a .zip' if read else 'written'}"


def format_of(name: str, *, read: bool) -> Format | None:
    """The format of a file's name; None where it is none that is read, or written."""
    suffix = PurePosixPath(name).suffix.lower()
    found = next((form for form in FORMATS if suffix in form.suffixes), None)
    if found is None or (read and not found.read):
        return None
    return None if not read and (found.driver == "GML" or suffix != found.suffixes[0]) else found


def refuse_disguise(data: bytes, form: Format, path: object) -> None:
    """Refuse content that is not of the format that the file's name says, before GDAL sees it.

    Raises:
        InputError: the content is something else, or XML that is cut.
        UnsafeInputError: an XML text declares a document type.
    """
    head = data[:_HEAD_BYTES]
    if form.text and head.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise InputError("it is written in UTF-16", path=str(path), remedy="Save it in UTF-8")
    if not form.begins(head):
        raise InputError(f"its content is no {form.title} file", path=str(path), remedy=accepted(read=True))
    if form.text:
        _refuse_malformed(data, str(path))


def _refuse_malformed(data: bytes, path: str) -> None:
    """Refuse XML that is cut or declares something: GDAL reads a text that ends early as far as it goes, in silence."""
    parser = expat.ParserCreate()

    def refuse(*_declared: object) -> None:
        raise UnsafeInputError("it declares a document type", path=path, line=parser.CurrentLineNumber)

    parser.StartDoctypeDeclHandler = refuse
    try:
        for begin in range(0, len(data), _PIECE_BYTES):
            parser.Parse(data[begin : begin + _PIECE_BYTES])
        parser.Parse(b"", True)
    except expat.ExpatError as error:
        what = expat.ErrorString(error.code)
        raise InputError(
            f"it is no XML: {what}",
            path=path,
            line=error.lineno,
            column=error.offset + 1,
            remedy="It may be cut: save or send it again",
        ) from None


def named_system(data: bytes, form: Format) -> str | None:
    """The system that a GeoJSON text names in the member ``crs`` of its first edition, as it stands there, if it does.

    RFC 7946 has no such member. GDAL takes a name that it does not know for WGS 84, and fetches one that is a link.
    """
    found = _CRS_MEMBER.search(data) if form.driver == "GeoJSON" else None
    return found[1].decode("utf-8", "replace") if found else None


def kml_in_kmz(names: tuple[str, ...]) -> str | None:
    """The file of a KMZ that counts: doc.kml, else the first at the top (OGC 12-007r2, KML 2.3; from memory)."""
    texts = [name for name in names if name.lower().endswith(".kml")]
    top = [name for name in texts if "/" not in name]
    return "doc.kml" if "doc.kml" in top else next(iter(top or texts), None)
