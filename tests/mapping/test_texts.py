import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st
from mapped import numbered, rich_plan, through_bytes, written

from taskkit.mapping import Carried, read_plan
from taskkit.mapping.texts import cut, unique
from taskkit.plan.model import Customer, Plan
from taskkit.taskdata.dictionary import dictionary

FAMILY = "\U0001f468\u200d\U0001f469\u200d\U0001f467"
SPELLED = st.text("ab \u0301\u200d\ufe0f\u094d\u0915\U0001f1e6\U0001f1e7\U0001f468\U0001f3fd\u1100\u1161\u11a8\uac00")


@pytest.mark.parametrize(
    ("text", "limit", "expected"),
    [
        ("Long Acre", 9, "Long Acre"),
        ("Long Acre", 5, "Long"),
        ("Long Acre", 4, "Long"),
        ("anemone", None, "anemone"),
        ("ane\u0301mone", 3, "an"),
        ("ane\u0301mone", 4, "ane\u0301"),
        (f"ab{FAMILY}", 4, "ab"),
        (f"ab{FAMILY}c", 7, f"ab{FAMILY}"),
        ("a\U0001f44d\U0001f3fd", 2, "a"),  # a thumb and its colour
        ("\U0001f1e9\U0001f1ea\U0001f1eb\U0001f1f7", 3, "\U0001f1e9\U0001f1ea"),  # two flags
        ("\U0001f1e9\U0001f1ea\U0001f1eb\U0001f1f7", 2, "\U0001f1e9\U0001f1ea"),
        ("a\u1112\u1161\u11ab", 3, "a"),  # one syllable in three letters
        ("a\ud55c\u11ab", 2, "a"),
        ("\u0915\u094d\u0937\u0915", 2, "\u0915\u094d"),  # no shorter cut is left: it has to be
        ("b\u0915\u094d\u0937", 3, "b"),  # a conjunct
        ("a" + "\u0301" * 50, 10, "a" + "\u0301" * 9),
        ("          x", 5, "     "),
    ],
)
def test_a_text_is_cut_between_what_people_see_as_characters(text, limit, expected):
    assert cut(text, limit) == expected


@given(SPELLED, st.integers(1, 12))
def test_what_is_cut_is_a_beginning_within_the_limit_that_takes_no_mark_from_its_letter(text, limit):
    short = cut(text, limit)
    assert text.startswith(short)
    assert len(short) <= limit
    assert bool(short) == bool(text)
    rest = text[len(short) :]
    if rest and len(short) < limit - 12:
        assert not unicodedata.category(rest[0]).startswith("M")


@given(st.lists(SPELLED | st.just("Long Acre by the river"), max_size=12), st.integers(4, 12))
def test_names_that_are_cut_differ_from_all_others_and_the_rest_stay(names, limit):
    fit = unique(names, limit)
    assert all(len(name) <= limit for name in fit)
    assert all(new == old for new, old in zip(fit, names, strict=True) if len(old) <= limit)
    for position, (new, old) in enumerate(zip(fit, names, strict=True)):
        if new != old:
            assert new not in fit[:position] + fit[position + 1 :]


def test_many_names_with_one_beginning_are_numbered():
    fit = unique(["x" * 40] * 1200, 32)
    assert len(set(fit)) == 1200
    assert fit[-1] == "x" * 27 + " 1200"


def test_a_name_over_its_limit_is_approximated_with_both_texts_in_the_ledger():
    made = written(rich_plan())
    (loss,) = made.ledger.losses()
    assert loss.carried is Carried.APPROXIMATED
    assert loss.leaf.path == "fields.name"
    assert loss.note == (
        "'The field behind the barn of the old mill at the river' became 'The field behind the barn of the'"
    )
    assert loss.key == f"fields.name {numbered(9)}"
    assert read_plan(through_bytes(made.data)).plan.fields[1].name == "The field behind the barn of the"


def test_a_line_whose_name_is_cut_is_told_apart_from_its_neighbours():
    plan = rich_plan()
    lines = tuple(line.model_copy(update={"name": "Along the lane " + "x" * 30}) for line in plan.fields[0].lines[:2])
    field = plan.fields[0].model_copy(update={"lines": lines})
    made = written(plan.model_copy(update={"fields": (field,), "shared_lines": (), "jobs": ()}))
    names = ["Along the lane " + "x" * 17, "Along the lane " + "x" * 15 + " 2"]
    assert [line.name for line in read_plan(through_bytes(made.data)).plan.fields[0].lines] == names
    assert {(e.leaf.path, e.leaf.owner) for e in made.ledger.losses()} == {
        ("fields.lines.name", numbered(7)), ("fields.lines.name", numbered(17)),
    }  # fmt: skip


def test_every_text_has_the_limit_that_the_dictionary_gives_it():
    long = dict.fromkeys(("name", "first_name", "city", "postal_code", "phone", "email"), "x" * 300)
    made = written(Plan(uuid=numbered(1), name="p", customers=(Customer(uuid=numbered(2), **long),)))
    rows = dictionary().elements["CTR"].attributes
    element = next(made.data.main.elements("CTR"))
    assert {code: len(text) for code, text in element.attributes.items() if code != "A"} == {
        code: rows[code].max_length for code in "BCFGJM"
    }
    assert {e.leaf.path for e in made.ledger.losses()} == {f"customers.{name}" for name in long}
