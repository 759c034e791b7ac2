"""A plan as layers for a GIS file: fields, boundaries, lines, features, headlands, with names and areas."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

from taskkit.errors import InputError
from taskkit.geometry.geodesy import area_m2, destination
from taskkit.geometry.line import LonLatLine, Part
from taskkit.geometry.wkb import area_wkb, line_wkb, point_wkb
from taskkit.gis.writing import Layer, Value
from taskkit.headland import lay_out
from taskkit.plan.choices import lines_of, spacing_of
from taskkit.plan.model import (
    Boundary,
    CurvedLine,
    Feature,
    Field,
    GuidanceLine,
    HeadingLine,
    PivotLine,
    Plan,
    Rotation,
    SpiralLine,
    StraightLine,
)

__all__ = ["layers_of"]

_DRAWN_M = 1000.0
"""How much is drawn of a line that has a beginning and a heading only."""
_CIRCLE_STEP_DEG = 5.0
"""From one drawn point of a circle to the next."""
_SQUARE_METRES_IN_HECTARE = 10_000.0

_T = TypeVar("_T")


def layers_of(plan: Plan) -> tuple[Layer, ...]:
    """The layers of a plan, each in the order of the plan; names of columns have at most ten letters.

    ``fields`` has the outline of each field that is chosen by default, ``boundaries`` every outline of each,
    ``lines`` the guidance lines from A to B, then features by their form, main fields and headlands of the fields
    whose headland has a depth. Areas are on the ellipsoid, in hectares.
    """
    # A further kind of object of the plan is a further layer here.
    layers = (_fields(plan), _boundaries(plan), _lines(plan), *_features(plan), *_headlands(plan))
    return tuple(layer for number, layer in enumerate(layers) if layer.shapes or number == 0)


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
            headland=lambda one: str(one[0].headland.depth) if one[0].headland else None,
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
    lines = [(field, line) for field in plan.fields for line in lines_of(plan, field)]
    return Layer(
        "lines",
        "line",
        _columns(
            lines,
            field=lambda one: one[0].name,
            name=lambda one: one[1].name,
            kind=lambda one: str(one[1].kind),
            grp=lambda one: one[1].group,
            spacing_m=lambda one: one[1].spacing.metres,
            uuid=lambda one: str(one[1].uuid),
        ),
        [line_wkb(_drawn(line)) for _, line in lines],
    )


def _drawn(line: GuidanceLine) -> LonLatLine:
    """The points of a guidance line as it is drawn, from A to B."""
    match line:
        case StraightLine():
            return LonLatLine([(line.a.lon_deg, line.a.lat_deg), (line.b.lon_deg, line.b.lat_deg)])
        case HeadingLine():
            start = (line.a.lon_deg, line.a.lat_deg)
            return LonLatLine([start, destination(start, azimuth_deg=line.heading_deg, distance_m=_DRAWN_M)])
        case PivotLine():
            centre, radius_m = (line.centre.lon_deg, line.centre.lat_deg), line.radius.metres
            return LonLatLine(
                [destination(centre, azimuth_deg=heading, distance_m=radius_m) for heading in _headings(line)]
            )
        case CurvedLine() | SpiralLine():
            return line.path


def _headings(pivot: PivotLine) -> list[float]:
    sign = 1.0 if pivot.direction is Rotation.CLOCKWISE else -1.0
    start = pivot.sector.start_heading_deg if pivot.sector else 0.0
    # A sector that ends where it begins is the whole circle.
    turn = (((pivot.sector.end_heading_deg - start) * sign) % 360 or 360.0) if pivot.sector else 360.0
    steps = max(2, math.ceil(turn / _CIRCLE_STEP_DEG))
    return [(start + sign * turn * step / steps) % 360 for step in range(steps + 1)]


def _features(plan: Plan) -> Iterator[Layer]:
    found = [(field, feature) for field in plan.fields for feature in field.features]
    for form in ("point", "line", "area"):
        of_form = [(field, feature) for field, feature in found if feature.place.form == form]
        yield Layer(
            f"feature_{form}s",
            form,
            _columns(
                of_form,
                field=lambda one: one[0].name,
                name=lambda one: one[1].name,
                kind=lambda one: str(one[1].kind),
                keep_off_m=lambda one: one[1].safety_distance.metres if one[1].safety_distance else None,
                uuid=lambda one: str(one[1].uuid),
            ),
            [_shape(feature) for _, feature in of_form],
        )


def _shape(feature: Feature) -> bytes:
    if feature.place.parts:
        return area_wkb(feature.place.parts)
    line = feature.place.line
    return line_wkb(line) if len(line) > 1 else point_wkb(next(iter(line)))


def _headlands(plan: Plan) -> Iterator[Layer]:
    """Main fields and headlands of the fields whose headland has a depth that can be laid out."""
    main: list[tuple[Field, tuple[Part, ...], float]] = []
    rest: list[tuple[Field, tuple[Part, ...], float]] = []
    for field in plan.fields:
        boundary, spacing = field.boundary(), spacing_of(plan, field)
        if boundary is None or field.headland is None:
            continue
        try:
            laid = lay_out(
                field,
                boundary=boundary,
                headland=field.headland,
                spacing_m=spacing.metres if spacing else None,
            )
        except InputError:
            # A depth that is still to be found, or an outline that is not sound: nothing to draw.
            continue
        if laid.main_field:
            main.append((field, laid.main_field, laid.main_field_m2))
        if laid.headland:
            rest.append((field, laid.headland, laid.headland_m2))
    for name, areas in (("main_field", main), ("headland", rest)):
        yield Layer(
            name,
            "area",
            _columns(
                areas,
                field=lambda one: one[0].name,
                area_ha=lambda one: round(one[2] / _SQUARE_METRES_IN_HECTARE, 4),
                uuid=lambda one: str(one[0].uuid),
            ),
            [area_wkb(parts) for _, parts, _ in areas],
        )


def _columns(things: Iterable[_T], **columns: Callable[[_T], Value]) -> dict[str, list[Value]]:
    rows = list(things)
    return {name: [value(row) for row in rows] for name, value in columns.items()}


def _hectares(outline: Boundary) -> float:
    return round(area_m2(outline.parts) / _SQUARE_METRES_IN_HECTARE, 4)
