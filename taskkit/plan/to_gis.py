"""A plan as layers for a GIS file: fields, boundaries and guidance lines, with names and areas."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TypeVar

from taskkit.geometry.geodesy import area_m2, azimuth_deg, distance_m
from taskkit.geometry.line import LonLatLine
from taskkit.geometry.wkb import area_wkb, line_wkb
from taskkit.gis.writing import Layer, Value
from taskkit.plan.model import Boundary, Field, Plan, StraightLine

__all__ = ["layers_of"]

_SQUARE_METRES_IN_HECTARE = 10_000.0

_T = TypeVar("_T")


def layers_of(plan: Plan) -> tuple[Layer, ...]:
    """The layers of a plan, each in the order of the plan; names of columns have at most ten letters.

    ``fields`` has the outline of each field that is chosen by default, ``boundaries`` every outline of each,
    ``lines`` the guidance lines from A to B. Areas are on the ellipsoid, in hectares.
    """
    # A further kind of object of the plan is a further layer here.
    return (_fields(plan), _boundaries(plan), _lines(plan))


def _fields(plan: Plan) -> Layer:
    farms = {farm.uuid: farm.name for farm in plan.farms}
    customers = {customer.uuid: customer.name for customer in plan.customers}
    chosen = [(field, outline) for field in plan.fields if (outline := field.boundary()) is not None]
    return Layer(
        "fields",
        "area",
        _columns(
            chosen,
            name=lambda one: one[0].name,
            code=lambda one: one[0].code,
            farm=lambda one: farms.get(one[0].farm) if one[0].farm else None,
            customer=lambda one: customers.get(one[0].customer) if one[0].customer else None,
            area_ha=lambda one: _hectares(one[1]),
            declared=lambda one: one[0].declared_area.text if one[0].declared_area else None,
            headland_m=lambda one: one[0].headland.depth.metres if one[0].headland else None,
            uuid=lambda one: str(one[0].uuid),
        ),
        [area_wkb(outline.parts) for _, outline in chosen],
    )


def _boundaries(plan: Plan) -> Layer:
    outlines = [(field, outline) for field in plan.fields for outline in field.boundaries]
    return Layer(
        "boundaries",
        "area",
        _columns(
            outlines,
            field=lambda one: one[0].name,
            purpose=lambda one: str(one[1].purpose),
            season=lambda one: one[1].season,
            area_ha=lambda one: _hectares(one[1]),
            source=lambda one: one[1].source,
            method=lambda one: one[1].method,
            uuid=lambda one: str(one[1].uuid),
        ),
        [area_wkb(outline.parts) for _, outline in outlines],
    )


def _lines(plan: Plan) -> Layer:
    lines: list[tuple[Field, StraightLine]] = [(field, line) for field in plan.fields for line in field.lines]
    ends = [((line.a.lon_deg, line.a.lat_deg), (line.b.lon_deg, line.b.lat_deg)) for _, line in lines]
    return Layer(
        "lines",
        "line",
        {
            **_columns(
                lines,
                field=lambda one: one[0].name,
                name=lambda one: one[1].name,
                spacing_m=lambda one: one[1].spacing.metres,
                uuid=lambda one: str(one[1].uuid),
            ),
            "azimuth": [round(azimuth_deg(a, end=b), 7) for a, b in ends],
            "length_m": [round(distance_m(a, end=b), 3) for a, b in ends],
        },
        [line_wkb(LonLatLine([a, b])) for a, b in ends],
    )


def _columns(things: Iterable[_T], **columns: Callable[[_T], Value]) -> dict[str, list[Value]]:
    rows = list(things)
    return {name: [value(row) for row in rows] for name, value in columns.items()}


def _hectares(outline: Boundary) -> float:
    return round(area_m2(outline.parts) / _SQUARE_METRES_IN_HECTARE, 4)
