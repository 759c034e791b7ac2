"""Results as text and JSON: grouped, bounded, within 80 columns, and with nothing hidden in JSON."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from taskkit.api import Checked
from taskkit.findings import Collector, Crash, Severity, Skip, Where, kind
from taskkit.reports import as_json, as_text
from taskkit.taskdata.version import Version

LOOSE = kind(
    "gate-left-open",
    Severity.WARNING,
    "The gate of {field} is open.",
    hint="Close it.",
    why="Cattle on the lane.",
    source="common practice, no source",
)
FAINT = kind(
    "gate-squeaks-softly",
    Severity.NOTE,
    "The gate of {field} squeaks.",
    hint="Oil it.",
    why="Nothing.",
    source="common practice, no source",
)


def checked(count: int, *, skipped: tuple[Skip, ...] = (), crashed: tuple[Crash, ...] = ()) -> Checked:
    findings = Collector()
    for number in range(count):
        findings.add(LOOSE.at(Where("TASKDATA.XML", number + 1, 3), field=f"field {number}"))
    findings.add(FAINT.at(Where("TASKDATA.XML", 1, 1), field="Long Acre"))
    findings.skipped += skipped
    findings.crashed += crashed
    return Checked(Path("stick"), Version.V4_3, findings.report())


def test_repeats_of_a_rule_are_counted_after_the_first_five() -> None:
    text = as_text.checks([checked(12)])

    assert text.count("[gate-left-open]") == 5
    assert "and 7 more of gate-left-open" in text
    assert text.splitlines()[0] == "stick (version 4.3): no errors, 12 warnings; 1 note hidden, see --notes"


def test_findings_beyond_what_is_kept_are_counted_all_the_same() -> None:
    text = as_text.checks([checked(1500)])

    assert "1500 warnings" in text
    assert "and 1495 more of gate-left-open" in text
    facts = json.loads(as_json.checks([checked(1500)]))["sets"][0]
    assert facts["counts"] == {"error": 0, "warning": 1500, "note": 1}
    assert facts["unlisted"] == [{"rule": "gate-left-open", "severity": "warning", "count": 500}]


def test_notes_show_on_request_only() -> None:
    assert "squeaks" not in as_text.checks([checked(1)])
    assert "squeaks" in as_text.checks([checked(1)], notes=True)


def test_skips_are_told_by_reason_and_crashes_apart_from_the_findings() -> None:
    skips = tuple(Skip(f"rule-{letter}-named", "there is no task file") for letter in "abcde")
    crash = Crash("rule-z-named", "ZeroDivisionError: division by zero (rings.py:7)")

    text = as_text.checks([checked(0, skipped=skips, crashed=(crash,))])

    assert "skipped 5 checks (rule-a-named, rule-b-named, rule-c-named and 2 more)" in text
    assert "our own check rule-z-named failed, please report it" in " ".join(text.split())
    facts = json.loads(as_json.checks([checked(0, skipped=skips, crashed=(crash,))]))["sets"][0]
    assert len(facts["skipped"]) == 5
    assert facts["crashed"][0]["rule"] == "rule-z-named"


@pytest.mark.parametrize("count", [0, 3, 40])
def test_no_line_is_longer_than_a_screen(count: int) -> None:
    assert all(len(line) <= 80 for line in as_text.checks([checked(count)], notes=True).splitlines())
