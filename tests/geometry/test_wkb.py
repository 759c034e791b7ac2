import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from taskkit.geometry.line import LonLatLine, Part
from taskkit.geometry.wkb import read_areas
from taskkit.geometry.wkt import parse_area

TEXTS = [
    "POLYGON ((0 0, 9 0, 9 9, 0 9, 0 0), (1 1, 2 1, 2 2, 1 1))",
    "MULTIPOLYGON (((0 0, 1 0, 1 1, 0 0)), ((5 5, 6 5, 6 6, 5 5), (5.5 5.4, 5.6 5.4, 5.6 5.5, 5.5 5.4)))",
    "POLYGON ((0 0, 2 2, 2 0, 0 2, 0 0))",
]


def wkb(text, **how):
    return shapely.to_wkb(shapely.from_wkt(text), **how)


def test_areas_are_those_of_the_text_form():
    areas = read_areas([wkb(text) for text in TEXTS])
    assert len(areas) == 3
    assert areas.parts() == tuple(parse_area(text) for text in TEXTS)


def test_parts_take_the_places_that_the_coordinates_were_brought_to():
    areas = read_areas([wkb(TEXTS[0])])
    ((part,),) = areas.parts(areas.xy + 1)
    assert part.holes == (LonLatLine([(2, 2), (3, 2), (3, 3)]),)


def test_heights_are_left_out():
    areas = read_areas([wkb("POLYGON Z ((0 0 7, 1 0 7, 1 1 7, 0 0 7))", output_dimension=3)])
    assert areas.parts() == ((Part(LonLatLine([(0, 0), (1, 0), (1, 1)])),),)


def test_no_areas_are_no_trouble():
    assert read_areas([]).parts() == ()


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        (b"", "area 2 cannot be read"),
        (b"\x01\x03\x00\x00\x00\xff\xff\xff\xff", "area 2 cannot be read"),
        (wkb(TEXTS[0])[:-5], "area 2 cannot be read"),
        (wkb("POINT (1 2)"), "area 2 is no polygon or is empty"),
        (wkb("LINESTRING (1 2, 3 4)"), "area 2 is no polygon or is empty"),
        (wkb("POLYGON EMPTY"), "area 2 is no polygon or is empty"),
    ],
)
def test_what_is_no_area_is_refused_by_number(bad, words):
    with pytest.raises(ValueError, match=words):
        read_areas([wkb(TEXTS[0]), bad])


@given(st.binary(max_size=60))
def test_any_bytes_are_read_or_refused(data):
    try:
        areas = read_areas([data])
    except ValueError:
        return
    assert len(areas) == 1


@given(
    st.lists(
        st.lists(st.tuples(st.floats(-180, 180), st.floats(-90, 90)), min_size=4, max_size=7), min_size=1, max_size=3
    )
)
def test_coordinates_come_through_exactly(outers):
    shape = shapely.MultiPolygon([shapely.Polygon([*outer, outer[0]]) for outer in outers])
    areas = read_areas([shapely.to_wkb(shape)])
    assert np.array_equal(areas.xy, shapely.get_coordinates(shape))
    assert [len(part.outer) for part in areas.parts()[0]] == [len(outer) for outer in outers]
