"""Quantities. Factors: NIST SP 811 (2008), appendix B.8 and B.9; international yard and pound agreement, 1959."""

import re
from decimal import Decimal

import pydantic
import pytest
from hypothesis import given
from hypothesis import strategies as st

from taskkit.plan.quantities import Area, Length, Speed

GOOD = [
    (Length, "5 ft", 1.524),
    (Length, "-5 ft", -1.524),
    (Length, "+5 ft", 1.524),
    (Length, "5ft", 1.524),
    (Length, "12.5 m", 12.5),
    (Length, "12,5 m", 12.5),
    (Length, "0,75 m", 0.75),
    (Length, "1.500 m", 1.5),
    (Length, "20 cm", 0.2),
    (Length, "30 in", 0.762),
    (Length, "1 yd", 0.9144),
    (Length, "1 ft", 0.3048),
    (Length, "1 mi", 1609.344),
    (Length, "3 km", 3000.0),
    (Length, "7 mm", 0.007),
    (Length, "-0 m", 0.0),
    (Length, "007 m", 7.0),
    (Area, "10 ha", 100_000.0),
    (Area, "1 ac", 4046.8564224),  # the international acre; NIST SP 811 gives 4046.873 for that of the U.S. survey
    (Area, "25 ac", 101171.41056),
    (Area, "350 m2", 350.0),
    (Area, "1 sq ft", 0.09290304),
    (Area, "1200 sq ft", 111.483648),
    (Area, "1 sq yd", 0.83612736),
    (Area, "0.5 km2", 500_000.0),
    (Speed, "4 mph", 1.78816),
    (Speed, "1 mph", 0.44704),
    (Speed, "3.6 km/h", 1.0),
    (Speed, "6 km/h", 5 / 3),
    (Speed, "2 m/s", 2.0),
    (Speed, "1 ft/s", 0.3048),
]
REFUSED = [
    (Length, "", "is no length"),
    (Length, "5", "has no unit"),
    (Length, "-12.5", "has no unit"),
    (Length, "m", "is no length"),
    (Length, "1,500 m", "two ways"),
    (Length, "1.500,0 m", "two ways"),
    (Length, "1,500.0 m", "two ways"),
    (Length, "1,2,3 m", "two ways"),
    (Length, "1 500 m", "is no length"),
    (Length, "1'500 m", "is no length"),
    (Length, "1_500 m", "is no length"),
    (Length, "5 M", "is no length"),
    (Length, "5 metres", "is no length"),
    (Length, "5'", "is no length"),
    (Length, '30"', "is no length"),
    (Length, "5 ft 6 in", "is no length"),
    (Length, "5 ftUS", "is no length"),
    (Length, "5 ha", "is no length"),
    (Length, "1e3 m", "is no length"),
    (Length, "2*3 m", "is no length"),
    (Length, "9**9**9**9 m", "is no length"),
    (Length, "1/2 m", "is no length"),
    (Length, "nan m", "is no length"),
    (Length, "inf m", "is no length"),
    (Length, ".5 m", "is no length"),
    (Length, "5. m", "is no length"),
    (Length, "--5 m", "is no length"),
    (Length, "- 5 m", "is no length"),
    (Length, "5 m\n", "is no length"),
    (Length, " 5 m", "is no length"),
    (Length, "5  m", "is no length"),
    (Length, "٥ m", "is no length"),
    (Length, "５ m", "is no length"),
    (Length, "0x10 m", "is no length"),
    (Length, "1" * 13 + " m", "is no length"),
    (Length, "1." + "0" * 31 + " m", "is no length"),
    (Length, "1" * 1_000_000, "1..."),
    (Area, "20 acUS", "is no area"),
    (Area, "20 acre", "is no area"),
    (Area, "20 m", "is no area"),
    (Speed, "4 m", "is no speed"),
    (Speed, "4 kn", "is no speed"),
]


def si(quantity):
    return quantity._si


@pytest.mark.parametrize(("kind", "text", "expected"), GOOD)
def test_a_quantity_is_read_in_si_units_and_remembers_its_text(kind, text, expected):
    quantity = kind(text)
    assert si(quantity) == expected
    assert str(quantity) == quantity.text == text


@pytest.mark.parametrize(("kind", "text", "said"), REFUSED)
def test_anything_else_is_refused_with_a_plain_word(kind, text, said):
    with pytest.raises(ValueError, match=re.escape(said)) as refusal:
        kind(text)
    assert len(str(refusal.value)) < 250


def test_half_of_the_table_is_refused():
    assert len(GOOD) + len(REFUSED) >= 40
    assert len(REFUSED) * 2 >= len(GOOD) + len(REFUSED)


def test_a_refusal_names_the_units():
    with pytest.raises(ValueError, match=re.escape("one of m, km, cm, mm, in, ft, yd, mi, such as 12.5 m")):
        Length("5 furlongs")


def test_quantities_are_equal_by_what_they_measure_and_kind():
    assert Length("1 ft") == Length("12 in") == Length("30.48 cm")
    assert hash(Length("1 ft")) == hash(Length("12 in"))
    assert Length("1 m") != Length("1.0000001 m")
    assert Length("1 m") != Area("1 m2")
    assert Length("1 m") != 1.0
    assert len({Length("1 m"), Length("100 cm"), Speed("1 m/s")}) == 2
    assert repr(Length("1 ft")) == "Length('1 ft')"


@given(
    st.text(alphabet="0123456789.,+-eE _'mftinacyhksq/2\u0665", max_size=24) | st.text(max_size=24),
    st.sampled_from([Length, Area, Speed]),
)
def test_no_text_yields_a_number_that_is_not_spelled_in_it(text, kind):
    try:
        quantity = kind(text)
    except ValueError:
        return
    spelled = re.match(r"[+-]?[0-9]+([.,][0-9]+)?", text, re.ASCII)
    unit = text[spelled.end() :].removeprefix(" ")
    expected = Decimal(spelled[0].replace(",", ".")) * Decimal(si(kind(f"1 {unit}")))
    assert float(expected) == pytest.approx(si(quantity), rel=1e-14)


@given(
    st.integers(-(10**12) + 1, 10**12 - 1),
    st.integers(0, 9),
    st.sampled_from([(kind, unit) for kind in (Length, Area, Speed) for unit in kind.units]),
)
def test_every_decimal_in_every_unit_is_read(number, decimals, choice):
    kind, unit = choice
    scaled = Decimal(number).scaleb(-decimals)
    quantity = kind(f"{scaled:f} {unit}")
    exact = kind.units[unit] * number / 10**decimals
    assert si(quantity) == float(exact)


@given(st.floats(min_value=-1e11, max_value=1e11).filter(lambda x: x == 0 or abs(x) > 1e-12))
def test_a_quantity_made_from_si_has_a_text_that_says_the_same(magnitude):
    for quantity, value in (
        (Length.of(magnitude), Length.of(magnitude).metres),
        (Area.of(magnitude), Area.of(magnitude).square_metres),
        (Speed.of(magnitude), Speed.of(magnitude).metres_per_second),
    ):
        assert value == magnitude
        assert type(quantity)(quantity.text) == quantity


@pytest.mark.parametrize(
    ("metres", "text"),
    [(0.0, "0 m"), (-0.0, "0 m"), (3.0, "3 m"), (0.1, "0.1 m"), (-1.524, "-1.524 m"), (1e11, "100000000000 m"),
     (1e-40, "0 m"), (-1e-40, "0 m"), (1e-7, "0.0000001 m"), (5, "5 m")],
)  # fmt: skip
def test_the_text_made_from_si_is_canonical(metres, text):
    assert Length.of(metres).text == text


@pytest.mark.parametrize("metres", [float("nan"), float("inf"), -float("inf"), 1e12, 1e300])
def test_what_cannot_be_written_is_no_quantity(metres):
    with pytest.raises(ValueError, match="is no length"):
        Length.of(metres)


def test_pydantic_takes_texts_and_gives_them_back():
    adapter = pydantic.TypeAdapter(Length)
    assert adapter.validate_python("5 ft") == Length("5 ft")
    assert adapter.validate_python(Length("5 ft")).text == "5 ft"
    assert adapter.dump_python(Length("5 ft")) == "5 ft"
    for bad in (5, 5.0, None, "5"):
        with pytest.raises(pydantic.ValidationError):
            adapter.validate_python(bad)


@pytest.mark.parametrize(("kind", "text", "_expected"), GOOD)
def test_the_pattern_of_the_json_schema_accepts_what_the_code_accepts(kind, text, _expected):
    schema = pydantic.TypeAdapter(kind).json_schema()
    assert schema["type"] == "string"
    assert re.search(schema["pattern"], text)


@pytest.mark.parametrize(("kind", "text", "_said"), [r for r in REFUSED if not r[1].endswith("\n")])
def test_the_pattern_of_the_json_schema_refuses_what_the_code_refuses(kind, text, _said):
    assert not re.search(pydantic.TypeAdapter(kind).json_schema()["pattern"], text)
