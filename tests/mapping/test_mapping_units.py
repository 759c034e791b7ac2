from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from mapped import parsed, ring, task_file

from taskkit.geometry.geodesy import distance_m
from taskkit.geometry.line import LonLatLine
from taskkit.mapping import read_plan
from taskkit.mapping.units import (
    degrees_rounding_mm,
    length_of_millimetres,
    millimetres,
    millimetres_rounding,
    ring_points,
    whole,
)
from taskkit.plan.quantities import Length


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2.0005 m", 2000),
        ("2.0015 m", 2002),
        ("-2.0005 m", -2000),
        ("1.0005 m", 1000),  # as a float a little less than the half
        ("1.0015 m", 1002),
        ("5 ft", 1524),  # NIST SP 811, appendix B: 1 ft = 0.3048 m exactly
        ("0.1 in", 3),
        ("0.4999 mm", 0),
    ],
)
def test_millimetres_round_a_half_to_the_even_one(text, expected):
    assert millimetres(Length(text)) == expected
    assert millimetres_rounding(Length(text)) <= 0.5


@given(st.integers(0, 4294967294))
def test_whole_millimetres_come_back(number):
    assert millimetres(length_of_millimetres(number)) == number


@given(st.integers(0, 10**12))
def test_square_metres_round_a_half_to_the_even_one(halves):
    assert whole(halves / 2) == round(Fraction(halves, 2))


@given(st.floats(-180, 180), st.floats(-89, 89))
def test_the_rounding_that_is_stated_is_no_less_than_the_geodesic_distance(lon_deg, lat_deg):
    # Geodesics after C. F. F. Karney, J. Geodesy 87 (2013) 43-55.
    place = np.array([(lon_deg, lat_deg)])
    stated_mm = degrees_rounding_mm(place)
    moved_mm = 1000 * distance_m((lon_deg, lat_deg), end=tuple(np.round(place, 9)[0].tolist()))
    assert moved_mm <= stated_mm * 1.000001 + 1e-5
    assert stated_mm <= 0.08


def test_a_ring_is_written_north_before_east_and_closed():
    points = ring_points(LonLatLine([(7.0, 50.0), (7.25, 50.5)]), kind="2")
    assert points.raw.decode().split("\n") == [
        '<PNT A="2" C="50.000000000" D="7.000000000"/>',
        '<PNT A="2" C="50.500000000" D="7.250000000"/>',
        '<PNT A="2" C="50.000000000" D="7.000000000"/>',
    ]


def test_a_ring_of_one_point_stays_one_point():
    for corners in ([(9.0, 54.0)], [(9.0, 54.0), (9.0, 54.0)]):
        set_of_one = task_file(f'<PFD A="PFD1" C="x" D="0"><PLN A="1">{ring(1, *corners)}</PLN></PFD>')
        outer = read_plan(parsed(set_of_one)).plan.fields[0].boundaries[0].parts[0].outer
        assert outer == LonLatLine([(9.0, 54.0)])
