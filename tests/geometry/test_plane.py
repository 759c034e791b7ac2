import math

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Transformer

from taskkit.geometry.geodesy import destination, distance_m
from taskkit.geometry.line import LonLatLine, MetreLine
from taskkit.geometry.plane import FLATTENING, SEMI_MAJOR_AXIS_M, LocalPlane

lons = st.floats(-180, 180)
lats = st.floats(-90, 90)
offsets = st.floats(-20000, 20000)
REFERENCE = Geodesic(SEMI_MAJOR_AXIS_M, FLATTENING)


@given(lons, lats, st.lists(st.tuples(offsets, offsets), min_size=1, max_size=8))
def test_metres_to_degrees_and_back_is_exact(lon, lat, points):
    plane = LocalPlane(lon, lat)
    there = plane.to_degrees(MetreLine(points))
    assert np.abs(plane.to_plane(there).points - np.array(points)).max() < 1e-7


@given(lons, lats, offsets, offsets)
def test_the_plane_is_the_orthographic_projection_of_the_reference_library(lon, lat, east, north):
    # PROJ's "ortho" on an ellipsoid is IOGP Guidance Note 7-2, EPSG method 9840; we use none of its code.
    ortho = Transformer.from_pipeline(f"+proj=ortho +lat_0={lat!r} +lon_0={lon!r} +ellps=WGS84")
    plane = LocalPlane(lon, lat)
    place = plane.to_degrees(MetreLine([(east, north)]))
    theirs = ortho.transform(*place.points[0])
    assert theirs == pytest.approx((east, north), abs=1e-6)


@pytest.mark.parametrize("distance", [1000.0, 3000.0, 10000.0])
@pytest.mark.parametrize("lat", [-90.0, -45.0, 0.0, 52.0, 65.0, 89.999])
def test_the_stated_error_holds_against_geodesics(lat, distance):
    plane = LocalPlane(9.5, lat)
    worst = 0.0
    spokes = [
        destination((9.5, lat), azimuth_deg=a, distance_m=r * distance) for a in range(0, 360, 30) for r in (0.4, 1)
    ]
    metres = plane.metres(np.array(spokes))
    for i, start in enumerate(spokes):
        for j in range(i):
            theirs = REFERENCE.Inverse(start[1], start[0], spokes[j][1], spokes[j][0])["s12"]
            worst = max(worst, abs(math.dist(metres[i], metres[j]) - theirs))
    assert worst <= plane.error_m(distance) + 1e-8
    # A bound ten times too wide would say nothing.
    assert worst > plane.error_m(distance) * 0.9


def test_a_distance_from_the_origin_is_off_by_half_the_bound_at_most():
    plane = LocalPlane(9.5, 0.0)
    end = destination((9.5, 0.0), azimuth_deg=0, distance_m=10000)
    short = 10000 - math.hypot(*plane.metres(np.array([end]))[0])
    assert short == pytest.approx(plane.error_m(10000) / 2, rel=1e-3)


def test_east_is_east_and_north_is_north():
    plane = LocalPlane(9.5, 54.0)
    ((east, north),) = plane.to_plane(LonLatLine([(9.501, 54.0)]))
    assert east == pytest.approx(distance_m((9.5, 54.0), end=(9.501, 54.0)), abs=1e-4)
    # The parallel bends north of the tangent: e^2 tan(lat) / (2 N).
    assert north == pytest.approx(east**2 * math.tan(math.radians(54)) / 2 / 6392000, abs=1e-5)


def test_the_middle_lies_across_longitude_180():
    plane = LocalPlane.around([LonLatLine([(179.998, -17.6)]), LonLatLine([]), LonLatLine([(-179.997, -17.5965)])])
    assert abs(plane.lon_deg) == pytest.approx(179.9995, abs=1e-6)
    ((west, _), (east, _)) = plane.metres(np.array([(179.998, -17.6), (-179.997, -17.5965)]))
    assert -300 < west < 0 < east < 300


def test_the_middle_of_points_round_a_pole_is_the_pole():
    plane = LocalPlane.around([LonLatLine([(0, 89.9), (90, 89.9), (180, 89.9), (-90, 89.9)])])
    assert plane.lat_deg == pytest.approx(90)
    back = plane.to_degrees(plane.to_plane(LonLatLine([(10, 89.99), (-100, 89.99)])))
    assert back.points == pytest.approx(np.array([(10, 89.99), (-100, 89.99)]), abs=1e-10)


def test_a_plane_needs_a_point():
    with pytest.raises(ValueError, match="no point"):
        LocalPlane.around([LonLatLine([])])


def test_a_point_beyond_the_horizon_is_refused_and_nan_in_bulk():
    plane = LocalPlane(9.5, 54.0)
    with pytest.raises(ValueError, match=r"beyond the horizon of longitude 9.5, latitude 54"):
        plane.to_plane(LonLatLine([(9.5, 54.0), (-170.5, -54.0)]))
    assert np.isnan(plane.metres(np.array([(9.5, 54.0), (-170.5, -54.0)]))).tolist() == [[False] * 2, [True] * 2]


def test_a_plane_point_that_misses_the_earth_is_refused():
    with pytest.raises(ValueError, match="misses the ellipsoid"):
        LocalPlane(9.5, 54.0).to_degrees(MetreLine([(6.5e6, 0)]))


def test_an_origin_off_the_globe_is_refused():
    with pytest.raises(ValueError, match="latitude 95"):
        LocalPlane(9.5, 95.0)


def test_planes_are_values():
    assert LocalPlane(9.5, 54.0) == LocalPlane(9.5, 54.0) != LocalPlane(9.5, 54.1)
    assert len({LocalPlane(9.5, 54.0), LocalPlane(9.5, 54.0)}) == 1


def test_no_lines_at_all_are_no_trouble():
    plane = LocalPlane(9.5, 54.0)
    assert len(plane.to_degrees(plane.to_plane(LonLatLine([])))) == 0
