"""The child's writing: layers of features to a file or files in its private folder."""

from __future__ import annotations

import warnings
from typing import Any

from taskkit.gis.messages import Unusable

__all__ = ["write"]

_GEOMETRY = {"area": "MultiPolygon", "line": "LineString", "point": "Point"}


def write(
    *, files: list[dict[str, Any]], driver: str, crs: str, options: dict[str, str], shapes: list[bytes]
) -> dict[str, Any]:
    """Write files.

    Args:
        files: for each its ``path`` and its ``layers``, each with ``name``, ``sort`` (None where it is mixed),
            ``columns`` (name, whether numbers, values) and how many of the shapes are its own (``count``).
        driver: the driver that writes.
        crs: the system of the coordinates, e.g. ``EPSG:4258``.
        options: of the driver.
        shapes: all shapes, in order.

    Raises:
        Unusable: GDAL cannot write it.
    """
    import numpy
    import pyogrio

    notes: list[str] = []
    begin = 0
    for file in files:
        for number, layer in enumerate(file["layers"]):
            own = shapes[begin : begin + layer["count"]]
            begin += layer["count"]
            geometry = numpy.empty(len(own), dtype=object)
            geometry[:] = own
            fields, values = [], []
            for name, is_number, column in layer["columns"]:
                fields.append(name)
                values.append(numpy.array(column, dtype=numpy.float64 if is_number else object))
            with warnings.catch_warnings(record=True) as caught:
                warnings.simplefilter("always")
                try:
                    pyogrio.raw.write(
                        file["path"], geometry, values, fields,
                        layer=layer["name"], driver=driver, geometry_type=_GEOMETRY.get(layer["sort"], "Unknown"),
                        crs=crs, append=number > 0, **options,
                    )  # fmt: skip
                except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, pyogrio.errors.FieldError,
                        pyogrio.errors.FeatureError, pyogrio.errors.GeometryError) as error:  # fmt: skip
                    raise Unusable(f"it cannot be written: {str(error)[:200]}") from error
            notes += [" ".join(str(one.message).split()) for one in caught]
    return {"notes": list(dict.fromkeys(notes))}
