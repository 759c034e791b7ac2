"""The child process that reads one GIS file: it sees a private copy, one driver, no network, and bounds of its own.

It is run as ``python -m taskkit.gis.child``, is told what to read as JSON on its standard input, and answers on
its standard output with a head in JSON and the shapes behind it. Only this module imports pyogrio.
"""

from __future__ import annotations

import json
import struct
import sys
from typing import Any

__all__ = ["HEAD", "MEMORY_BYTES", "SECONDS", "Unusable"]

MEMORY_BYTES = 2 << 30
"""Address space of the child."""
SECONDS = 120
"""Processor time of the child, and the time that its parent waits for it."""
HEAD = struct.Struct("<QQ")
"""Before the answer: the length of its head in JSON, and the length of all shapes."""

_WITH_HEIGHT = 0x80000000
_WITH_MEASURE = 0x40000000
_AREAS = {3, 6}
_KINDS = {1: "a point", 2: "a line", 4: "points", 5: "lines", 7: "a collection", 8: "an arc", 9: "a line with arcs",
          10: "an area with arcs", 11: "lines with arcs", 12: "areas with arcs"}  # fmt: skip


class Unusable(Exception):  # noqa: N818 - not an error of ours: the file cannot be taken
    """The file cannot be taken; arguments: what is wrong, what to do."""


def main() -> None:
    """Read what is asked for, and answer."""
    _bound()
    request = json.load(sys.stdin)
    try:
        head, shapes = _read(**request)
    except Unusable as error:
        message, *remedy = error.args
        head, shapes = {"error": message, "remedy": remedy[0] if remedy else None}, []
    body = b"".join(shapes)
    text = json.dumps({**head, "lengths": [len(shape) for shape in shapes]}).encode()
    sys.stdout.buffer.write(HEAD.pack(len(text), len(body)) + text + body)


def _bound() -> None:
    try:
        import resource
    except ImportError:
        # Windows has none; the parent's time limit remains.
        return
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS + 5))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _read(*, path: str, driver: str, layer: str | None, columns: list[str]) -> tuple[dict[str, Any], list[bytes]]:
    import pyogrio

    try:
        layers = [str(name) for name in pyogrio.list_layers(path)[:, 0]]
        if layer is None and len(layers) > 1:
            raise Unusable(f"it has several layers: {', '.join(layers)}", "Name one with --layer")
        if layer is not None and layer not in layers:
            raise Unusable(f"it has no layer {layer!r}; it has {', '.join(layers)}", "Name one of these")
        info = pyogrio.read_info(path, layer=layer)
        _refuse_driver(str(info["driver"]), driver)
        known = [str(name) for name in info["fields"]]
        for column in columns:
            if column not in known:
                raise Unusable(f"it has no column {column!r}; it has {', '.join(known) or 'none'}", "Name one of these")
        meta, _, shapes, values = pyogrio.raw.read(path, layer=layer, columns=columns, force_2d=False)
    except pyogrio.errors.DataSourceError as error:
        raise Unusable(f"it cannot be opened as {driver}: {error}") from error
    except (pyogrio.errors.DataLayerError, pyogrio.errors.FieldError, pyogrio.errors.FeatureError) as error:
        raise Unusable(f"it cannot be read: {error}") from error
    wkb, dropped = _flat_areas(list(shapes))
    # The columns come in the order of the file, not of the request.
    by_name = {str(name): list(column) for name, column in zip(meta["fields"], values, strict=True)}
    rows = [{name: _text(by_name[name][n]) for name in columns} for n in range(len(wkb))]
    notes = [f"{dropped} of {len(wkb)} areas have heights; they were left out"] if dropped else []
    return {"crs": meta["crs"], "rows": rows, "notes": notes}, wkb


def _refuse_driver(found: str, wanted: str) -> None:
    if found != wanted:
        raise Unusable(f"it is no {wanted} file")


def _flat_areas(shapes: list[bytes | None]) -> tuple[list[bytes], int]:
    """The shapes, every one an area; and how many have heights, which whoever takes them leaves out."""
    dropped = 0
    for number, shape in enumerate(shapes, 1):
        if not shape:
            raise Unusable(f"area {number} has no outline", "Remove it, or draw its outline")
        code = int.from_bytes(shape[1:5], "little" if shape[0] else "big")
        high = bool(code & (_WITH_HEIGHT | _WITH_MEASURE)) or code % 0x10000 > 1000
        kind = code % 0x10000 % 1000
        if kind not in _AREAS:
            what = _KINDS.get(kind, "no area")
            raise Unusable(f"feature {number} is {what}, not an area", "Give outlines as polygons")
        dropped += high
    return [shape for shape in shapes if shape], dropped


def _text(value: Any) -> str | None:
    """A value of a column as text; whole numbers without a point, what is missing as None."""
    if value is None or value != value:
        return None
    if isinstance(value, bytes):
        return value.decode("utf-8", "replace")
    item = value.item() if hasattr(value, "item") else value
    if isinstance(item, float) and item.is_integer():
        item = int(item)
    return str(item)


if __name__ == "__main__":
    main()
