"""Runs the rules over a set: what they find, what could not be checked, what of ours broke."""

from __future__ import annotations

import difflib
import traceback
from collections.abc import Collection
from pathlib import Path

from taskkit.checks.context import SetContext
from taskkit.checks.rule import RULES, Hit, Need, Rule
from taskkit.errors import InputError
from taskkit.findings import Collector, Crash, Level, Skip, Where

__all__ = ["run_checks"]


def run_checks(
    context: SetContext,
    findings: Collector,
    *,
    level: Level = Level.OFFICE,
    only: Collection[str] = (),
    ignore: Collection[str] = (),
) -> None:
    """Run the rules over a set.

    A rule that raises is noted as a crash, one that lacks what it needs as skipped; the others go on.

    Args:
        context: the set.
        findings: takes what is found.
        level: who asks; rules for later levels are left out.
        only: names of the rules to run, whatever their level; all where empty.
        ignore: names of rules to leave out.

    Raises:
        InputError: there is no rule of such a name.
    """
    for name in (*only, *ignore):
        if name not in RULES:
            near = difflib.get_close_matches(name, RULES, n=1)
            raise InputError(f"there is no rule {name[:60]!r}", remedy=f"Did you mean {near[0]}" if near else None)
    for name, rule in sorted(RULES.items()):
        wanted = name in only if only else rule.kind.level <= level
        if wanted and name not in ignore and context.version in rule.versions:
            _run(rule, context, findings)


def _run(rule: Rule, context: SetContext, findings: Collector) -> None:
    if rule.needs is not Need.FILES and not context.is_readable:
        findings.skipped.append(Skip(rule.name, "the task file is missing or could not be read"))
        return
    try:
        if rule.needs is Need.COORDINATES and (left_out := context.unmeasured):
            lines = "1 line or ring has" if left_out == 1 else f"{left_out} lines or rings have"
            findings.skipped.append(Skip(rule.name, f"{lines} points without a place that can be measured"))
        for hit in rule.find(context):
            _report(rule, hit, findings)
    except InputError as error:
        findings.skipped.append(Skip(rule.name, str(error)))
    except Exception as error:  # whatever it is, it is a bug of this rule and of no other
        last = traceback.extract_tb(error.__traceback__)[-1]
        place = f"{Path(last.filename).name}:{last.lineno}"
        findings.crashed.append(Crash(rule.name, f"{type(error).__name__}: {error} ({place})"))


def _report(rule: Rule, hit: Hit, findings: Collector) -> None:
    if unfilled := rule.placeholders - hit.facts.keys():
        raise KeyError(f"no facts for {sorted(unfilled)}")
    severity = rule.kind.severity if hit.severity is None else hit.severity
    if findings.has_room(rule.kind, severity):
        where = hit.where if isinstance(hit.where, Where) else hit.where()
        findings.put(rule.kind.at(where, severity=severity, **hit.facts))
