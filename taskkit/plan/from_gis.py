"""Fields of a plan from the outlines in a GIS file, with where each came from."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from uuid import uuid4

import numpy as np

from taskkit.errors import InputError
from taskkit.geometry.datum import to_steering_frame
from taskkit.geometry.wkb import read_areas as areas_from_wkb
from taskkit.gis.reading import read_areas
from taskkit.plan.model import Boundary, Field

__all__ = ["Imported", "fields_from"]

_DECIMALS = 9
"""Decimals of a degree that a plan keeps of an imported outline: 0.11 mm, the resolution of task data."""


@dataclass(frozen=True, slots=True)
class Imported:
    """Fields made from a file.

    Attributes:
        fields: one for each area, in the order of the file.
        frame: the frame of their coordinates.
        notes: what was remarkable, in sentences.
    """

    fields: tuple[Field, ...]
    frame: str
    notes: tuple[str, ...]


def fields_from(
    source: Path, *, name_from: str | None = None, code_from: str | None = None, layer: str | None = None
) -> Imported:
    """One field with one worked boundary for each area of a GIS file.

    Args:
        source: the file.
        name_from: the column with the fields' names; without it, or where it is empty, fields are numbered.
        code_from: the column with the fields' codes, kept as text.
        layer: which layer, where the file has several.

    Raises:
        InputError: format, frame, layer, column or a shape that cannot be taken.
    """
    columns = tuple(column for column in (name_from, code_from) if column)
    read = read_areas(source, columns=columns, layer=layer)
    try:
        areas = areas_from_wkb(read.shapes)
    except ValueError as error:
        raise InputError(str(error), path=source) from error
    try:
        placed = to_steering_frame(read.crs, areas.xy)
    except InputError as error:
        raise InputError(error.message, path=source, remedy=error.remedy) from None
    notes = list(read.notes)
    came = f"{source.name}, {placed.crs_name}" + (f" ({placed.crs_code})" if placed.crs_code else "")
    fields = []
    unnamed = 0
    for number, (row, parts) in enumerate(
        zip(read.rows, areas.parts(np.round(placed.lonlat, _DECIMALS)), strict=True), 1
    ):
        name = (row.get(name_from) or "").strip() if name_from else ""
        unnamed += not name
        outline = Boundary(uuid=uuid4(), parts=parts, source=came, method=placed.operation)
        code = row.get(code_from) if code_from else None
        fields.append(Field(uuid=uuid4(), name=name or f"Field {number}", code=code or None, boundaries=(outline,)))
    if name_from and unnamed:
        notes.append(f"{unnamed} of {len(fields)} areas have no {name_from}; they were numbered instead")
    return Imported(tuple(fields), placed.frame, tuple(notes))
