"""Polygons measured from the text of a set, against reference libraries."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from taskkit.checks import Example, SetContext
from taskkit.checks.example import field_with, hole, outer, points, polygon
from taskkit.checks.rings import measured
from taskkit.geometry.geodesy import area_m2
from taskkit.geometry.line import LonLatLine, Part
from taskkit.geometry.polygons import Trouble
from taskkit.taskdata.document import Element
from taskkit.taskdata.sets import read_set

SQUARE = "0,0 400,0 400,300 0,300 0,0"
POND = "100,100 200,100 200,200 100,200 100,100"


def context(*children, version="4.3"):
    return SetContext(read_set(Example(field_with(*children), version=version).store()))


def the_polygon(*rings):
    (found,) = context(polygon(*rings)).polygons
    return found


def test_the_area_is_that_on_the_ellipsoid_to_a_millionth():
    found = the_polygon(outer(SQUARE), hole(POND))
    rings = [LonLatLine(ring.element.lonlat()[:-1]) for ring in found.rings]

    # C. F. F. Karney's geodesic polygons, by PROJ.
    assert found.area_m2 == pytest.approx(area_m2([Part(rings[0], rings[1:])]), rel=1e-6)


def test_a_ring_tells_its_points_its_length_and_its_gap():
    (ring,) = the_polygon(outer("0,0 30,0 30,40")).rings

    assert (ring.word, ring.count, ring.closed) == ("outer ring", 3, False)
    # The examples take 111.32 km for a degree of latitude; the ellipsoid has 111.27 to 111.3 there.
    assert (ring.length_m, ring.longest_m, ring.gap_m) == pytest.approx((70, 40, 50), rel=3e-3)


def test_the_holes_of_several_outer_rings_go_to_the_smallest_that_holds_them():
    inner = "120,120 180,120 180,180 120,180 120,120"
    found = the_polygon(
        outer(SQUARE), outer(inner), hole("140,140 160,140 160,160 140,160 140,140"), hole(POND),
    )  # fmt: skip

    assert found.troubles == ()
    assert found.area_m2 == pytest.approx(120_000 - 10_000 + 3_600 - 400, rel=3e-3)


def test_a_hole_that_nothing_holds_goes_to_the_outer_ring_before_it():
    found = the_polygon(outer(SQUARE), outer("500,0 600,0 600,50 500,0"), hole("900,0 950,0 950,50 900,0"))

    assert [(t.trouble, t.ring.word) for t in found.troubles] == [(Trouble.HOLE_OUTSIDE, "hole")]
    assert found.area_m2 is None


def test_rings_without_points_and_of_other_types_are_passed_over():
    found = the_polygon('<LSG A="1"/>', f'<LSG A="5">{points("0,0 5,5")}</LSG>')

    assert (found.rings, found.unmeasured, found.area_m2) == ((), 0, None)
    assert found.depth_m(np.array([[9.5, 54.0]])) == -np.inf


def test_a_ring_that_reaches_round_the_globe_is_not_measured():
    antipode = 'C="-54.000000000" D="-170.500000000"'
    far = outer("0,0 100,0 100,100 0,0").replace('C="54.000000000" D="9.500000000"', antipode, 1)
    found = the_polygon(far, hole(POND))

    assert (found.unmeasured, found.area_m2) == (1, None)


def test_points_in_a_binary_file_are_not_measured():
    found = the_polygon('<LSG A="1"><PNT A="2" C="" D="" J="PNT00001"/></LSG>')

    assert (found.rings, found.unmeasured) == ((), 1)


def test_a_made_element_is_measured_too():
    assert measured(Element("PLN")).rings == ()


@given(st.floats(-50, 450), st.floats(-50, 350))
def test_the_depth_inside_is_the_distance_from_the_nearest_edge(east, north):
    found = the_polygon(outer(SQUARE), hole(POND))
    flat = shapely.Polygon([(0, 0), (400, 0), (400, 300), (0, 300)], [[(100, 100), (200, 100), (200, 200), (100, 200)]])
    place = shapely.Point(east, north)
    expected = flat.boundary.distance(place) * (1 if flat.contains(place) else -1)
    (line,) = context(f'<LSG A="3">{points(f"{east!r},{north!r}")}</LSG>').elements("LSG")

    # Shapely 2; the plane of the examples is 0.3 % off.
    assert found.depth_m(line.lonlat())[0] == pytest.approx(expected, abs=0.01 + 0.003 * abs(expected) + 0.003 * 450)


@pytest.mark.parametrize(
    "written",
    [
        '<PNT A="2" C="54.1" D="9.5"/>',
        '<PNT A="2" C="54.1" D="9.5"></PNT>',
        '<PNT  D="9.5" C="54.1" B="a &lt; b > c" A="2" />',
    ],
)
def test_the_place_of_a_point_is_where_its_element_begins(written):
    plain = '<PNT A="2" C="54" D="9.5"/>'
    ring = f'<LSG A="1">{plain}\n{plain}<!-- x < y -->\n  {written}{written}\n{plain}</LSG>'
    found = context(polygon(ring))
    (line,) = found.elements("LSG")
    text = line.source.data.decode()

    for number, expected in enumerate(line.point_elements()):
        where = found.point(line, number)()
        assert where == expected.where()
        assert text.splitlines()[where.line - 1][where.column - 1 :].startswith("<PNT")
    assert found.point(line, 99)() == line.where()
