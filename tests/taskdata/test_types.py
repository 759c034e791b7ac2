import csv
import json
import math
import re
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from xml.sax.saxutils import quoteattr

import orjson
import pytest
import xmlschema
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from taskkit.taskdata.dictionary import TYPES, dictionary
from taskkit.taskdata.types import LEXICAL, canonical_pattern, problem_finder

ELEMENTS = dictionary().elements
INTEGERS = ("long", "unsignedLong", "unsignedShort", "unsignedByte")


def limits_of(attribute):
    """Attributes with the same limits are judged alike."""
    pattern = attribute.pattern and attribute.pattern.replace(attribute.target or attribute.element, "TAG")
    values = tuple(v.value for v in attribute.values)
    return attribute.type, attribute.minimum, attribute.maximum, attribute.max_length, pattern, values


ROWS = list({limits_of(a): a for e in ELEMENTS.values() for a in e.attributes.values()}.values())


def words(text):
    return text.split()


NUMBERS = words("""
0 -0 +0 1 -1 2 4 10 12 13 +5 5. .5 -.5 05 00 1e5 1E5 1e-5 1e 5e e5 0x1F 1,5 --5 +-5 . - + INF -INF +INF NaN nan ten
0.11111111111111111111111111111 11111111111111111111111111111 1111111111111111111111111111111111111111.5
-9999999999999999999999999 90 -90 180 -180 90.0 90.000000000000 90.0000000000000000000000000001
-90.0000000000000000000000000001 89.9999999999999999999999999999 180.0000000001 -180.1 179.999999999999 91 181
65 65.0000001 65.1 0.000000001 0.0000000009 100000000 100000000.1 99.9 99.91 360 360.0001 7 8 31 32 63 64 99 100
254 255 256 65534 65535 65536 262143 262144 1000000 1000001 2147483647 2147483648 -2147483648 -2147483649
4294967294 4294967295 4294967296 9223372036854775807 9223372036854775808 18446744073709551616
""")
BLANKS = ["", " 5 ", "\t5", "5\n", "5\r\n", "1 5", "\u00a01", "1\u00a0", "\u0663"]
NAMES = [
    *words("""
CTR1 CTR-1 CTR ctr1 CTR1x CTR12345678901 CTR123456789012 PFD1 GRD00001 GRD0001 TLG00001 TLG000001 PNT00001
a:b _a -a 1a a.b \u00e41 \u00e9 \u00d7 a\u0300 \u0300a \U00010000 \U000f0000
"""),
    *(" CTR1 ", "CTR 1", "CTR1\n", "CTR\u0663"),
]
OCTETS = [
    *("0F", "0f", "0", "0g", " 0F ", "0 F", "0F0F0F0F"),
    *("0F" * n for n in (2, 3, 7, 8, 9, 39, 40)),
]
TIMES = [
    *words("""
2026-03-14T08:30:00 2026-03-14T08:30:00Z 2026-03-14T08:30:00+01:00 2026-03-14T08:30:00.123 2026-03-14T08:30:00.
2026-03-14 2026-02-29T00:00:00 2024-02-29T00:00:00 1900-02-29T00:00:00 2000-02-29T00:00:00 2026-04-31T00:00:00
2026-13-01T00:00:00 2026-00-01T00:00:00 2026-01-00T00:00:00 2026-01-01T24:00:00 2026-01-01T24:00:00.000
2026-01-01T24:00:01 2026-01-01T23:59:60 2026-01-01T23:60:00 0000-01-01T00:00:00 0001-01-01T00:00:00
-0001-01-01T00:00:00 -0004-02-29T00:00:00 12026-01-01T00:00:00 02026-01-01T00:00:00 10000-01-01T00:00:00
99999999-02-28T00:00:00 2026-01-01T00:00:00+14:00 2026-01-01T00:00:00+14:01 2026-01-01T00:00:00-13:59
2026-01-01T00:00:00+15:00 2026-1-1T0:0:0 2026-03-14t08:30:00 2026-03-14T08:30:00z +2026-03-14T08:30:00
"""),
    *(" 2026-03-14T08:30:00 ", "2026-03-14 08:30:00"),
]
LANGUAGES = words("en en-GB EN e1 1e abcdefghi en- en--GB i-klingon en_GB")
LENGTHS = [
    *("x" * n for n in (8, 9, 10, 11, 12, 13, 14, 15, 20, 21, 32, 33, 64, 65, 153, 154, 255, 256)),
    *("\u00fc" * 32, "\u00fc" * 33, "\U0001f33e" * 32, "\U0001f33e" * 33, " " * 32, " " * 33),
    *("a\tb", "a\nb", " a  b ", "{b}", "<", "&", '"', "'"),
]
ADDRESSES = ["urn:x", "http://a b", "%zz", "a%20b", "TASKDATA/x.XML", ":a", "[", "\u00fc"]
TEXTS = list(dict.fromkeys([*NUMBERS, *BLANKS, *NAMES, *OCTETS, *TIMES, *LANGUAGES, *LENGTHS]))


def texts_for(attribute):
    if attribute.type == "anyURI":
        return [*ADDRESSES, *LENGTHS]
    if attribute.type in ("ID", "IDREF"):
        return [text.replace("CTR", attribute.target or attribute.element) for text in TEXTS]
    return TEXTS


def facets(attribute):
    if attribute.pattern:
        yield f"<xs:pattern value={quoteattr(attribute.pattern)}/>"
    if attribute.max_length is not None:
        yield f'<xs:maxLength value="{attribute.max_length}"/>'
    if attribute.minimum is not None:
        yield f'<xs:minInclusive value="{attribute.minimum:f}"/>'
    if attribute.maximum is not None:
        yield f'<xs:maxInclusive value="{attribute.maximum:f}"/>'
    for value in attribute.values:
        yield f"<xs:enumeration value={quoteattr(value.value)}/>"


def tiny_schema(attributes, *, references=True):
    """One element for each attribute, with the limits of that attribute and nothing else."""
    elements = (
        f'<xs:element name="e{n}"><xs:complexType><xs:attribute name="a"><xs:simpleType>'
        # IDREF is an NCName (XML Schema 1.0 part 2, 3.3.9) that must lead somewhere; that is not asked here.
        f'<xs:restriction base="xs:{a.type if references else a.type.replace("IDREF", "NCName")}">'
        f"{''.join(facets(a))}</xs:restriction></xs:simpleType></xs:attribute></xs:complexType></xs:element>"
        for n, a in enumerate(attributes)
    )
    return f'<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema">{"".join(elements)}</xs:schema>'


def listed_differences():
    with (Path(__file__).parent / "engine_differences.tsv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE):
            if row["what"].startswith("type "):
                yield row["what"][5:], json.loads(row["construct"]), row["ours"], row["lxml"], row["xmlschema"]


def test_each_text_gets_the_verdict_of_two_schema_processors_but_for_the_listed_differences():
    # The processors: libxml2 through lxml, and xmlschema, both of XML Schema 1.0.
    by_lxml = etree.XMLSchema(etree.fromstring(tiny_schema(ROWS)))
    by_xmlschema = xmlschema.XMLSchema10(tiny_schema(ROWS, references=False))
    word = {True: "valid", False: "invalid"}
    differences = set()
    for number, attribute in enumerate(ROWS):
        find = problem_finder(attribute)
        group = "integer" if attribute.type in INTEGERS else attribute.type
        for text in texts_for(attribute):
            element = etree.Element(f"e{number}", a=text)
            said = (find(text) is None, by_lxml.validate(element), by_xmlschema.is_valid(element))
            if len(set(said)) > 1:
                differences.add((group, text, *(word[verdict] for verdict in said)))
    assert differences == set(listed_differences())


def test_the_table_of_texts_holds_allowed_and_forbidden_ones_for_each_row():
    for attribute in ROWS:
        problems = {p and p.what for p in map(problem_finder(attribute), texts_for(attribute))}
        expected = {None}
        if attribute.minimum is not None:
            expected |= {"malformed", "out-of-range"}
        if attribute.values:
            expected |= {"not-in-list"}
        if attribute.max_length is not None:
            expected |= {"too-long"}
        assert expected <= problems, attribute


def test_every_type_of_the_tables_has_its_form():
    assert LEXICAL.keys() == TYPES


LATITUDE, LONGITUDE = ELEMENTS["PNT"].attributes["C"], ELEMENTS["PNT"].attributes["D"]


@pytest.mark.parametrize(("attribute", "limit"), [(LATITUDE, "90"), (LONGITUDE, "180")], ids=["latitude", "longitude"])
@pytest.mark.parametrize("sign", ["", "-"])
def test_limits_of_coordinates_are_exact_however_many_digits(attribute, limit, sign):
    find = problem_finder(attribute)
    below = str(int(limit) - 1)
    for text in (limit, f"{limit}.", f"0{limit}", f"{limit}.{'0' * 40}", f"{below}.{'9' * 40}", f" {limit}\n"):
        assert find(sign + text if text[0] != " " else f" {sign}{text[1:]}") is None
    for text in (f"{limit}.{'0' * 40}1", f"{int(limit) + 1}", f"{limit}.000000000001", f"{limit}0"):
        assert find(sign + text).what == "out-of-range"


@pytest.mark.parametrize(("attribute", "limit"), [(LATITUDE, 90), (LONGITUDE, 180)], ids=["latitude", "longitude"])
def test_neighbours_of_the_limits_as_the_computer_counts_them(attribute, limit):
    find = problem_finder(attribute)
    for sign in (1, -1):
        assert find(f"{Decimal(sign * math.nextafter(limit, 0)):f}") is None
        assert find(f"{Decimal(sign * math.nextafter(limit, 999)):f}").what == "out-of-range"


@pytest.mark.parametrize("text", ["NaN", "1e9999999999999999999999", "-1e9999999999999999999999", "INF", "1.0000001"])
def test_odd_numbers_of_type_double_are_out_of_range_and_never_an_exception(text):
    assert problem_finder(ELEMENTS["GRD"].attributes["C"])(text).what == "out-of-range"


def test_a_year_of_many_digits_is_a_year():
    find = problem_finder(ELEMENTS["TIM"].attributes["A"])
    assert find("9" * 5000 + "6-02-29T00:00:00") is None
    assert find("9" * 5000 + "7-02-29T00:00:00").what == "malformed"


def test_a_long_text_is_judged_in_one_pass():
    for attribute in ROWS:
        find = problem_finder(attribute)
        for text in ("1" * 100_000 + "x", " " * 100_000 + "x", "0" * 100_000 + "1", "-" * 100_000, "9T" * 50_000):
            find(text)  # a pattern that goes back and forth would take hours here


def test_too_long_is_told_in_the_unit_of_the_limit():
    octets = problem_finder(ELEMENTS["DVC"].attributes["D"])("0F" * 9)
    letters = problem_finder(ELEMENTS["PFD"].attributes["C"])("\U0001f33e" * 33)
    assert (octets.what, octets.length, octets.expected) == ("too-long", 9, "at most 8 bytes")
    assert (letters.what, letters.length, letters.expected) == ("too-long", 33, "at most 32 characters")


def test_an_enumeration_names_its_values_with_their_meaning():
    problem = problem_finder(ELEMENTS["AFE"].attributes["B"])("3")
    assert problem.what == "not-in-list"
    assert all(f"{v.value} ({v.meaning})" in problem.expected for v in ELEMENTS["AFE"].attributes["B"].values)


def test_what_is_expected_is_said_in_words():
    said = {
        (element, code): problem_finder(ELEMENTS[element].attributes[code])(text).expected
        for element, code, text in [
            ("CTR", "A", "x"),
            ("TSK", "C", "x"),
            ("PNT", "C", "north"),
            ("TIM", "A", "noon"),
            ("PFD", "D", "4 ha"),
        ]
    }
    assert said == {
        ("CTR", "A"): "an identifier such as CTR1",
        ("TSK", "C"): "an identifier such as CTR1",
        ("PNT", "C"): "a decimal number, with a dot and no exponent",
        ("TIM", "A"): "a date and time such as 2026-04-30T14:05:00",
        ("PFD", "D"): "a whole number",
    }


CANONICAL = [ELEMENTS["PNT"].attributes[code] for code in "ACD"]
digits = st.text("0123456789", max_size=14)
near_numbers = st.builds(
    "{}{}{}{}".format,
    st.sampled_from(["", "-", "+", "--"]),
    st.one_of(st.sampled_from(["0", "00", "9", "90", "89", "91", "180", "179", "100", "1800"]), digits),
    st.sampled_from(["", ".", ".0", ",", "e1"]),
    digits,
)


@pytest.mark.parametrize("attribute", CANONICAL, ids=lambda a: a.code)
@given(st.data())
def test_what_the_pattern_accepts_is_allowed_and_the_same_number_to_every_reader(attribute, data):
    pattern = canonical_pattern(attribute)
    without_patterns = replace(attribute, values=(), pattern=None)
    text = data.draw(st.one_of(st.from_regex(pattern, fullmatch=True), near_numbers))
    if re.fullmatch(pattern, text) is None:
        return
    low, high = attribute.minimum, attribute.maximum
    if attribute.values:
        assert text in {v.value for v in attribute.values}
    else:
        assert low <= Decimal(text) <= high
    assert without_patterns.type in ("decimal", "NMTOKEN")
    assert float(orjson.loads(text)) == float(text) == float(Decimal(text))


@pytest.mark.parametrize(("attribute", "limit"), [(LATITUDE, 90), (LONGITUDE, 180)], ids=["latitude", "longitude"])
def test_the_pattern_accepts_every_plain_number_up_to_the_limit_and_none_beyond(attribute, limit):
    pattern = re.compile(canonical_pattern(attribute))
    for whole in range(1000):
        for sign in ("", "-"):
            for rest in ("", ".0", ".000000000000", ".1", ".999999999999"):
                text = f"{sign}{whole}{rest}"
                assert (pattern.fullmatch(text) is not None) == (abs(Decimal(text)) <= limit), text
    for text in ("", "-", "+5", "5.", ".5", "05", "00", "1e1", " 5", "5 ", "5\n", "0.1234567890123", "\u0663", "1,5"):
        assert pattern.fullmatch(text) is None, text


@pytest.mark.parametrize(
    ("element", "code"), [("PNT", "E"), ("PNT", "H"), ("CTR", "B"), ("CTR", "A"), ("GRD", "C"), ("DVP", "C")]
)
def test_other_attributes_have_no_such_pattern(element, code):
    with pytest.raises(ValueError, match=f"{element}@{code} has no canonical pattern"):
        canonical_pattern(ELEMENTS[element].attributes[code])


@pytest.mark.parametrize("limit", [1, 7, 10, 11, 42, 99, 100, 101, 230, 1000])
def test_a_pattern_can_be_made_for_any_symmetric_limit(limit):
    attribute = replace(LATITUDE, minimum=Decimal(-limit), maximum=Decimal(limit))
    pattern = re.compile(canonical_pattern(attribute))
    for whole in range(2 * limit + 2):
        assert (pattern.fullmatch(str(whole)) is not None) == (whole <= limit)
        assert (pattern.fullmatch(f"-{whole}.5") is not None) == (whole < limit)
