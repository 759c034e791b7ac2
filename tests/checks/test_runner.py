"""Rules at work: levels, choices, what cannot be checked, and what breaks."""

import dataclasses
import importlib.util
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

import taskkit.checks.rules
from taskkit.checks import RULES, Example, Hit, Need, SetContext, rule, run_checks
from taskkit.checks import rule as declare
from taskkit.checks.example import field_with, outer, polygon
from taskkit.checks.rule import _rules
from taskkit.errors import InputError
from taskkit.findings import KINDS, Level, Severity, Where
from taskkit.findings.finding import SHOWN_OF_A_KIND
from taskkit.findings.kind import _kinds
from taskkit.taskdata.dictionary import Span
from taskkit.taskdata.sets import read_set
from taskkit.taskdata.version import Version

BOW_TIE = Example(field_with(polygon(outer("0,0 100,100 100,0 0,100 0,0"))))


@pytest.fixture
def made():
    """Declares rules that are gone after the test."""

    def make(find, *, name="test-defect", message="Bad.", **options):
        texts = {"hint": "Mend it.", "why": "It hurts.", "source": "common practice"}
        declare(name, Severity.WARNING, message, **texts, failing=Example(), passing=Example(), **options)(find)

    known, kinds = dict(_rules), dict(_kinds)
    yield make
    for registry, before in ((_rules, known), (_kinds, kinds)):
        registry.clear()
        registry.update(before)


def run(example=BOW_TIE, **options):
    reading = read_set(example.store())
    run_checks(SetContext(reading), reading.findings, **options)
    return reading.findings.report()


def test_a_rule_that_raises_is_a_crash_and_the_others_go_on(made):
    def broken(checked):
        yield Hit(Where("TASKDATA.XML"))
        raise ZeroDivisionError("oops")

    made(broken)
    report = run()

    (crash,) = report.crashed
    assert crash.rule == "test-defect"
    assert crash.error.startswith("ZeroDivisionError: oops (test_runner.py:")
    assert {found.rule for found in report} == {"test-defect", "ring-crosses-itself"}


def test_a_rule_without_a_fact_that_its_message_names_is_a_crash(made):
    made(lambda checked: iter([Hit(Where("TASKDATA.XML"), {"other": 1})]), message="Bad by {much}.")

    assert "['much']" in run().crashed[0].error


def test_a_rule_that_finds_input_it_cannot_read_is_skipped(made):
    def unreadable(checked):
        raise InputError("the entry cannot be read")
        yield

    made(unreadable)

    assert [(s.rule, s.reason) for s in run().skipped] == [("test-defect", "the entry cannot be read.")]


def test_places_are_worked_out_only_for_findings_that_are_kept(made):
    asked = []

    def where():
        asked.append(1)
        return Where("TASKDATA.XML")

    made(lambda checked: (Hit(where) for _ in range(SHOWN_OF_A_KIND + 7)))
    report = run(only=["test-defect"])

    assert (len(asked), dict(report.unlisted)) == (SHOWN_OF_A_KIND, {("test-defect", Severity.WARNING): 7})


def test_rules_of_a_later_level_run_only_where_asked_for(made):
    made(lambda checked: iter([Hit(Where("TASKDATA.XML"))]), level=Level.RECEIVER)

    assert "test-defect" not in {found.rule for found in run()}
    assert "test-defect" in {found.rule for found in run(level=Level.RECEIVER)}
    assert {found.rule for found in run(only=["test-defect"])} == {"test-defect"}


def test_rules_of_another_version_do_not_run(made):
    made(lambda checked: iter([Hit(Where("TASKDATA.XML"))]), versions=Span(Version.V3_0, Version.V3_3))

    assert "test-defect" not in {found.rule for found in run()}
    assert "test-defect" in {found.rule for found in run(Example(version="3.3"))}


def test_ignored_rules_do_not_run():
    assert [found.rule for found in run()] == ["ring-crosses-itself"]
    assert list(run(ignore=["ring-crosses-itself"])) == []


@pytest.mark.parametrize("option", ["only", "ignore"])
def test_an_unknown_rule_is_refused_with_the_nearest_name(option):
    with pytest.raises(InputError, match=r"no rule 'ring-crosses-itsef'\. Did you mean ring-crosses-itself"):
        run(**{option: ["ring-crosses-itsef"]})


def test_a_name_that_is_taken_stops_the_program(made):
    with pytest.raises(ValueError, match="declared twice"):
        made(lambda checked: iter(()), name="ring-crosses-itself")


def test_a_module_of_rules_that_cannot_be_imported_stops_the_program(monkeypatch, tmp_path):
    (tmp_path / "broken_rules.py").write_text("import no_such_module_at_all", "utf-8")
    monkeypatch.setattr(taskkit.checks.rules, "__path__", [str(tmp_path)])
    spec = importlib.util.find_spec("taskkit.checks.rules")
    with pytest.raises(ModuleNotFoundError):
        exec(compile(spec.loader.get_source("taskkit.checks.rules"), "rules", "exec"), vars(taskkit.checks.rules))


def test_without_a_readable_task_file_only_the_rules_on_names_run():
    broken = Example("<!-- -- -->", folder="SPRING26")
    report = run(broken)

    assert {found.rule for found in report} == {"xml-not-well-formed", "set-folder-misnamed"}
    expected = {name for name, one in RULES.items() if one.needs is not Need.FILES}
    assert {skip.rule for skip in report.skipped} == expected
    assert {skip.reason for skip in report.skipped} == {"the task file is missing or could not be read"}


def test_places_that_cannot_be_measured_are_told_as_skipped_and_other_rings_are_checked():
    bad = outer("0,0 100,0 100,100 0,0").replace('C="54.000000000"', 'C="north"', 1)
    far = outer("0,0 100,0 100,100 0,0").replace('D="9.500000000"', 'D="999"', 1)
    report = run(Example(field_with(polygon(bad), polygon(far), polygon(outer("0,0 100,100 100,0 0,100 0,0")))))

    skipped = {skip.rule: skip.reason for skip in report.skipped}
    assert skipped["ring-crosses-itself"] == "2 lines or rings have points without a place that can be measured"
    assert "ring-crosses-itself" in {found.rule for found in report}
    assert report.crashed == ()


def test_the_task_file_of_a_set_that_has_none_is_an_error_for_whoever_asks():
    store = Example().store()
    store.names = ()
    context = SetContext(read_set(store))

    assert (context.task_file, context.is_readable) == (None, False)
    with pytest.raises(LookupError):
        _ = context.data


def test_declaring_a_rule_lists_it(made):
    made(lambda checked: iter(()))

    assert RULES["test-defect"].kind is KINDS["test-defect"]
    assert rule is declare


ODD = ["", " ", "-", "0", "-0.0", "1e9", "NaN", "90.0000001", "9" * 400, "１", "../x", "&#x10FFFF;", "PFD1", "7 6"]


@given(
    st.sampled_from([*RULES.values()]), st.integers(0, 10_000), st.sampled_from(ODD), st.sampled_from(["3.3", "4.3"])
)
def test_no_attribute_value_breaks_a_rule(rule, number, value, version):
    values = list(re.finditer(r'="([^"]*)"', rule.failing.body)) or [re.match("", "")]
    start, end = values[number % len(values)].span()
    body = rule.failing.body[:start] + (f'="{value}"' if end else "") + rule.failing.body[end:]

    assert run(dataclasses.replace(rule.failing, body=body, version=version)).crashed == ()
