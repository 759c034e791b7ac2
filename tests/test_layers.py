"""A plan as layers of a GIS file: how each form of line is drawn, and what the layers hold."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic

from taskkit.geometry.line import LonLatLine, Part
from taskkit.gis.writing import Layer
from taskkit.layers import layers_of
from taskkit.plan.files import load_plan
from taskkit.plan.loading import plan_from
from taskkit.plan.model import Plan
from taskkit.plan.yaml_text import Text

SAMPLE = Path(__file__).resolve().parents[1] / "samples" / "larkmoor"
EARTH = Geodesic.WGS84


def plan(field: str = "", *, name: str = "Wheel Field") -> Plan:
    head = "uuid: 0d0f2d44-4bbd-4f0a-9c07-6c7bb1b1fb1a\nname: x\nfields:\n"
    return plan_from(Text(f"{head}  - name: {name}\n" + "".join(f"    {line}\n" for line in field.splitlines())))


def layers(of: Plan) -> dict[str, Layer]:
    return {layer.name: layer for layer in layers_of(of)}


def drawn(line: str) -> np.ndarray:
    """The points of a guidance line as it is drawn."""
    found = layers(plan(f"lines:\n  - {{name: x, spacing: 6 m, {line}}}"))["lines"]
    assert len(found.shapes) == 1
    return shapely.get_coordinates(shapely.from_wkb(found.shapes[0]))


def seen(points: np.ndarray, lon_deg: float, lat_deg: float) -> list[tuple[float, float]]:
    """Azimuth and distance of points from a place, by GeographicLib (Karney 2013)."""
    found = [EARTH.Inverse(lat_deg, lon_deg, lat, lon) for lon, lat in points]
    return [(one["azi1"] % 360, one["s12"]) for one in found]


def rectangle(east_m: float, north_m: float) -> str:
    """The outline of a rectangle at 9 degrees east, 54 north, laid out by GeographicLib."""
    south_east = EARTH.Direct(54, 9, 90, east_m)
    corners = [(9.0, 54.0), (south_east["lon2"], south_east["lat2"])]
    for lon, lat in corners[::-1]:
        up = EARTH.Direct(lat, lon, 0, north_m)
        corners.append((up["lon2"], up["lat2"]))
    return f"POLYGON (({', '.join(f'{lon:.9f} {lat:.9f}' for lon, lat in [*corners, corners[0]])}))"


def test_a_line_of_a_point_and_a_heading_is_drawn_one_kilometre_long() -> None:
    points = drawn("kind: A + heading, a: {lon_deg: 9, lat_deg: 54}, heading_deg: 35.1234567")

    end = EARTH.Direct(54, 9, 35.1234567, 1000)
    assert points == pytest.approx(np.array([(9, 54), (end["lon2"], end["lat2"])]), abs=1e-10)


@pytest.mark.parametrize(("direction", "sign"), [("clockwise", 1), ("anticlockwise", -1)])
def test_a_pivot_is_drawn_as_a_closed_circle_in_its_direction(direction: str, sign: int) -> None:
    centre = "centre: {lon_deg: 9.4, lat_deg: 54.6}"
    points = drawn(f"kind: pivot, {centre}, radius: 240 m, direction: {direction}")

    headings, distances = zip(*seen(points, 9.4, 54.6), strict=True)
    assert distances == pytest.approx([240] * len(points), abs=1e-6)
    assert points[0].tolist() == points[-1].tolist()
    assert np.unwrap(headings, period=360)[-1] - headings[0] == pytest.approx(360 * sign, abs=1e-6)
    # Between two points the chord is at most r (1 - cos 2.5 degrees) inside: 0.23 m, to look at and not to steer by.
    assert np.abs(np.diff(np.unwrap(headings, period=360))).max() <= 5 + 1e-6


@pytest.mark.parametrize(
    ("direction", "start", "end", "turn"),
    [
        ("clockwise", 300, 40, 100),
        ("anticlockwise", 40, 300, -100),
        ("clockwise", 40, 300, 260),
        ("clockwise", 10, 12, 2),
    ],
)
def test_a_sector_is_drawn_from_its_start_to_its_end_and_no_farther(
    direction: str, start: float, end: float, turn: float
) -> None:
    sector = f"direction: {direction}, sector: {{start_heading_deg: {start}, end_heading_deg: {end}}}"
    points = drawn(f"kind: pivot, centre: {{lon_deg: 9.4, lat_deg: 54.6}}, radius: 240 m, {sector}")

    headings = np.unwrap([heading for heading, _ in seen(points, 9.4, 54.6)], period=360)
    assert (headings[0] % 360, headings[-1] % 360) == (pytest.approx(start, abs=1e-6), pytest.approx(end, abs=1e-6))
    assert headings[-1] - headings[0] == pytest.approx(turn, abs=1e-6)
    assert len(points) >= 3


def test_curves_and_spirals_are_drawn_point_by_point_and_straight_lines_from_a_to_b() -> None:
    path = [(9.0, 54.0), (9.001, 54.0005), (9.002, 54.0)]
    text = ", ".join(f"{lon} {lat}" for lon, lat in path)
    for kind in ("curve", "spiral"):
        assert [tuple(point) for point in drawn(f'kind: {kind}, path: "LINESTRING ({text})"')] == path
    assert drawn("a: {lon_deg: 9, lat_deg: 54}, b: {lon_deg: 9.1, lat_deg: 54.1}").tolist() == [[9, 54], [9.1, 54.1]]


def test_features_lie_in_a_layer_for_each_form_with_what_to_keep_off() -> None:
    found = layers(
        plan(
            "features:\n"
            "  - {name: Pole, kind: pole, place: POINT (9 54), safety_distance: 3 ft}\n"
            '  - {name: Drain, kind: drainage, place: "LINESTRING (9 54, 9.1 54, 9.1 54.1)"}\n'
            '  - {name: Barn, kind: building, place: "POLYGON ((9 54, 9.1 54, 9.1 54.1, 9 54))"}\n'
            '  - {name: Ponds, kind: water, '
            'place: "MULTIPOLYGON (((9 54, 9.1 54, 9.1 54.1, 9 54)), ((8 54, 8.1 54, 8 54.1, 8 54)))"}'
        )
    )  # fmt: skip

    assert list(found) == ["fields", "feature_points", "feature_lines", "feature_areas"]
    points, lines, areas = (found[name] for name in ("feature_points", "feature_lines", "feature_areas"))
    assert (points.columns["name"], points.columns["kind"], points.columns["field"]) == (
        ["Pole"],
        ["pole"],
        ["Wheel Field"],
    )
    assert points.columns["keep_off_m"] == [pytest.approx(0.9144)]
    assert shapely.from_wkb(points.shapes[0]).wkt == "POINT (9 54)"
    assert lines.columns["keep_off_m"] == [None]
    assert shapely.from_wkb(lines.shapes[0]).wkt == "LINESTRING (9 54, 9.1 54, 9.1 54.1)"
    assert [len(shapely.from_wkb(shape).geoms) for shape in areas.shapes] == [1, 2]


def test_main_field_and_headland_share_the_field_out() -> None:
    area = rectangle(400, 200)
    found = layers(plan(f'boundaries:\n  - area: "{area}"\nheadland: {{depth: 12 m}}'))

    main, rest = found["main_field"], found["headland"]
    # 376 m by 176 m are left, less 2 m2: its sides run north, and come 17 mm nearer to each other.
    assert main.columns["area_ha"] == [pytest.approx(376 * 176 / 10_000, abs=3e-4)]
    whole = found["fields"].columns["area_ha"][0]
    assert whole == pytest.approx(8.0, abs=3e-4)
    assert main.columns["area_ha"][0] + rest.columns["area_ha"][0] == pytest.approx(whole, abs=2e-4)
    assert (main.columns["field"], main.columns["uuid"]) == (["Wheel Field"], found["fields"].columns["uuid"])
    inner, ring = shapely.from_wkb(main.shapes[0]), shapely.from_wkb(rest.shapes[0])
    assert inner.intersection(ring).area <= 1e-12
    assert len(ring.geoms[0].interiors) == 1


@pytest.mark.parametrize(
    "field",
    [
        "headland: {depth: 12 m}",
        f'boundaries:\n  - area: "{rectangle(400, 200)}"',
        # To be found later; in passes of a line that is not there; deeper than the field.
        f'boundaries:\n  - area: "{rectangle(400, 200)}"\nheadland: {{depth: auto}}',
        f'boundaries:\n  - area: "{rectangle(400, 200)}"\nheadland: {{depth: 2 passes}}',
        'boundaries:\n  - area: "POLYGON ((9 54, 9.01 54.01, 9.01 54, 9 54.01, 9 54))"\nheadland: {depth: 12 m}',
    ],
)
def test_a_headland_that_cannot_be_laid_out_is_not_drawn_and_stops_nothing(field: str) -> None:
    assert {"main_field", "headland"}.isdisjoint(layers(plan(field)))


def test_of_a_field_that_is_all_headland_no_main_field_is_drawn() -> None:
    found = layers(plan(f'boundaries:\n  - area: "{rectangle(400, 200)}"\nheadland: {{depth: 120 m}}'))

    assert "main_field" not in found
    assert found["headland"].columns["area_ha"] == found["fields"].columns["area_ha"]


def test_an_empty_plan_has_an_empty_layer_of_fields() -> None:
    found = layers_of(plan())

    assert [(layer.name, len(layer.shapes)) for layer in found] == [("fields", 0)]


def test_the_sample_has_every_layer_and_a_shared_line_under_each_of_its_fields() -> None:
    sample = load_plan(SAMPLE)
    found = layers(sample)

    assert list(found) == [
        "fields", "boundaries", "lines", "feature_points", "feature_lines", "feature_areas", "main_field", "headland",
    ]  # fmt: skip
    assert all(len(column) <= 10 for layer in found.values() for column in layer.columns)
    assert all(len(values) == len(layer.shapes) for layer in found.values() for values in layer.columns.values())
    assert found["fields"].columns["name"] == [field.name for field in sample.fields]
    shared = sample.shared_lines[0]
    names = {field.uuid: field.name for field in sample.fields}
    under = [
        field
        for field, line in zip(found["lines"].columns["field"], found["lines"].columns["name"], strict=True)
        if line == shared.name
    ]
    assert sorted(under) == sorted(names[uuid] for uuid in shared.fields)
    assert set(found["lines"].columns["kind"]) == {"straight", "A + heading", "curve", "pivot", "spiral"}


def test_an_outline_of_the_sample_is_what_its_layer_holds() -> None:
    sample = load_plan(SAMPLE)
    shape = shapely.from_wkb(layers(sample)["fields"].shapes[0])

    outline = sample.fields[0].boundary()
    assert outline is not None
    rings = [LonLatLine(np.array(ring.coords)[:-1]) for ring in (shape.geoms[0].exterior, *shape.geoms[0].interiors)]
    assert [Part(rings[0], rings[1:])] == list(outline.parts)
