"""Elements into bytes, points in bulk; deterministic, UTF-8, one element a line."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt

from taskkit.errors import InternalError
from taskkit.geometry.line import Array
from taskkit.taskdata.document import LINK_FILE, POINT, TASK_FILE, Element, Points, Source, TaskData, Verbatim

__all__ = ["DECIMALS", "FOLDER", "built_points", "files", "serialise", "write_folder", "write_zip"]

DECIMALS = 9
"""Decimals of a degree in what we write: 0.11 mm."""
FOLDER = "TASKDATA"
"""The folder that a terminal looks for."""
_DECLARATION = b'<?xml version="1.0" encoding="UTF-8"?>\n'
_INDENT = b"  "
_BUILT = "(built)"
_ESCAPES = str.maketrans(
    {"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;", "\t": "&#9;", "\n": "&#10;", "\r": "&#13;"}
)
_Bytes = npt.NDArray[np.uint8]


def built_points(types: str | Sequence[str], lonlat: Array) -> Points:
    """Points of our own making, in the canonical form.

    Args:
        types: the point type of all of them, or of each, in digits.
        lonlat: longitude and latitude in degrees, shape (n, 2), n >= 1.

    Raises:
        ValueError: no point, a coordinate that is not finite or out of range, a wrong number of types, or a type
            that is no number.
    """
    points = np.asarray(lonlat, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 2 or len(points) == 0:
        raise ValueError(f"points must have the shape (n, 2) with n >= 1, not {points.shape}")
    if not (np.abs(points) <= (180.0, 90.0)).all():
        raise ValueError("a coordinate is not finite or out of range")
    each = [types] * len(points) if isinstance(types, str) else list(types)
    if len(each) != len(points):
        raise ValueError(f"{len(each)} types for {len(points)} points")
    if not all(kind.isascii() and kind.isdigit() for kind in set(each)):
        raise ValueError("a point type is no number")
    raw = _point_lines(each, points)
    return Points(Source(_BUILT, raw), 0, len(raw) - 1, len(points), canonical=True)


def serialise(root: Element) -> bytes:
    """The text of a file: attributes in their order, exact; points that were read as they stood."""
    return b"".join([_DECLARATION, *_lines(root, b"")])


def files(data: TaskData) -> Iterator[tuple[str, bytes]]:
    """The files of a set, name and bytes, one after the other in a fixed order."""
    yield TASK_FILE, serialise(data.main)
    if data.links is not None:
        yield LINK_FILE, serialise(data.links)
    for name in sorted(data.companions):
        yield name, data.companions[name]


def write_folder(data: TaskData, folder: Path) -> None:
    """Write a set into a folder that does not exist yet."""
    folder.mkdir(parents=True)
    for name, content in files(data):
        (folder / name).write_bytes(content)


def write_zip(data: TaskData, path: Path, *, stored: bool = False) -> None:
    """Write a set into a zip, in its TASKDATA folder.

    The bytes are the same for the same set: always on one installation, and anywhere if ``stored``
    (packed zips differ between builds of zlib).
    """
    method = zipfile.ZIP_STORED if stored else zipfile.ZIP_DEFLATED
    with zipfile.ZipFile(path, "w", method, compresslevel=None if stored else 3) as archive:
        for name, content in files(data):
            entry = zipfile.ZipInfo(f"{FOLDER}/{name}", date_time=(1980, 1, 1, 0, 0, 0))
            entry.compress_type = method
            entry.create_system = 3
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, content, compresslevel=None if stored else 3)


def _lines(element: Element, indent: bytes) -> Iterator[bytes]:
    pairs = "".join(f' {code}="{text.translate(_ESCAPES)}"' for code, text in element.attributes.items())
    yield indent + f"<{element.tag}{pairs}".encode()
    if not element.children:
        yield b"/>\n"
        return
    yield b">\n"
    inner = indent + _INDENT
    for child in element.children:
        if isinstance(child, Element):
            yield from _lines(child, inner)
        elif isinstance(child, Points):
            raw = child.raw
            if child.source.name == _BUILT:
                raw = raw.replace(b"\n", b"\n" + inner)
            yield inner + raw + b"\n"
        elif isinstance(child, Verbatim):
            yield inner + child.raw + b"\n"
        else:
            raise InternalError(f"an element cannot hold {child!r}")
    yield indent + f"</{element.tag}>\n".encode()


def _point_lines(types: list[str], points: Array) -> bytes:
    """``<PNT A=".." C=".." D=".."/>`` and a line end for each point, as a table of bytes without its blank cells."""
    width = max(map(len, types))
    kinds = np.array([t.rjust(width) for t in types], dtype=f"S{width}")
    columns = [
        _constant(f'<{POINT} A="', len(points)),
        kinds.view(np.uint8).reshape(-1, width),
        _constant('" C="', len(points)),
        _decimals(points[:, 1]),
        _constant('" D="', len(points)),
        _decimals(points[:, 0]),
        _constant('"/>\n', len(points)),
    ]
    table = np.concatenate(columns, axis=1)
    # The blank inside the tag is written as an underscore, so that blanks mark the empty cells.
    return bytes(table[table != ord(" ")]).replace(b"_", b" ")


def _constant(text: str, rows: int) -> _Bytes:
    line = np.frombuffer(text.replace(" ", "_").encode(), dtype=np.uint8)
    return np.broadcast_to(line, (rows, len(line)))


def _decimals(degrees: Array) -> _Bytes:
    """Fixed-point digits, shape (n, 5 + DECIMALS): sign, three digits, dot, decimals; blank where not needed."""
    scaled = np.rint(np.abs(degrees) * 10.0**DECIMALS).astype(np.int64)
    whole, rest = np.divmod(scaled, 10**DECIMALS)
    table = np.empty((len(degrees), 5 + DECIMALS), dtype=np.uint8)
    table[:, 0] = np.where((degrees < 0) & (scaled > 0), ord("-"), ord(" "))
    table[:, 4] = ord(".")
    for first, last, number in ((1, 3, whole), (5, 4 + DECIMALS, rest)):
        left = number.astype(np.int32)
        for column in range(last, first - 1, -1):
            left, digit = np.divmod(left, 10)
            table[:, column] = digit + ord("0")
    table[whole < 100, 1] = ord(" ")
    table[whole < 10, 2] = ord(" ")
    return table
