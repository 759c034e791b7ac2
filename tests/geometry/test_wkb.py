import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from taskkit.geometry.line import LonLatLine, Part
from taskkit.geometry.wkb import area_wkb, line_wkb, point_wkb, read_areas, read_shapes
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


def test_shapes_of_all_sorts_come_in_order():
    texts = [
        "POINT (1 2)",
        TEXTS[1],
        "LINESTRING (3 4, 5 6)",
        "MULTIPOINT (7 8, 9 9)",
        "MULTILINESTRING ((1 1, 2 2), (3 3, 4 4, 5 5))",
    ]
    read = read_shapes([wkb(text) for text in texts])
    assert len(read) == 5
    assert read.shapes() == (
        ((1.0, 2.0),),
        parse_area(TEXTS[1]),
        (LonLatLine([(3, 4), (5, 6)]),),
        ((7.0, 8.0), (9.0, 9.0)),
        (LonLatLine([(1, 1), (2, 2)]), LonLatLine([(3, 3), (4, 4), (5, 5)])),
    )
    assert read.shapes(read.xy + 1)[0] == ((2.0, 3.0),)
    assert read_shapes([]).shapes() == ()


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        (b"", "feature 2 cannot be read"),
        (wkb("LINESTRING EMPTY"), "feature 2 is empty"),
        (wkb("MULTIPOLYGON (((0 0, 1 0, 1 1, 0 0)), EMPTY)"), "feature 2 is empty, or a piece of it is"),
        (wkb("GEOMETRYCOLLECTION (POINT (1 2))"), "feature 2 is no area, line or point"),
    ],
)
def test_what_is_no_shape_is_refused_by_number(bad, words):
    with pytest.raises(ValueError, match=words):
        read_shapes([wkb("POINT (1 2)"), bad])


lonlat = st.tuples(st.floats(-180, 180), st.floats(-90, 90))
rings = st.lists(lonlat, min_size=3, max_size=6).map(LonLatLine)


@given(st.lists(st.builds(Part, rings, st.lists(rings, max_size=2)), min_size=1, max_size=3))
def test_parts_come_back_from_their_binary(parts):
    (back,) = read_areas([area_wkb(parts)]).parts()
    assert back == tuple(parts)
    assert read_shapes([area_wkb(parts)]).shapes() == (back,)


@given(st.lists(lonlat, min_size=2, max_size=6), lonlat)
def test_lines_and_points_come_back_from_their_binary(points, point):
    line = LonLatLine(points)
    assert read_shapes([line_wkb(line), point_wkb(point)]).shapes() == ((line,), (point,))
