"""The child's reading: one layer of one file, its columns as text, its shapes as well-known binary."""

from __future__ import annotations

import warnings
from typing import Any

from taskkit.gis.messages import Unusable

__all__ = ["read"]

_WITH_HEIGHT = 0x80000000
_WITH_MEASURE = 0x40000000
_SORTS = {1: "point", 2: "line", 3: "area", 4: "point", 5: "line", 6: "area"}
_NAMES = {"point": "a point", "line": "a line", "area": "an area"}
_CURVED = ("CIRCULARSTRING", "COMPOUNDCURVE", "CURVEPOLYGON", "MULTICURVE", "MULTISURFACE")
_SHOWN_WARNINGS = 5
_EPOCH = """
    SELECT epoch FROM gpkg_spatial_ref_sys WHERE srs_id =
    (SELECT srs_id FROM gpkg_geometry_columns WHERE lower(table_name) = lower('{layer}'))
"""


def read(
    *, path: str, driver: str, title: str, layer: str | None, columns: list[str], sorts: list[str], curves: bool
) -> tuple[dict[str, Any], list[bytes]]:
    """Read all features of a layer.

    Args:
        path: the private copy.
        driver: the driver that must have taken it.
        title: the format's name, for messages.
        layer: which layer; None where there is only one.
        columns: the columns to read.
        sorts: what is taken: ``area``, ``line``, ``point``.
        curves: whether the format may hold arcs.

    Raises:
        Unusable: it cannot be taken.
    """
    import pyogrio

    try:
        name = _layer(pyogrio.list_layers(path), layer)
        info = pyogrio.read_info(path, layer=name)
        if str(info["driver"]) != driver:
            raise Unusable(f"it is no {title} file")
        of_file = _columns([str(field) for field in info["fields"]], columns)
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            meta, _, shapes, values = pyogrio.raw.read(path, layer=name, columns=list(of_file.values()), force_2d=False)
        arcs = _arcs(path, name) if curves else 0
        epoch = _epoch(path, name) if driver == "GPKG" else None
    except pyogrio.errors.DataSourceError as error:
        raise Unusable(f"it cannot be opened as {title}: {_plain(error, path)}") from error
    except (pyogrio.errors.DataLayerError, pyogrio.errors.FieldError, pyogrio.errors.FeatureError) as error:
        raise Unusable(f"it cannot be read: {_plain(error, path)}") from error
    wkb, dropped = _taken(list(shapes), sorts)
    # The columns come in the order of the file, not of the request.
    by_name = {str(field): list(column) for field, column in zip(meta["fields"], values, strict=True)}
    rows = [{asked: _text(by_name[own][n]) for asked, own in of_file.items()} for n in range(len(wkb))]
    said = list(dict.fromkeys(_plain(one.message, path) for one in caught))[:_SHOWN_WARNINGS]
    head = {"crs": meta["crs"], "rows": rows, "heights": dropped, "arcs": arcs, "epoch": epoch, "said": said}
    return head, wkb


def _layer(listed: Any, wanted: str | None) -> str:
    """The layer to read: the one asked for, or the only one that has shapes."""
    names = [str(name) for name, geometry in listed if geometry is not None]
    if wanted is None and len(names) == 1:
        return names[0]
    if not names:
        raise Unusable("it has no layer with shapes")
    if wanted is None:
        raise Unusable(f"it has several layers: {', '.join(names)}", "Name one with --layer")
    if wanted not in names:
        raise Unusable(f"it has no layer {wanted!r}; it has {', '.join(names)}", "Name one of these")
    return wanted


def _columns(known: list[str], wanted: list[str]) -> dict[str, str]:
    """The file's own name of each column that is wanted, which may be written in other cases."""
    found = {}
    for column in wanted:
        alike = [own for own in known if own.casefold() == column.casefold()]
        if column not in known and len(alike) != 1:
            raise Unusable(f"it has no column {column!r}; it has {', '.join(known) or 'none'}", "Name one of these")
        found[column] = column if column in known else alike[0]
    return found


def _arcs(path: str, layer: str) -> int:
    """How many shapes have arcs; those that come are drawn as corners already."""
    import pyogrio

    quoted = layer.replace("\\", "\\\\").replace('"', '\\"')
    sql = f'SELECT OGR_GEOMETRY AS kind FROM "{quoted}"'
    _, _, _, (kinds,) = pyogrio.raw.read(path, sql=sql, sql_dialect="OGRSQL", read_geometry=False)
    return sum(str(kind).upper().startswith(_CURVED) for kind in kinds)


def _epoch(path: str, layer: str) -> float | None:
    """When the coordinates of a GeoPackage held, where it says so (extension of GDAL and of version 1.4)."""
    import pyogrio

    try:
        _, _, _, (found,) = pyogrio.raw.read(
            path, sql=_EPOCH.format(layer=layer.replace("'", "''")), sql_dialect="NATIVE", read_geometry=False
        )
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, ValueError):
        # The column came late; most files have none.
        return None
    value = float(found[0]) if len(found) and found[0] is not None else 0.0
    return value if 1900 < value < 2200 else None


def _taken(shapes: list[bytes | None], sorts: list[str]) -> tuple[list[bytes], int]:
    """The shapes, every one of a sort that is taken; and how many have heights, which whoever takes them leaves out."""
    dropped = 0
    for number, shape in enumerate(shapes, 1):
        if not shape:
            raise Unusable(f"feature {number} has no shape", "Remove it, or draw it")
        code = int.from_bytes(shape[1:5], "little" if shape[0] else "big")
        dropped += bool(code & (_WITH_HEIGHT | _WITH_MEASURE)) or code % 0x10000 > 1000
        sort = _SORTS.get(code % 0x10000 % 1000)
        if sort not in sorts:
            what = _NAMES[sort] if sort else "of mixed or unusual shape"
            wanted = " or ".join(_NAMES[one] for one in sorts)
            raise Unusable(f"feature {number} is {what}, not {wanted}", f"Give {wanted} for each feature")
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


def _plain(error: object, path: str) -> str:
    """What GDAL says, without the private name of the copy, in one line."""
    said = " ".join(str(error).replace(path, "the file").split())
    return said.partition(" It might help to")[0].rstrip(".; ")
