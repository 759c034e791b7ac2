import datetime

import pydantic
import pytest
from plans import numbered, small_plan

from taskkit.geometry.line import LonLatLine, Part
from taskkit.plan.model import Action, Boundary, Customer, Field, Plan, Position, Purpose, RowEndPlan, Step, TurnShape
from taskkit.plan.quantities import Length

SQUARE = (Part(LonLatLine([(9.5, 54.0), (9.6, 54.0), (9.6, 54.1)])),)


def boundary(number, purpose, season=None):
    return Boundary(uuid=numbered(number), purpose=purpose, parts=SQUARE, season=season)


def test_a_plan_is_a_value():
    assert small_plan() == small_plan()
    assert hash(small_plan()) == hash(small_plan())
    with pytest.raises(pydantic.ValidationError, match="frozen"):
        small_plan().name = "x"


def test_how_a_quantity_was_written_makes_no_other_plan():
    first, second = (Step(action=Action.SECTIONS_ON, at=Length(text), reference="tool") for text in ("1 ft", "12 in"))
    assert first == second


def test_nothing_undeclared_is_taken():
    with pytest.raises(pydantic.ValidationError, match="colour"):
        Customer(uuid=numbered(1), name="x", colour="red")


def test_the_worked_outline_is_chosen_before_the_physical_and_the_official_one():
    official, physical, worked = (boundary(n, p) for n, p in enumerate(["official", "physical", "worked"]))
    field = Field(uuid=numbered(9), name="x", boundaries=(official, physical, worked))
    assert field.boundary() is worked
    assert field.boundary("official") is official
    assert field.boundary(Purpose.PHYSICAL) is physical
    assert Field(uuid=numbered(9), name="x", boundaries=(official, physical)).boundary() is physical
    assert Field(uuid=numbered(9), name="x", boundaries=(official,)).boundary("worked") is None
    assert Field(uuid=numbered(9), name="x").boundary() is None


def test_among_outlines_of_one_purpose_the_first_or_that_of_the_season_is_chosen():
    old, new = boundary(1, "worked", "2025"), boundary(2, "worked", "2026")
    field = Field(uuid=numbered(9), name="x", boundaries=(old, new))
    assert field.boundary() is old
    assert field.boundary("worked", season="2026") is new
    assert field.boundary(season="2024") is None


def test_an_unknown_purpose_is_an_error():
    with pytest.raises(ValueError, match="imagined"):
        Field(uuid=numbered(9), name="x").boundary("imagined")


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"action": "speed"}, "needs `speed`"),
        ({"action": "note"}, "needs `text`"),
        ({"action": "sections on", "speed": "4 mph"}, "`speed` goes with the action 'speed' only"),
        ({"action": "speed", "speed": "4 mph", "text": "x"}, "`text` goes with the action 'note' only"),
        ({"action": "wait"}, "rear hitch raise"),
    ],
)
def test_a_step_has_the_argument_of_its_action_and_no_other(given, said):
    with pytest.raises(pydantic.ValidationError, match=said):
        Step(at="1 m", reference="tool", **given)


@pytest.mark.parametrize(
    ("lon", "lat", "said"),
    [
        (180.1, 0, "beyond 180 degrees"),
        (0, -90.5, "beyond 90 degrees"),
        (float("nan"), 0, "beyond 180"),
        (float("inf"), 0, "beyond 180"),
        ("1e1", 0, "no number of degrees"),
        ("1_0", 0, "no number of degrees"),
        ("nan", 0, "no number of degrees"),
        ("9,5", 0, "no number of degrees"),
        ("٩", 0, "no number of degrees"),
    ],
)
def test_a_position_is_a_pair_of_plain_decimal_degrees(lon, lat, said):
    with pytest.raises(pydantic.ValidationError, match=said):
        Position(lon_deg=lon, lat_deg=lat)
    assert Position(lon_deg="-9.50", lat_deg="+54") == Position(lon_deg=-9.5, lat_deg=54)


@pytest.mark.parametrize("skip", [-1, "1.5", "one", "1_0"])
def test_passes_are_left_out_in_whole_numbers(skip):
    with pytest.raises(pydantic.ValidationError):
        RowEndPlan(uuid=numbered(1), name="x", skip=skip)


@pytest.mark.parametrize("text", ["\0", "\x1f", "\ud800", "\ufffe"])
def test_a_character_that_xml_cannot_carry_is_refused(text):
    with pytest.raises(pydantic.ValidationError, match="XML cannot carry"):
        Customer(uuid=numbered(1), name=f"a{text}b")


@pytest.mark.parametrize(
    "uuid", ["x", "{00000000-0000-0000-0000-000000000001}", "0" * 32, "urn:uuid:" + str(numbered(1))]
)
def test_a_uuid_has_one_spelling(uuid):
    with pytest.raises(pydantic.ValidationError, match="no UUID"):
        Customer(uuid=uuid, name="x")


@pytest.mark.parametrize("date", ["1", "2026-13-01", "2026-1-1", "31.3.2026", "2026-03-31T00:00:00"])
def test_a_date_is_year_month_day(date):
    with pytest.raises(pydantic.ValidationError):
        Boundary(uuid=numbered(1), parts=SQUARE, date=date)
    assert Boundary(uuid=numbered(1), parts=SQUARE, date="2026-03-31").date == datetime.date(2026, 3, 31)


@pytest.mark.parametrize("area", [(), "POINT (1 2)", ("x",), (Part(LonLatLine([])),)])
def test_an_outline_has_at_least_one_part_with_points(area):
    with pytest.raises(pydantic.ValidationError):
        Boundary(uuid=numbered(1), parts=area)


def test_an_area_is_taken_as_text_and_given_back_as_text():
    made = Boundary(uuid=numbered(1), area="POLYGON ((9.5 54, 9.6 54, 9.6 54.1, 9.5 54))")
    assert made.parts == SQUARE
    assert made.model_dump(mode="json", by_alias=True)["area"] == "POLYGON ((9.5 54, 9.6 54, 9.6 54.1, 9.5 54))"


def test_words_of_the_standard_lists_can_be_compared_with_plain_text():
    assert TurnShape.THREE_POINT == "three-point"
    assert f"{Purpose.WORKED}" == "worked"


def test_titles_say_what_an_object_is():
    plan = small_plan()
    assert plan.title == "plan Larkmoor, spring work"
    assert plan.fields[0].title == "field Long Acre"
    assert [b.title for b in plan.fields[0].boundaries] == ["worked boundary 2026", "official boundary"]


def test_the_model_survives_its_own_json():
    plan = small_plan()
    assert Plan.model_validate_json(plan.model_dump_json(by_alias=True)) == plan
