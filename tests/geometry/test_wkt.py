import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from taskkit.geometry.line import LonLatLine, Part
from taskkit.geometry.wkt import format_area, format_line, format_point, parse_area, parse_line, parse_point

points = st.tuples(st.floats(-180, 180), st.floats(-90, 90))
rings = st.lists(points, min_size=1, max_size=6).map(LonLatLine)
parts = st.builds(Part, rings, st.lists(rings, max_size=2))


@given(st.lists(parts, min_size=1, max_size=3))
def test_what_is_written_reads_back_within_half_a_last_digit(area):
    back = parse_area(format_area(area))
    assert len(back) == len(area)
    for mine, theirs in zip(area, back, strict=True):
        assert len(mine.rings) == len(theirs.rings)
        for one, other in zip(mine.rings, theirs.rings, strict=True):
            assert np.abs(one.points - other.points).max() <= 0.5e-9 + 1e-13


@given(st.lists(parts, min_size=1, max_size=3))
def test_writing_what_was_read_gives_the_same_text(area):
    text = format_area(area)
    assert format_area(parse_area(text)) == text


@given(st.lists(st.lists(points, min_size=3, max_size=6, unique=True), min_size=1, max_size=3))
def test_the_text_means_the_same_to_the_reference_library(outers):
    # GEOS's reader and writer of well-known text (OGC 06-103r4).
    shape = shapely.MultiPolygon([shapely.Polygon(outer) for outer in outers])
    parts = parse_area(shapely.to_wkt(shape, rounding_precision=15))
    for part, outer in zip(parts, outers, strict=True):
        assert np.abs(part.outer.points - np.array(outer)).max() < 1e-13
    again = shapely.from_wkt(format_area(parts, decimals=15))
    assert shapely.get_num_geometries(again) == len(outers)
    assert np.abs(shapely.get_coordinates(again) - shapely.get_coordinates(shape)).max() < 1e-13


def test_words_brackets_and_blanks_may_be_loose():
    text = "\n multipolygon\t( ((0 0 , 1e0 0,1 +1.0, 0 0),\n( .1 .1, .2 .1, .2 .2, .1 .1 )) , ((5 5, 6 5, 6 6, 5 5)) ) "
    first, second = parse_area(text)
    assert first == Part(LonLatLine([(0, 0), (1, 0), (1, 1)]), [LonLatLine([(0.1, 0.1), (0.2, 0.1), (0.2, 0.2)])])
    assert second.outer == LonLatLine([(5, 5), (6, 5), (6, 6)])


def test_a_ring_that_crosses_itself_is_taken_as_it_is():
    (part,) = parse_area("POLYGON ((0 0, 1 1, 1 0, 0 1, 0 0))")
    assert len(part.outer) == 4


@pytest.mark.parametrize(
    "text",
    [
        "POLYGON Z ((0 0 7, 1 0 7, 1 1 7, 0 0 7))",
        "POLYGON M ((0 0 7, 1 0 7, 1 1 7, 0 0 7))",
        "POLYGONZM ((0 0 7 8, 1 0 7 8, 1 1 7 8, 0 0 7 8))",
        "POLYGON ((0 0 7, 1 0 7, 1 1 7, 0 0 8))",
    ],
)
def test_heights_and_measures_are_dropped_only_when_told(text):
    with pytest.raises(ValueError, match="heights and measures are not taken"):
        parse_area(text)
    (part,) = parse_area(text, drop_z_m=True)
    assert part.outer == LonLatLine([(0, 0), (1, 0), (1, 1)])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "POLYGON or MULTIPOLYGON expected, not the end"),
        ("POINT (1 2)", "POLYGON or MULTIPOLYGON expected, not 'POINT'"),
        ("SRID=4326;POLYGON ((0 0, 1 1, 0 0))", "expected, not 'SRID=4326;POLYGON'"),
        ("POLYGON EMPTY", r"an empty area or ring is not taken \(character 9\)"),
        ("MULTIPOLYGON (EMPTY)", r"\( expected at character 14"),
        ("POLYGON (0 0, 1 1, 0 0)", r"\( expected at character 9, not '\(0 0, 1 1, 0 0\)'"),
        ("POLYGON ((0 0, 1 0, 1 1, 0 0)", r"\) expected at character 30, not the end"),
        ("POLYGON ((0 0, 1 0, 1 1, 0 0)) x", "should end at character 32, but 'x' follows"),
        ("POLYGON ((0 0, 1 0, 1 1))", "character 10 is not closed: its last point must repeat its first"),
        ("POLYGON ((0 0))", "character 10 is not closed"),
        ("POLYGON ((0 0, nan 0, 0 0))", "'n' at character 16 cannot stand in a coordinate"),
        ("POLYGON ((0 0, 1_0 0, 0 0))", "'_' at character 17 cannot stand in a coordinate"),
        ("POLYGON ((0 0, 1-1 0, 0 0))", "character 10: '1-1' is no number"),
        ("POLYGON ((0 0, 1e999 0, 0 0))", "character 10: a coordinate is not a finite number"),
        ("POLYGON ((0 0, 1, 0 0))", "character 10 has a point without 2 numbers"),
        ("POLYGON ((0 0 1 1 1, 0 0 1 1 1))", "has a point without 2 numbers"),
        ("POLYGON Z ((0 0, 1 1, 0 0))", "heights and measures"),
        ("POLYGON ((0 0, 54 99.5, 0 0))", "character 10: latitude 99.5 is beyond 90 degrees"),
        ("POLYGON (( (", "a ring in brackets expected at character 10"),
        ("POLYGON ((0 0, 1 1, 0 0), EMPTY)", "an empty area or ring is not taken"),
    ],
)
def test_other_text_is_refused_with_a_plain_word_and_its_place(text, words):
    with pytest.raises(ValueError, match=words):
        parse_area(text)


def test_a_point_short_of_its_height_is_told():
    with pytest.raises(ValueError, match="has a point without 3 numbers"):
        parse_area("POLYGON Z ((0 0 1, 1 1, 0 0 1))", drop_z_m=True)


@pytest.mark.parametrize(
    "text", ["(" * 200_000, "POLYGON " + "(" * 200_000, "POLYGON ((" + " " * 200_000, "MULTI" * 50_000]
)
def test_deep_or_endless_text_is_refused_at_once(text):
    with pytest.raises(ValueError, match="expected"):
        parse_area(text)


def test_numbers_are_short_and_never_minus_zero():
    ring = LonLatLine([(-1e-12, 10), (100, -0.0), (-0.5, -10.05)])
    assert format_area([Part(ring)]) == "POLYGON ((0 10, 100 0, -0.5 -10.05, 0 10))"
    assert format_area([Part(ring)], decimals=0) == "POLYGON ((0 10, 100 0, 0 -10, 0 10))"


def test_nothing_cannot_be_written():
    with pytest.raises(ValueError, match="without parts"):
        format_area([])
    with pytest.raises(ValueError, match="without points"):
        format_area([Part(LonLatLine([]))])


def test_a_hundred_thousand_points_are_one_bite():
    turn = np.linspace(0, 2 * np.pi, 100_000, endpoint=False)
    ring = LonLatLine(np.column_stack((9.5 + 0.01 * np.cos(turn), 54 + 0.01 * np.sin(turn))))
    (part,) = parse_area(format_area([Part(ring)]))
    assert np.abs(part.outer.points - ring.points).max() < 0.51e-9


@given(st.lists(points, min_size=2, max_size=8))
def test_a_line_means_the_same_to_the_reference_library(run):
    # GEOS's reader and writer of well-known text (OGC 06-103r4).
    shape = shapely.LineString(run)
    line = parse_line(shapely.to_wkt(shape, rounding_precision=15))
    assert np.abs(line.points - np.array(run)).max() < 1e-13
    again = shapely.from_wkt(format_line(line, decimals=15))
    assert np.abs(shapely.get_coordinates(again) - line.points).max() < 1e-13
    assert format_line(parse_line(format_line(line))) == format_line(line)


@given(points)
def test_a_point_means_the_same_to_the_reference_library(point):
    (found,) = parse_point(shapely.to_wkt(shapely.Point(point), rounding_precision=15))
    assert np.abs(np.array(found) - np.array(point)).max() < 1e-13
    again = shapely.from_wkt(format_point(LonLatLine([point]), decimals=15))
    assert np.abs(shapely.get_coordinates(again)[0] - np.array(point)).max() < 1e-13


@pytest.mark.parametrize(
    ("parse", "text", "said"),
    [
        (parse_line, "LINESTRING (1 2)", "the linestring at character 12 has 1 points; it needs at least 2 points"),
        (parse_line, "LINESTRING EMPTY", "an empty area or ring is not taken"),
        (parse_line, "LINESTRING (1 2, 3 x)", "'x' at character 20 cannot stand in a coordinate"),
        (parse_line, "LINESTRING (1 2, 3 e)", "'e' is no number"),
        (parse_line, "LINESTRING (1 2, 3 4, 5)", "has a point without 2 numbers"),
        (parse_line, "LINESTRING (1 2, 3 94)", "the linestring at character 12: latitude 94 is beyond 90 degrees"),
        (parse_line, "LINESTRING Z (1 2 3, 3 4 5)", "heights and measures are not taken"),
        (parse_line, "LINESTRING (1 2, 3 4) x", "the text should end at character 23"),
        (parse_line, "POINT (1 2)", "LINESTRING expected, not 'POINT'"),
        (parse_point, "POINT (1 2, 3 4)", "the point at character 7 has 2 points; it needs one point"),
        (parse_point, "POINT 1 2", "points in brackets expected at character 7"),
    ],
)
def test_a_line_or_a_point_that_cannot_be_taken_is_told_with_its_place(parse, text, said):
    with pytest.raises(ValueError, match=said):
        parse(text)


def test_heights_are_let_go_where_that_is_asked_for():
    assert parse_line("LINESTRING Z (1 2 3, 3 4 5)", drop_z_m=True) == LonLatLine([(1, 2), (3, 4)])
    assert parse_point("POINT (1 2 3)", drop_z_m=True) == LonLatLine([(1, 2)])


def test_only_whole_lines_and_single_points_are_written():
    with pytest.raises(ValueError, match="fewer than two points"):
        format_line(LonLatLine([(1, 2)]))
    with pytest.raises(ValueError, match="2 points cannot be written as one"):
        format_point(LonLatLine([(1, 2), (3, 4)]))
    assert format_line(LonLatLine([(-1e-10, 2.50), (3, 4)])) == "LINESTRING (0 2.5, 3 4)"
