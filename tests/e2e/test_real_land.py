"""Real field boundaries from plan to task data and back: none is harmed, none needs a finding."""

from __future__ import annotations

from pathlib import Path

import pytest
from geographiclib.geodesic import Geodesic

from taskkit import api
from taskkit.findings import Severity
from taskkit.geometry.geodesy import area_m2
from taskkit.geometry.line import LonLatLine, Part
from taskkit.plan.files import load_plan


def geographiclib_area_m2(part: Part) -> float:
    """The area of a part by GeographicLib's own code (Karney 2013), which shares nothing with PROJ's call here."""

    def ring_m2(ring: LonLatLine) -> float:
        polygon = Geodesic.WGS84.Polygon()
        for lon, lat in ring:
            polygon.AddPoint(lat, lon)
        return abs(polygon.Compute(False, True)[2])

    return ring_m2(part.outer) - sum(ring_m2(hole) for hole in part.holes)


# Danish field parcels 2026 (CC0 1.0, Danish Agricultural Agency) and field blocks of Schleswig-Holstein 2026
# (DL-DE-Zero 2.0, Land Schleswig-Holstein).
@pytest.mark.parametrize(("file", "column"), [("dk.zip", "Marknr"), ("de_sh.gpkg.zip", "FLIK")])
def test_a_hundred_real_fields_survive_the_whole_way(shared_data: Path, tmp_path: Path, file: str, column: str) -> None:
    made = api.new(tmp_path / "plan", source=shared_data / file, name_from=column)
    exported = api.export(tmp_path / "plan", tmp_path / "stick")
    checked = api.check(tmp_path / "stick")
    back = api.read(tmp_path / "stick", tmp_path / "back")
    compared = api.compare(tmp_path / "plan", tmp_path / "back").comparison

    assert made.fields == 100
    assert made.frame == "ETRS89"
    assert [f for f in exported.report if f.severity >= Severity.WARNING] == []
    assert [f for f in checked.report if f.severity >= Severity.WARNING] == []
    assert checked.report.crashed == ()
    assert checked.report.skipped == ()
    assert back.report.worst() in (None, Severity.NOTE)
    assert compared.largest_move_mm <= 0.1
    assert compared.hausdorff_mm <= 0.1
    before, after = load_plan(tmp_path / "plan"), load_plan(tmp_path / "back")
    for mine, read in zip(before.fields, after.fields, strict=True):
        outline, returned = mine.boundary(), read.boundary()
        assert outline is not None
        assert returned is not None
        assert mine.name == read.name
        expected = sum(geographiclib_area_m2(part) for part in outline.parts)
        assert area_m2(returned.parts) == pytest.approx(expected, rel=1e-7)
