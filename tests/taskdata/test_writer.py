import itertools
import zipfile
from decimal import ROUND_HALF_EVEN, Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree
from specimens import Held, content, judged, reading_of, written_set

from taskkit.errors import InternalError
from taskkit.taskdata.document import Element, Points, TaskData, Verbatim
from taskkit.taskdata.sets import read_set
from taskkit.taskdata.store import open_store
from taskkit.taskdata.writer import DECIMALS, built_points, files, serialise, write_folder, write_zip

LAST = Decimal(1).scaleb(-DECIMALS)


def exact(degrees):
    """The decimal text nearest to a number, by exact arithmetic: the reference of what is written in bulk."""
    rounded = Decimal(degrees).quantize(LAST, ROUND_HALF_EVEN)
    return f"{abs(rounded) if rounded == 0 else rounded:f}"


def texts(points):
    return [(p.attributes["A"], p.attributes["C"], p.attributes["D"]) for p in points.elements()]


TINY = (
    0.0,
    -0.0,
    1e-300,
    -1e-300,
    5e-324,
    4.9e-10,
    -4.9e-10,
    5e-10,
    -5e-10,
    5.1e-10,
    -5.1e-10,
    1e-9,
    -1e-9,
    0.1,
    1 / 3,
)
NINES = (0.999999999, 0.9999999996, -9.9999999999, 9.9999999995, 9.9999999994, 10.0, 89.9999999999, 90.0, -90.0)
FAR = (99.9999999996, 100.0, 180.0, -180.0, 179.9999999996, -179.9999999996)
latitudes = st.floats(-90, 90) | st.sampled_from(TINY + NINES)
longitudes = st.floats(-180, 180) | st.sampled_from(TINY + NINES + FAR)


@given(st.lists(st.tuples(longitudes, latitudes), min_size=1, max_size=30))
def test_coordinates_are_written_as_exact_arithmetic_rounds_them(pairs):
    written = texts(built_points("2", np.array(pairs)))
    for (_, north, east), (longitude, latitude) in zip(written, pairs, strict=True):
        for text, degrees in ((north, latitude), (east, longitude)):
            if text != exact(degrees):
                # Within the last bits of a tie either neighbour is as good.
                assert abs(abs(Decimal(text) - Decimal(degrees)) - LAST / 2) < Decimal("2e-14"), (text, degrees)


@pytest.mark.parametrize(
    ("degrees", "text"),
    [
        (0.0, "0.000000000"),
        (-0.0, "0.000000000"),
        (-4e-10, "0.000000000"),
        (-6e-10, "-0.000000001"),
        (9.9999999996, "10.000000000"),
        (-9.9999999996, "-10.000000000"),
        (90.0, "90.000000000"),
        (-90.0, "-90.000000000"),
        (54.1, "54.100000000"),
        (-1.25, "-1.250000000"),
        (5.000000001, "5.000000001"),
    ],
)
def test_numbers_have_nine_decimals_no_padding_and_no_minus_zero(degrees, text):
    assert texts(built_points("2", np.array([[degrees, degrees]]))) == [("2", text, text)]


def test_the_far_east_and_west_have_three_digits():
    points = built_points("2", np.array([[180.0, 1.0], [-180.0, -1.0], [100.0, 10.0], [99.9999999999, 0.0]]))
    assert [east for _, _, east in texts(points)] == [
        "180.000000000",
        "-180.000000000",
        "100.000000000",
        "100.000000000",
    ]


@given(st.lists(st.tuples(longitudes, latitudes), min_size=1, max_size=20))
def test_what_is_written_is_canonical_and_reads_back_within_half_a_last_digit(pairs):
    points = built_points("2", np.array(pairs))
    ring = Element("LSG", {"A": "1"})
    ring.add(points)
    root, _ = judged(serialise(ring), fast=True, block=1 << 20)
    (own_columns, columns) = (points.lonlat(), root.lonlat())
    assert own_columns.tobytes() == columns.tobytes()
    assert np.abs(columns - np.array(pairs)).max() <= 0.5e-9 + 3e-14


def test_types_of_mixed_width_are_written_for_each_point():
    points = built_points(["2", "10", "7", "11", "1"], np.arange(10.0).reshape(5, 2))
    assert [t for t, _, _ in texts(points)] == points.types() == ["2", "10", "7", "11", "1"]
    assert points.raw.splitlines()[1] == b'<PNT A="10" C="3.000000000" D="2.000000000"/>'
    assert len(points) == 5


def test_points_are_the_same_bytes_as_a_format_string_gives():
    rng = np.random.default_rng(3)
    pairs = rng.uniform([-180, -90], [180, 90], (5000, 2))
    expected = "\n".join(f'<PNT A="2" C="{lat:.9f}" D="{lon:.9f}"/>' for lon, lat in pairs)
    assert built_points("2", pairs).raw.decode() == expected


@pytest.mark.parametrize(
    ("types", "points", "message"),
    [
        ("2", np.empty((0, 2)), "shape"),
        ("2", np.zeros((3, 3)), "shape"),
        ("2", np.zeros(2), "shape"),
        ("2", np.array([[181.0, 0.0]]), "out of range"),
        ("2", np.array([[0.0, 90.0000001]]), "out of range"),
        ("2", np.array([[np.nan, 0.0]]), "not finite"),
        ("2", np.array([[0.0, -np.inf]]), "not finite"),
        (["2"], np.zeros((2, 2)), "1 types for 2 points"),
        ("a b", np.zeros((2, 2)), "no number"),
        (["2", ""], np.zeros((2, 2)), "no number"),
        ("٣", np.zeros((2, 2)), "no number"),
    ],
)
def test_points_that_cannot_be_written_are_refused(types, points, message):
    with pytest.raises(ValueError, match=message):
        built_points(types, points)


# Whole files.


def test_one_element_a_line_and_points_indented_below_their_parent():
    ring = Element("LSG", {"A": "1"})
    ring.add(built_points("2", np.array([[9.5, 54.1], [9.6, 54.2]])))
    ring.add(Verbatim(b"<!-- end -->"))
    outer = Element("PLN", {"A": "1"})
    outer.add(ring)
    outer.add(Element("LSG"))
    assert serialise(outer).decode() == (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<PLN A="1">\n'
        '  <LSG A="1">\n'
        '    <PNT A="2" C="54.100000000" D="9.500000000"/>\n'
        '    <PNT A="2" C="54.200000000" D="9.600000000"/>\n'
        "    <!-- end -->\n"
        "  </LSG>\n"
        "  <LSG/>\n"
        "</PLN>\n"
    )


ESCAPED = {"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;", "\t": "&#9;", "\n": "&#10;", "\r": "&#13;", "'": "'"}


@pytest.mark.parametrize(("character", "written"), ESCAPED.items(), ids=repr)
def test_what_xml_would_change_is_written_as_a_reference(character, written):
    text = serialise(Element("CTR", {"B": f"a{character}b"})).decode()
    assert f'B="a{written}b"' in text
    assert etree.fromstring(text.encode()).get("B") == f"a{character}b"


@given(st.text(st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\ufffe\uffff"), max_size=40))
def test_any_text_comes_back_through_the_reference_parser(text):
    assert etree.fromstring(serialise(Element("CTR", {"B": text}))).get("B") == text


def test_nothing_but_children_can_be_written():
    element = Element("CTR")
    element.children.append("text")
    with pytest.raises(InternalError, match="cannot hold 'text'"):
        serialise(element)


def test_the_same_set_gives_the_same_bytes():
    assert list(files(written_set())) == list(files(written_set()))


def test_files_come_in_a_fixed_order():
    data = written_set()
    data = TaskData(data.main, data.links, {"b": b"2", "a": b"1"})
    assert [name for name, _ in files(data)] == ["TASKDATA.XML", "LINKLIST.XML", "a", "b"]
    assert [name for name, _ in files(TaskData(data.main))] == ["TASKDATA.XML"]


def test_a_folder_holds_the_files_and_must_be_new(tmp_path):
    write_folder(written_set(), tmp_path / "new" / "TASKDATA")
    found = {p.name: p.read_bytes() for p in (tmp_path / "new" / "TASKDATA").iterdir()}
    assert found == dict(files(written_set()))
    with pytest.raises(FileExistsError):
        write_folder(written_set(), tmp_path / "new" / "TASKDATA")


@pytest.mark.parametrize("stored", [True, False], ids=["stored", "packed"])
def test_a_zip_is_the_same_to_the_byte_each_time_and_says_nothing_of_this_machine(tmp_path, stored):
    for name in ("one.zip", "other.zip"):
        write_zip(written_set(), tmp_path / name, stored=stored)
    data = (tmp_path / "one.zip").read_bytes()
    assert data == (tmp_path / "other.zip").read_bytes()
    assert (b"<PFD" in data) == stored
    with zipfile.ZipFile(tmp_path / "one.zip") as archive:
        for entry, (name, content) in itertools.zip_longest(archive.infolist(), files(written_set())):
            assert (entry.filename, archive.read(entry)) == (f"TASKDATA/{name}", content)
            assert entry.date_time == (1980, 1, 1, 0, 0, 0)
            assert (entry.create_system, entry.external_attr >> 16, entry.extra, entry.comment) == (3, 0o644, b"", b"")
            assert entry.compress_type == (zipfile.ZIP_STORED if stored else zipfile.ZIP_DEFLATED)


@pytest.mark.parametrize("kind", ["folder", "zip"])
def test_a_written_set_reads_back_whole_and_clean(tmp_path, kind):
    data = written_set()
    if kind == "folder":
        write_folder(data, tmp_path / "set")
    else:
        write_zip(data, tmp_path / "set")
    reading = read_set(open_store(tmp_path / "set"))
    report = reading.findings.report()
    assert ([f.message for f in report], report.crashed, report.skipped) == ([], (), ())
    assert content(reading.data.main) == content(data.main)
    assert content(reading.data.links) == content(data.links)
    assert dict(reading.data.companions) == {"NOTES.TXT": b"a b c"}


def test_what_was_read_is_written_with_its_points_untouched():
    main, links = (content for _, content in list(files(written_set()))[:2])
    odd = main.replace(b'C="54.', b'C="+54.', 3)
    reading = reading_of(odd, links)
    assert dict(files(reading.data)) == {"TASKDATA.XML": odd, "LINKLIST.XML": links}


def test_a_link_list_that_could_not_be_read_travels_as_it_is():
    main = serialise(written_set().main)
    reading = read_set(Held({"TASKDATA.XML": main, "LINKLIST.XML": b"<broken"}), oracle=False)
    assert reading.data.links is None
    assert dict(files(reading.data)) == {"TASKDATA.XML": main, "LINKLIST.XML": b"<broken"}


def test_points_know_how_many_they_are():
    points = built_points("2", np.zeros((3, 2)))
    assert repr(points) == "<3 points>"
    assert isinstance(points, Points)
    assert repr(Element("CTR", {"A": "CTR1"})) == "<CTR {'A': 'CTR1'}>"
