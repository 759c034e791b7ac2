"""Fields of a plan from the outlines in a GIS file, with their farms and customers, and where each came from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from uuid import UUID, uuid4

import numpy as np

from taskkit.errors import InputError
from taskkit.geometry.datum import Placed, to_steering_frame
from taskkit.geometry.frames import UNKNOWN
from taskkit.geometry.wkb import read_areas as areas_from_wkb
from taskkit.gis.reading import Shapes, read_areas
from taskkit.plan.model import Boundary, Customer, Farm, Field
from taskkit.plan.origins import origin_of

__all__ = ["Columns", "Imported", "fields_from"]

_DECIMALS = 9
"""Decimals of a degree that a plan keeps of an imported outline: 0.11 mm, the resolution of task data."""


@dataclass(frozen=True, slots=True)
class Columns:
    """The columns of a file that hold what a plan knows; None where there is none.

    Attributes:
        name: the fields' names; without it, or where it is empty, fields are numbered.
        code: the fields' codes, kept as text.
        farm: the names of their farms.
        customer: the names of their customers.
    """

    name: str | None = None
    code: str | None = None
    farm: str | None = None
    customer: str | None = None

    def asked(self) -> tuple[str, ...]:
        """Those that there are, each once."""
        return tuple(dict.fromkeys(filter(None, (self.name, self.code, self.farm, self.customer))))


@dataclass(frozen=True, slots=True)
class Imported:
    """What was made from a file.

    Attributes:
        fields: one for each area, in the order of the file.
        farms: one for each name and customer, in the order in which they came.
        customers: one for each name.
        frame: the frame of their coordinates.
        placed: how the coordinates were brought there.
        notes: what was remarkable, in sentences.
    """

    fields: tuple[Field, ...]
    farms: tuple[Farm, ...]
    customers: tuple[Customer, ...]
    frame: str
    placed: Placed
    notes: tuple[str, ...]

    @property
    def told(self) -> str:
        """How the coordinates came into their frame, in a sentence."""
        code = f" ({self.placed.crs_code})" if self.placed.crs_code else ""
        told = f"coordinates came in {self.placed.crs_name}{code}: {_done(self.placed)}"
        return told if self.frame != UNKNOWN else f"{told}; which frame they are really in, --frame can say"


def fields_from(
    source: Path,
    *,
    columns: Columns | None = None,
    layer: str | None = None,
    frame: str | None = None,
    accept_accuracy: bool = False,
) -> Imported:
    """One field with one worked boundary for each area of a GIS file.

    Args:
        source: the file.
        columns: where names, codes, farms and customers are.
        layer: which layer, where the file has several.
        frame: the steering frame; None to take the one in use where the fields lie.
        accept_accuracy: whether to take a transformation that is stated to be worse than 0.3 m.

    Raises:
        InputError: format, frame, layer, column or a shape that cannot be taken.
    """
    wanted = columns or Columns()
    read = read_areas(source, columns=wanted.asked(), layer=layer)
    if not read.shapes:
        raise InputError("it has no areas", path=source, remedy="Name a file with field outlines")
    try:
        areas = areas_from_wkb(read.shapes)
    except ValueError as error:
        raise InputError(str(error), path=source) from error
    try:
        placed = to_steering_frame(read.crs, areas.xy, frame=frame, accept_accuracy=accept_accuracy, epoch=read.epoch)
    except InputError as error:
        raise InputError(error.message, path=source, remedy=error.remedy) from None
    parties = _Parties(wanted)
    origin = origin_of(placed, epoch=read.epoch)
    fields = []
    for number, (row, parts) in enumerate(
        zip(read.rows, areas.parts(np.round(placed.lonlat, _DECIMALS)), strict=True), 1
    ):
        customer, farm = parties.of(row)
        fields.append(
            Field(
                uuid=uuid4(),
                name=_cell(row, wanted.name) or f"Field {number}",
                code=_cell(row, wanted.code),
                customer=customer,
                farm=farm,
                boundaries=(Boundary(uuid=uuid4(), parts=parts, source=source.name, origin=origin),),
            )
        )
    notes = [*read.notes, *placed.notes, *_unnamed(read, wanted)]
    return Imported(
        tuple(fields), tuple(parties.farms.values()), tuple(parties.customers.values()), placed.frame, placed,
        tuple(notes),
    )  # fmt: skip


class _Parties:
    """Customers and farms, made when their names first come."""

    def __init__(self, columns: Columns) -> None:
        self._columns = columns
        self.customers: dict[str, Customer] = {}
        self.farms: dict[tuple[str, UUID | None], Farm] = {}

    def of(self, row: Mapping[str, str | None]) -> tuple[UUID | None, UUID | None]:
        """The customer and the farm of a row; farms of one name that belong to two customers are two."""
        customer = farm = None
        if name := _cell(row, self._columns.customer):
            customer = self.customers.setdefault(name, Customer(uuid=uuid4(), name=name)).uuid
        if name := _cell(row, self._columns.farm):
            farm = self.farms.setdefault((name, customer), Farm(uuid=uuid4(), name=name, customer=customer)).uuid
        return customer, farm


def _cell(row: Mapping[str, str | None], column: str | None) -> str | None:
    """What stands in a cell, without blanks around it; None where nothing does."""
    return (row.get(column) or "").strip() or None if column else None


def _unnamed(read: Shapes, columns: Columns) -> list[str]:
    unnamed = sum(_cell(row, columns.name) is None for row in read.rows) if columns.name else 0
    return [f"{unnamed} of {len(read.rows)} areas have no {columns.name}; they were numbered instead"] * bool(unnamed)


def _done(placed: Placed) -> str:
    """What was done to the coordinates, and the stated accuracy of that."""
    if placed.accuracy_m is None:
        return f"{placed.operation}; accuracy unknown"
    return f"{placed.operation}; stated accuracy {placed.accuracy_m:g} m" if placed.accuracy_m else placed.operation
