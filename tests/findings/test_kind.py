import string
from importlib import import_module

import pytest

from taskkit.findings import KINDS, Confidence, Kind, Level, Severity, Where, kind
from taskkit.taskdata import conformance, reader, sets

WORDS = {"hint": "Dig.", "why": "It stays.", "source": "common practice"}


@pytest.fixture
def catalogue(monkeypatch):
    """A catalogue of its own, so that what a test declares is not left behind."""
    kinds = dict(KINDS)
    monkeypatch.setattr(import_module("taskkit.findings.kind"), "_kinds", kinds)
    return kinds


def test_a_kind_is_listed_once_declared(catalogue):
    mud = kind("mud-ahead", Severity.NOTE, "There is mud.", level=Level.STRICT, confidence=Confidence.LOW, **WORDS)
    assert catalogue["mud-ahead"] is mud
    assert mud == Kind("mud-ahead", Severity.NOTE, "There is mud.", "Dig.", "It stays.", "common practice",
                       Confidence.LOW, Level.STRICT)  # fmt: skip


def test_a_name_is_taken_once(catalogue):
    kind("mud-ahead", Severity.NOTE, "There is mud.", **WORDS)
    with pytest.raises(ValueError, match="'mud-ahead' is declared twice"):
        kind("mud-ahead", Severity.NOTE, "There is mud.", **WORDS)


@pytest.mark.parametrize(
    "name",
    [
        "mud",
        "Mud-ahead",
        "mud_ahead",
        "mud ahead",
        "-mud",
        "mud-",
        "mud--ahead",
        "",
        "mud-ahead\n",
        "müd-ahead",
        "a.b-c",
    ],
)
def test_a_name_is_kebab_case_of_two_words_or_more(catalogue, name):
    with pytest.raises(ValueError, match="no kebab-case name of two words"):
        kind(name, Severity.NOTE, "There is mud.", **WORDS)
    assert name not in catalogue


@pytest.mark.parametrize("name", ["mud-ahead", "a-b-c-d", "line-3-bent", "2-b"])
def test_other_names_are_taken(catalogue, name):
    assert kind(name, Severity.NOTE, "There is mud.", **WORDS).name == name


def test_the_catalogue_cannot_be_changed_from_outside():
    with pytest.raises(TypeError):
        KINDS["mud-ahead"] = None


# The kinds of reading a set and of the dictionary.

OWN = {k.name: k for module in (reader, conformance, sets) for k in vars(module).values() if isinstance(k, Kind)}


def test_importing_the_code_that_raises_a_kind_lists_it():
    assert len(OWN) > 20
    assert all(KINDS[name] is one for name, one in OWN.items())


def test_every_kind_says_all_it_must():
    for name, one in OWN.items():
        assert one.name == name
        assert one.message.endswith("."), name
        assert one.hint.endswith((".", "?")), name
        assert one.why.endswith("."), name
        assert one.source, name


def test_names_name_the_defect_and_not_the_remedy():
    remedies = ("avoid", "use", "do", "dont", "prefer", "must", "should", "add", "remove", "no", "fix", "check")
    assert [name for name in OWN if name.split("-")[0] in remedies] == []


def test_placeholders_are_plain_names():
    for name, one in OWN.items():
        for text in (one.message, one.hint):
            for _, placeholder, _, conversion in string.Formatter().parse(text):
                assert placeholder is None or (placeholder.isidentifier() and conversion is None), name


def test_a_finding_can_be_made_of_every_kind():
    for one in OWN.values():
        placeholders = {f for text in (one.message, one.hint) for _, f, _, _ in string.Formatter().parse(text) if f}
        found = one.at(Where("X"), **dict.fromkeys(placeholders, 1))
        assert "{" not in found.message + found.hint
