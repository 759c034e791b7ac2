import json
import math
from pathlib import Path

import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st

from taskkit.geometry.geodesy import area_m2, azimuth_deg, destination, distance_m
from taskkit.geometry.line import LonLatLine, Part
from taskkit.geometry.plane import FLATTENING, SEMI_MAJOR_AXIS_M

PUBLISHED = json.loads((Path(__file__).resolve().parents[1] / "reference" / "geodesy.json").read_text())
# The reference library, by the author of the algorithm; an implementation that shares no code with PROJ's.
REFERENCE = Geodesic(SEMI_MAJOR_AXIS_M, FLATTENING)

lons = st.floats(-180, 180)
lats = st.floats(-89.9, 89.9)


def reference_area_m2(ring):
    polygon = REFERENCE.Polygon()
    for lon, lat in ring:
        polygon.AddPoint(lat, lon)
    return abs(polygon.Compute(False, True)[2])


def turned_by(angle_deg, other_deg):
    return abs((angle_deg - other_deg + 180) % 360 - 180)


@pytest.mark.parametrize("case", PUBLISHED["inverse"], ids=lambda c: c["source"][:40])
def test_distance_and_azimuth_are_the_published_ones(case):
    start, end = tuple(case["start"]), tuple(case["end"])
    assert distance_m(start, end=end) == pytest.approx(case["distance_m"], abs=case["tolerance_m"])
    if "azimuth_deg" in case:
        assert turned_by(azimuth_deg(start, end=end), case["azimuth_deg"]) <= case["tolerance_deg"]


@pytest.mark.parametrize("case", PUBLISHED["direct"], ids=lambda c: c["source"][:40])
def test_destination_is_the_published_one(case):
    reached = destination(tuple(case["start"]), azimuth_deg=case["azimuth_deg"], distance_m=case["distance_m"])
    assert reached == pytest.approx(tuple(case["end"]), abs=case["tolerance_deg"])


@pytest.mark.parametrize("case", PUBLISHED["areas"], ids=lambda c: c["name"])
@pytest.mark.parametrize("step", [1, -1], ids=["as listed", "reversed"])
def test_area_is_the_published_one_in_both_directions(case, step):
    holes = [LonLatLine(case["hole"][::step])] if "hole" in case else []
    part = Part(LonLatLine(case["outer"][::step]), holes)
    assert area_m2([part]) == pytest.approx(case["area_m2"], abs=case["tolerance_m2"])


@given(lons, lats, lons, lats)
def test_distance_agrees_with_the_reference_library(lon1, lat1, lon2, lat2):
    theirs = REFERENCE.Inverse(lat1, lon1, lat2, lon2)
    assert distance_m((lon1, lat1), end=(lon2, lat2)) == pytest.approx(theirs["s12"], abs=2e-8)


@given(lons, lats, st.floats(0, 360), st.floats(1, 1e6))
def test_going_there_and_looking_back_agree(lon, lat, azimuth, length):
    end = destination((lon, lat), azimuth_deg=azimuth, distance_m=length)
    theirs = REFERENCE.Direct(lat, lon, azimuth, length)
    assert distance_m((lon, lat), end=end) == pytest.approx(length, abs=1e-8)
    assert end[1] == pytest.approx(theirs["lat2"], abs=1e-12)
    seen = azimuth_deg((lon, lat), end=end)
    assert 0 <= seen < 360
    assert math.radians(turned_by(seen, azimuth)) * length < 1e-6 / math.cos(math.radians(lat))


@given(
    lons,
    st.floats(-75, 75),
    st.lists(st.tuples(st.floats(50, 3000), st.floats(0, 1)), min_size=3, max_size=12),
)
def test_area_of_a_field_agrees_with_the_reference_library(lon, lat, corners):
    turns = sorted(share * 360 for _, share in corners)
    ring = [
        destination((lon, lat), azimuth_deg=turn, distance_m=reach)
        for turn, (reach, _) in zip(turns, corners, strict=True)
    ]
    assert area_m2([Part(LonLatLine(ring))]) == pytest.approx(reference_area_m2(ring), rel=1e-9, abs=1e-3)


def test_two_parts_count_together_and_less_than_three_points_enclose_nothing():
    square = Part(LonLatLine([(5, 52), (5.001, 52), (5.001, 52.001), (5, 52.001)]))
    nothing = Part(LonLatLine([(5, 52), (5.001, 52)]))
    assert area_m2([square, square, nothing]) == pytest.approx(2 * area_m2([square]), rel=1e-15)


def test_an_area_is_never_negative():
    outer = LonLatLine([(5, 52), (5.001, 52), (5.001, 52.001)])
    assert area_m2([Part(outer, [outer, outer])]) == 0.0
