import itertools
import random
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from taskkit.findings import Collector, Confidence, Crash, Finding, Kind, Report, Severity, Skip, Where
from taskkit.findings.finding import SHOWN_OF_A_KIND

GATE = Kind("gate-too-narrow", Severity.ERROR, "{gate} is {width_m} m wide.", "Widen {gate}.", "why", "common practice")
MUD = Kind("mud-ahead", Severity.NOTE, "There is mud.", "Wait.", "why", "common practice")
HERE = Where("PLAN.XML", 3, 7, "/farm/gate[2]", "GATE2")


def test_message_and_hint_are_made_from_the_facts():
    found = GATE.at(HERE, gate="The south gate", width_m=2.4)
    assert (found.rule, found.severity) == ("gate-too-narrow", Severity.ERROR)
    assert found.message == "The south gate is 2.4 m wide."
    assert found.hint == "Widen The south gate."


def test_braces_in_a_fact_stay_as_they_are():
    assert GATE.at(HERE, gate="{width_m} {0.__class__}", width_m=1).message == "{width_m} {0.__class__} is 1 m wide."


def test_a_single_finding_may_weigh_less_than_its_kind():
    assert GATE.at(HERE, severity=Severity.WARNING, gate="x", width_m=1).severity is Severity.WARNING


def test_severities_are_ordered_and_have_words():
    assert Severity.ERROR > Severity.WARNING > Severity.NOTE
    assert [s.word for s in Severity] == ["note", "warning", "error"]


@pytest.mark.parametrize(
    ("where", "text"),
    [
        (HERE, "PLAN.XML:3:7"),
        (Where("PLAN.XML"), "PLAN.XML"),
        (Where("PLAN.XML", 3), "PLAN.XML:3"),
        (Where(element="/farm"), "-"),
        (Where(), "-"),
    ],
)
def test_a_place_is_written_as_editors_know_it(where, text):
    assert str(where) == text


# Fingerprints.


def test_a_fingerprint_stays_when_the_line_moves():
    found = GATE.at(HERE, gate="x", width_m=1, first_line=4)
    moved = GATE.at(replace(HERE, line=90, column=1), gate="x", width_m=1, first_line=91)
    assert found.fingerprint == moved.fingerprint
    assert len(found.fingerprint) == 16
    assert int(found.fingerprint, 16) >= 0


def test_a_fingerprint_does_not_hang_on_the_order_of_facts_or_on_the_run():
    one, other = GATE.at(HERE, gate="x", width_m=1), GATE.at(HERE, width_m=1, gate="x")
    # printf 'gate-too-narrow\x1fPLAN.XML\x1f/farm/gate[2]\x1fGATE2\x1fgate=x\x1fwidth_m=1' | sha256sum
    assert one.fingerprint == other.fingerprint == "67be7178b1a7a006"


@pytest.mark.parametrize(
    "other",
    [
        MUD.at(HERE, gate="x", width_m=1),
        GATE.at(HERE, gate="y", width_m=1),
        GATE.at(HERE, gate="x", width_m=2),
        GATE.at(replace(HERE, file="OTHER.XML"), gate="x", width_m=1),
        GATE.at(replace(HERE, element="/farm/gate[3]"), gate="x", width_m=1),
        GATE.at(replace(HERE, id="GATE3"), gate="x", width_m=1),
    ],
)
def test_a_fingerprint_changes_with_what_the_defect_is(other):
    assert other.fingerprint != GATE.at(HERE, gate="x", width_m=1).fingerprint


# The collector.


def test_findings_come_out_by_place_whatever_order_they_came_in():
    places = [
        Where(),
        *(Where(f, line, column) for f in ("A", "B") for line in (None, 2, 10) for column in (None, 3, 20)),
    ]
    findings = [kind.at(where, gate="x", width_m=1) for where in places for kind in (GATE, MUD)]
    findings += [GATE.at(Where("B", 10, 20), gate="w", width_m=1)]
    reports = []
    for seed in range(5):
        collector = Collector()
        shuffled = findings.copy()
        random.Random(seed).shuffle(shuffled)
        collector.extend(shuffled)
        reports.append(collector.report().findings)
    assert all(report == reports[0] for report in reports)
    order = [(f.where.file or "", f.where.line or 0, f.where.column or 0, f.rule) for f in reports[0]]
    assert order == sorted(order)
    assert [f.facts["gate"] for f in reports[0] if f.where == Where("B", 10, 20) and f.kind is GATE] == ["w", "x"]


def test_of_one_kind_a_bounded_number_is_kept_and_the_rest_counted():
    collector = Collector()
    collector.extend(MUD.at(Where("A", n)) for n in range(SHOWN_OF_A_KIND + 25))
    collector.extend(MUD.at(Where("A", n), severity=Severity.WARNING) for n in range(3))
    collector.add(GATE.at(HERE, gate="x", width_m=1))
    report = collector.report()
    assert len(report.findings) == SHOWN_OF_A_KIND + 4
    assert dict(report.unlisted) == {("mud-ahead", Severity.NOTE): 25}
    assert report.counts() == {"error": 1, "warning": 3, "note": SHOWN_OF_A_KIND + 25}
    assert [f.where.line for f in report if f.severity is Severity.NOTE] == list(range(SHOWN_OF_A_KIND))


def test_who_asks_for_room_first_has_the_same_bound():
    collector = Collector()
    for line in range(SHOWN_OF_A_KIND + 5):
        if collector.has_room(MUD, MUD.severity):
            collector.put(MUD.at(Where("A", line)))
    report = collector.report()
    assert len(report.findings) == SHOWN_OF_A_KIND
    assert report.counts()["note"] == SHOWN_OF_A_KIND + 5


def test_a_total_counts_what_is_not_kept_too_and_one_severity_only():
    collector = Collector()
    collector.extend(MUD.at(Where()) for _ in range(SHOWN_OF_A_KIND + 5))
    collector.add(GATE.at(HERE, gate="x", width_m=1))
    assert collector.total(MUD, GATE, severity=Severity.NOTE) == SHOWN_OF_A_KIND + 5
    assert collector.total(MUD, GATE, severity=Severity.ERROR) == 1
    assert collector.total(MUD, severity=Severity.ERROR) == 0


@given(st.lists(st.tuples(st.sampled_from([GATE, MUD]), st.sampled_from(Severity), st.integers(1, 400)), max_size=12))
def test_counts_are_exact_however_many_there_are(batches):
    collector = Collector()
    for kind, severity, number in batches:
        collector.extend(itertools.repeat(kind.at(HERE, severity=severity, gate="x", width_m=1), number))
    report = collector.report()
    assert report.counts() == {s.word: sum(n for _, other, n in batches if other is s) for s in Severity}
    assert report.worst() == max((severity for _, severity, _ in batches), default=None)
    assert len(report.findings) <= SHOWN_OF_A_KIND * 6


def test_an_early_report_does_not_change_later():
    collector = Collector()
    collector.add(MUD.at(HERE))
    collector.skipped.append(Skip("mud-depth", "no spade"))
    early = collector.report()
    collector.add(MUD.at(HERE))
    collector.skipped.append(Skip("mud-colour", "too dark"))
    collector.crashed.append(Crash("mud-depth", "ZeroDivisionError"))
    assert (len(early.findings), len(early.skipped), len(early.crashed)) == (1, 1, 0)
    late = collector.report()
    assert (len(list(late)), len(late.skipped), late.crashed) == (2, 2, (Crash("mud-depth", "ZeroDivisionError"),))


def test_a_clean_report_has_no_worst_and_counts_nothing():
    assert Report().worst() is None
    assert Report().counts() == {"error": 0, "warning": 0, "note": 0}
    assert list(Report()) == []


def test_findings_with_the_same_facts_are_equal():
    assert GATE.at(HERE, gate="x", width_m=1) == Finding(GATE, HERE, Severity.ERROR, {"gate": "x", "width_m": 1})
    assert GATE.confidence is Confidence.HIGH
