"""``taskkit gis``: a plan or a set as a GIS file, as a person asks for it."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from taskkit import api
from taskkit.gis.reading import read_shapes
from taskkit.plan.files import load_plan, save_plan

SAMPLE = Path(__file__).resolve().parents[2] / "samples" / "larkmoor"
Run = Callable[..., subprocess.CompletedProcess[str]]


def test_a_plan_becomes_a_gis_file_and_is_not_written_twice(taskkit: Run, tmp_path: Path) -> None:
    done = taskkit("gis", SAMPLE, "--out", tmp_path / "farm.gpkg", "--format", "json")
    again = taskkit("gis", SAMPLE, "--out", tmp_path / "farm.gpkg")
    third = taskkit("gis", SAMPLE, "--out", tmp_path / "farm.gpkg", "--overwrite")

    assert done.returncode == 0, done.stderr
    result = json.loads(done.stdout)
    assert (result["frame"], result["crs"]) == ("ETRS89", "EPSG:4258")
    counts = {layer["name"]: layer["features"] for layer in result["layers"]}
    assert list(counts) == [
        "fields", "boundaries", "lines", "feature_points", "feature_lines", "feature_areas", "main_field", "headland",
    ]  # fmt: skip
    assert result["files"] == [str(tmp_path / "farm.gpkg")]
    assert again.returncode == 2
    assert "Replace it with --overwrite" in again.stderr
    assert third.returncode == 0
    assert "frame ETRS89 (EPSG:4258)" in third.stdout
    plan = load_plan(SAMPLE)
    lines = read_shapes(tmp_path / "farm.gpkg", columns=["field", "name", "kind", "spacing_m"], layer="lines")
    assert dict(lines.rows[0]) == {
        "field": plan.fields[0].name, "name": "Along the lane", "kind": "straight", "spacing_m": "3",
    }  # fmt: skip
    assert len(lines.rows) == counts["lines"] > len(plan.fields)
    headland = read_shapes(tmp_path / "farm.gpkg", columns=["field", "area_ha"], layer="headland")
    assert {row["field"] for row in headland.rows} == {field.name for field in plan.fields if field.headland}


def test_a_set_becomes_a_gis_file_in_a_frame_that_nobody_knows(tmp_path: Path) -> None:
    api.export(SAMPLE, tmp_path / "stick")

    written = api.gis(tmp_path / "stick", tmp_path / "set.geojson")

    assert (written.frame, written.crs) == ("unknown", "EPSG:4326")
    assert read_shapes(written.files[0], columns=["layer"]).rows[0]["layer"] == "fields"


def test_a_frame_of_our_own_making_is_written_as_wgs84_and_told(tmp_path: Path) -> None:
    save_plan(load_plan(SAMPLE).model_copy(update={"steering_frame": "Old town grid"}), tmp_path / "plan")

    written = api.gis(tmp_path / "plan", tmp_path / "farm.csv")

    assert written.crs == "EPSG:4326"
    assert "the frame Old town grid is not known here" in written.notes[0]


@pytest.mark.parametrize("name", ["farm.gml", "farm"])
def test_an_ending_that_is_no_format_is_told(taskkit: Run, tmp_path: Path, name: str) -> None:
    done = taskkit("gis", SAMPLE, "--out", tmp_path / name)

    assert done.returncode == 2
    assert "are written. Give the file one of these endings." in done.stderr


@pytest.mark.parametrize("name", ["farm.gpkg", "farm.kml", "out/farm.geojson"])
def test_a_path_from_where_one_stands_is_written_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    plan = Path(__file__).resolve().parents[2] / "samples" / "larkmoor"
    monkeypatch.chdir(tmp_path)

    written = api.gis(plan, name)

    assert [file.is_file() for file in written.files] == [True]
