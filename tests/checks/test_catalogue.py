"""The catalogue held against its own law: every rule, whatever it is about."""

import re
import subprocess
import sys

import pytest

from taskkit.checks import RULES, Need, Rule, SetContext, run_checks
from taskkit.findings import KINDS, Report, Severity
from taskkit.taskdata.sets import read_set

every_rule = pytest.mark.parametrize("rule", RULES.values(), ids=list(RULES))
REMEDIES = {
    "add", "avoid", "check", "close", "correct", "do", "ensure", "fix", "must", "never", "prefer", "remove", "rename",
    "require", "should", "use", "write",
}  # fmt: skip


def checked(store) -> Report:
    reading = read_set(store)
    run_checks(SetContext(reading), reading.findings)
    return reading.findings.report()


@every_rule
def test_its_failing_example_triggers_it_and_nothing_else(rule: Rule):
    report = checked(rule.failing.store())

    assert {found.rule for found in report} == {rule.name}
    assert all(found.severity == rule.kind.severity for found in report)
    assert report.crashed == ()


@every_rule
def test_its_passing_example_is_silent(rule: Rule):
    report = checked(rule.passing.store())

    assert list(report) == []
    assert report.crashed == ()


@every_rule
def test_its_facts_are_exactly_those_that_message_and_hint_name(rule: Rule):
    for found in checked(rule.failing.store()):
        assert set(found.facts) == rule.placeholders
        assert "{" not in found.message + found.hint


@every_rule
def test_its_finding_has_a_place_in_a_file_of_the_set(rule: Rule):
    names = rule.failing.files()
    for found in checked(rule.failing.store()):
        assert any(name.endswith(found.where.file) for name in names)
        assert rule.needs is Need.FILES or (found.where.line and found.where.column and found.where.element)


@every_rule
def test_its_name_is_that_of_a_defect(rule: Rule):
    assert KINDS[rule.name] is rule.kind
    assert not REMEDIES & set(rule.name.split("-")[:1]), "the name of a rule reads well after 'allow'"


@every_rule
def test_it_says_what_to_do_what_goes_wrong_and_where_it_comes_from(rule: Rule):
    kind = rule.kind
    for text in (kind.message, kind.hint, kind.why):
        assert re.fullmatch(r"[A-Z{].*[.?]", text), text
    assert re.search(r"ISO 11783-10, .+recalled|OGC 06-103r4|common practice", kind.source)
    assert rule.find.__doc__


@every_rule
def test_what_rests_on_practice_or_on_doubtful_memory_is_no_error(rule: Rule):
    if "ISO 11783" not in rule.kind.source or rule.kind.confidence != "high":
        assert rule.kind.severity < Severity.ERROR


@every_rule
def test_it_goes_on_where_there_is_nothing_to_check(rule: Rule):
    empty = rule.passing.store()
    empty._files[empty.names[-1]] = b"<ISO11783_TaskData/>"

    assert checked(empty).crashed == ()


def test_fifteen_rules_and_more_are_listed():
    assert len(RULES) >= 15


def test_checking_imports_neither_pyproj_nor_pydantic_nor_yaml():
    code = "import sys, taskkit.checks; print(sorted({'pyproj', 'pydantic', 'yaml'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "[]"
