import math

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st

from taskkit.geometry.line import LonLatLine, MetreLine
from taskkit.geometry.plane import FLATTENING, SEMI_MAJOR_AXIS_M, LocalPlane
from taskkit.geometry.sideways import heading_moved, line_moved

# The reference library, by the author of the algorithm; an implementation that shares no code with PROJ's.
REFERENCE = Geodesic(SEMI_MAJOR_AXIS_M, FLATTENING)
PLANE = LocalPlane(9.5, 54.0)

latitudes = st.floats(-80, 80)
asides = st.floats(-50, 50)


def on_ground(points):
    return PLANE.to_degrees(MetreLine(points))


def in_metres(line):
    return PLANE.to_plane(line).points


@given(latitudes, st.floats(0, 360), asides)
def test_both_ends_of_a_straight_line_go_sideways_by_the_distance_at_right_angles(lat_deg, azimuth_deg, right_m):
    end = REFERENCE.Direct(lat_deg, 9.5, azimuth_deg, 400.0)
    line = LonLatLine([(9.5, lat_deg), (end["lon2"], end["lat2"])])

    moved = line_moved(line, right_m=right_m)

    for (lon, lat), heading, (there_lon, there_lat) in zip(line, (azimuth_deg, end["azi2"]), moved, strict=True):
        expected = REFERENCE.Direct(lat, lon, heading + 90.0, right_m)
        assert math.isclose(there_lat, expected["lat2"], abs_tol=1e-11)
        assert math.isclose(there_lon, expected["lon2"], abs_tol=1e-10)


def test_a_corner_goes_to_where_the_moved_sides_meet():
    # Plane geometry: beside two sides at right angles the corner moves by the distance along each.
    moved = line_moved(on_ground([(0, 0), (100, 0), (100, 100)]), right_m=3.0)
    assert np.abs(in_metres(moved) - [(0, -3), (103, -3), (103, 100)]).max() < 1e-3


def test_a_point_where_the_line_turns_back_goes_no_farther_than_twice_the_distance():
    moved = line_moved(on_ground([(0, 0), (100, 0), (0, 1)]), right_m=3.0)
    assert np.hypot(*(in_metres(moved)[1] - (100, 0))) == pytest.approx(6.0, abs=1e-3)


def test_points_that_are_there_twice_stay_together():
    moved = line_moved(on_ground([(0, 0), (100, 0), (100, 0), (200, 0)]), right_m=-2.0)
    assert np.abs(in_metres(moved) - [(0, 2), (100, 2), (100, 2), (200, 2)]).max() < 2e-3


def test_a_line_of_one_place_has_no_side():
    line = LonLatLine([(9.5, 54.0), (9.5, 54.0)])
    assert line_moved(line, right_m=3.0) == line


def test_a_line_across_180_degrees_stays_there():
    moved = line_moved(LonLatLine([(179.9999, 0.0), (-179.9999, 0.0)]), right_m=10.0)
    assert np.abs(moved.lon_deg).min() > 179.9
    assert (moved.lat_deg < 0).all()


@given(st.lists(st.floats(-20, 20), min_size=2, max_size=6), asides.filter(lambda m: abs(m) <= 20))
def test_left_is_the_right_of_the_line_the_other_way(offsets_m, right_m):
    line = on_ground([(50.0 * n, offset) for n, offset in enumerate(offsets_m)])

    there = line_moved(line, right_m=right_m)
    back = line_moved(LonLatLine(line.points[::-1]), right_m=-right_m)

    assert np.abs(in_metres(there) - in_metres(back)[::-1]).max() < 1e-5


@given(latitudes, st.floats(0, 360), asides)
def test_a_moved_heading_goes_the_same_way_as_the_line_through_two_moved_points(lat_deg, heading_deg, right_m):
    (lon, lat), there_deg = heading_moved((9.5, lat_deg), heading_deg=heading_deg, right_m=right_m)

    end = REFERENCE.Direct(lat_deg, 9.5, heading_deg, 500.0)
    far = REFERENCE.Direct(end["lat2"], end["lon2"], end["azi2"] + 90.0, right_m)
    expected = REFERENCE.Inverse(lat, lon, far["lat2"], far["lon2"])["azi1"]
    assert abs((there_deg - expected + 180) % 360 - 180) < 1e-5
    assert 0 <= there_deg < 360


def test_a_heading_that_is_not_moved_stays():
    place, heading_deg = heading_moved((9.5, 54.0), heading_deg=35.0, right_m=0.0)
    assert place == pytest.approx((9.5, 54.0), abs=1e-12)
    assert heading_deg == pytest.approx(35.0, abs=1e-12)
