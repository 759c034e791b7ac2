"""Real field boundaries in and out: none is refused or harmed, and their areas are those they came with."""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from taskkit import api
from taskkit.findings import Severity
from taskkit.geometry.geodesy import area_m2
from taskkit.geometry.line import Array
from taskkit.geometry.wkb import read_areas as areas_from_wkb
from taskkit.gis.reading import read_areas, read_shapes
from taskkit.plan.files import load_plan


# Crop parcels of the Netherlands 2023 (CC0 1.0, RVO / PDOK), on another datum; parcels of Sweden 2023 (CC0 1.0,
# Swedish Board of Agriculture).
@pytest.mark.parametrize(("file", "fields", "accuracy"), [("nl.gpkg", 100, "0.25 m"), ("se.zip", 10, None)])
def test_real_fields_are_taken_and_exported(
    shared_data: Path, tmp_path: Path, file: str, fields: int, accuracy: str | None
) -> None:
    made = api.new(tmp_path / "plan", source=shared_data / file)
    exported = api.export(tmp_path / "plan", tmp_path / "stick")

    assert (made.fields, made.frame) == (fields, "ETRS89")
    assert ("stated accuracy" in made.notes[0]) == (accuracy is not None)
    assert accuracy is None or accuracy in made.notes[0]
    assert [found for found in exported.report if found.severity >= Severity.WARNING] == []
    assert exported.comparison.equal


def planar_m2(ring: Array) -> float:
    x, y = (ring - ring[0]).T
    return abs(float(np.dot(x[:-1], y[1:]) - np.dot(x[1:], y[:-1]))) / 2


# Both attributes are areas of the grid, cut and not rounded: to 0.01 ha and to 1 m2. On the ellipsoid the same
# fields are up to 0.1 % larger, and right.
@pytest.mark.parametrize(
    ("file", "column", "unit_m2"), [("dk.zip", "IMK_areal", 100.0), ("de_sh.gpkg.zip", "Flaeche", 1.0)]
)
def test_the_area_that_a_field_came_with_is_its_area_in_the_grid(
    shared_data: Path, file: str, column: str, unit_m2: float
) -> None:
    read = read_areas(shared_data / file, columns=[column])
    own = 0
    for row, shape in zip(read.rows, read.shapes, strict=True):
        rings = rings_of(shape)
        grid_m2 = planar_m2(rings[0]) - sum(map(planar_m2, rings[1:]))
        given = float(row[column] or "nan") * 10_000
        own += math.floor(grid_m2 / unit_m2 + 1e-6) == round(given / unit_m2)
    assert own == 100


def rings_of(shape: bytes) -> list[Array]:
    """The rings of an area of one part, closed, in the file's own coordinates."""
    areas = areas_from_wkb([shape])
    ends = areas._rings
    return [areas.xy[b:e] for b, e in pairwise(ends)]


def test_areas_in_a_gis_file_are_those_of_geographiclib(shared_data: Path, tmp_path: Path) -> None:
    api.new(tmp_path / "plan", source=shared_data / "de_sh.gpkg.zip", name_from="FLIK")
    written = api.gis(tmp_path / "plan", tmp_path / "farm.gpkg")

    assert written.layers == (("fields", 100), ("boundaries", 100))
    assert written.crs == "EPSG:4258"
    read = read_shapes(written.files[0], columns=["name", "area_ha"], layer="fields")
    plan = load_plan(tmp_path / "plan")
    assert [row["name"] for row in read.rows] == [field.name for field in plan.fields]
    for row, field in zip(read.rows, plan.fields, strict=True):
        outline = field.boundary()
        assert outline is not None
        total = 0.0
        for part in outline.parts:
            for number, ring in enumerate(part.rings):
                polygon = Geodesic.WGS84.Polygon()
                for lon, lat in ring:
                    polygon.AddPoint(lat, lon)
                total += abs(polygon.Compute(False, True)[2]) * (-1 if number else 1)
        assert float(row["area_ha"] or "nan") == pytest.approx(total / 10_000, abs=6e-5)
        assert area_m2(outline.parts) == pytest.approx(total, rel=1e-7)
    # And the outlines come back to the last digit that a plan keeps.
    again = api.new(tmp_path / "again", source=written.files[0], layer="fields", name_from="name")
    assert again.frame == "ETRS89"
    for field, other in zip(plan.fields, load_plan(tmp_path / "again").fields, strict=True):
        assert field.boundaries[0].parts == other.boundaries[0].parts
