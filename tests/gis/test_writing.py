"""GIS files out: what is in them, that the same layers give the same bytes, and that nothing is replaced unasked."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from pyproj import CRS

from taskkit.errors import InputError, RefusedError
from taskkit.geometry.line import LonLatLine, Part
from taskkit.geometry.wkb import area_wkb, line_wkb, point_wkb
from taskkit.geometry.wkb import read_shapes as shapes_from_wkb
from taskkit.gis.reading import read_shapes
from taskkit.gis.writing import Layer, write_layers

RING = LonLatLine([(9, 54), (9.003, 54), (9.003, 54.001)])
HOLE = LonLatLine([(9.002, 54.0002), (9.0025, 54.0002), (9.0025, 54.0003)])
# A bow-tie: bad shapes are written as they are.
BOW = LonLatLine([(9.1, 54), (9.2, 54.1), (9.2, 54), (9.1, 54.1)])
FIELDS = Layer(
    "fields",
    "area",
    {"name": ["Mere Piece", "Øster Mark"], "area_ha": [8.5765, None], "code": ["007", None]},
    [area_wkb([Part(RING, [HOLE])]), area_wkb([Part(BOW), Part(RING)])],
)
LINES = Layer("lines", "line", {"name": ["Along the lane"], "azimuth": [91.0177457]}, [line_wkb(RING)])
POLES = Layer("poles", "point", {"name": ["Pole"]}, [point_wkb((9.123456789, 54))])
EMPTY = Layer("nothing", "point", {"name": []}, [])
LAYERS = (FIELDS, LINES, POLES, EMPTY)


@pytest.mark.parametrize("suffix", [".gpkg", ".shp", ".geojson", ".kml", ".fgb", ".csv"])
def test_what_is_written_is_there_and_the_same_bytes_come_again(tmp_path: Path, suffix: str) -> None:
    written = write_layers(tmp_path / "one" / f"farm{suffix}", LAYERS, crs="EPSG:4258")
    again = write_layers(tmp_path / "two" / f"farm{suffix}", LAYERS, crs="EPSG:4258")

    assert [file.name for file in written.files] == [file.name for file in again.files]
    assert [a.read_bytes() == b.read_bytes() for a, b in zip(written.files, again.files, strict=True)] == [
        True for _ in written.files
    ]
    assert sorted((tmp_path / "one").iterdir()) == list(written.files)
    if suffix == ".csv":
        with written.files[0].open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        assert [row["layer"] for row in rows] == ["fields", "fields", "lines", "poles"]
        assert rows[0]["code"] == "007"
        assert rows[3]["WKT"] == "POINT (9.123456789 54.0)"
        return
    single = suffix in (".shp", ".fgb")
    fields = written.files[0].with_name(f"farm_fields{suffix}") if single else written.files[0]
    layer = None if single or suffix == ".geojson" else "fields"
    read = read_shapes(fields, columns=["name", "code", "area_ha"], layer=layer)
    assert [dict(row) for row in read.rows[:2]] == [
        {"name": "Mere Piece", "code": "007", "area_ha": "8.5765"},
        {"name": "Øster Mark", "code": None, "area_ha": None},
    ]
    assert CRS.from_user_input(read.crs).to_epsg(min_confidence=25) == (4326 if suffix == ".kml" else 4258)
    first, second = shapes_from_wkb(read.shapes[:2]).shapes()
    assert [len(part.holes) for part in first if isinstance(part, Part)] == [1]
    assert len(second) == 2
    assert {tuple(p) for part in second if isinstance(part, Part) for p in part.outer} == {*BOW, *RING}


def test_a_geopackage_holds_all_layers_and_other_formats_say_what_they_cannot(tmp_path: Path) -> None:
    package = write_layers(tmp_path / "farm.gpkg", LAYERS, crs="EPSG:7844")
    assert package.notes == ()
    (point,) = shapes_from_wkb(read_shapes(package.files[0], layer="poles").shapes).shapes()
    assert point == ((9.123456789, 54.0),)

    assert "KML can only name WGS 84" in write_layers(tmp_path / "farm.kml", LAYERS, crs="EPSG:7844").notes[0]
    geojson = write_layers(tmp_path / "farm.geojson", LAYERS, crs="EPSG:7844")
    assert "RFC 7946 knows WGS 84 only" in geojson.notes[0]
    assert json.loads(geojson.files[0].read_text("utf-8"))["crs"]["properties"]["name"].endswith("7844")
    assert write_layers(tmp_path / "plain.geojson", [FIELDS], crs="EPSG:4326").notes == ()


def test_nothing_is_replaced_unless_that_is_asked_for(tmp_path: Path) -> None:
    (tmp_path / "farm_lines.shp").write_bytes(b"mine")

    with pytest.raises(RefusedError, match=r"farm_lines\.shp is there already; nothing was written"):
        write_layers(tmp_path / "farm.shp", LAYERS, crs="EPSG:4258")
    assert [file.name for file in tmp_path.iterdir()] == ["farm_lines.shp"]
    write_layers(tmp_path / "farm.shp", LAYERS, crs="EPSG:4258", replace=True)
    assert (tmp_path / "farm_lines.shp").read_bytes() != b"mine"


def test_what_cannot_be_written_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"GeoPackage .* and CSV \(\.csv\) are written"):
        write_layers(tmp_path / "farm.gml", LAYERS, crs="EPSG:4258")
    with pytest.raises(RefusedError, match="no feature to put into it"):
        write_layers(tmp_path / "farm.gpkg", [EMPTY], crs="EPSG:4258")
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(InputError, match="cannot be written"):
        write_layers(tmp_path / "file" / "farm.gpkg", LAYERS, crs="EPSG:4258")
    with pytest.raises(InputError, match="cannot be written"):
        write_layers(tmp_path / "farm.gpkg", LAYERS, crs="no such system")
    assert [file.name for file in tmp_path.iterdir()] == ["file"]


def test_texts_that_a_format_cuts_are_told(tmp_path: Path) -> None:
    long = Layer("fields", "area", {"name": ["x" * 300]}, FIELDS.shapes[:1])

    written = write_layers(tmp_path / "farm.shp", [long], crs="EPSG:4258")

    assert any("truncated" in note for note in written.notes)
    assert np.all([file.stem == "farm" for file in written.files])
