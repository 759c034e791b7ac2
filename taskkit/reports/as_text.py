"""Results as text for a screen of 80 columns."""

from __future__ import annotations

import re
import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from taskkit.findings import Confidence, Finding, Kind, Report, Severity, Skip
from taskkit.taskdata.dictionary import ANY, Attribute, Element

if TYPE_CHECKING:
    # What only some commands need is not imported for all: check starts without the plan's libraries.
    from taskkit.api import Checked, Compared, Created, Exported, GisWritten, ReadBack
    from taskkit.compare import Comparison

__all__ = ["checks", "comparison", "creation", "explanation", "export", "gis", "reading"]

WIDTH = 80
SHOWN_OF_A_RULE = 5
"""Findings of one rule that are printed; the rest are counted."""
SKIPS_NAMED = 3
"""Checks that are named of those skipped for one reason; JSON has all."""
_PLACEHOLDER = re.compile(r"\{(\w+)\}")
_CAUTION = (
    "Before anything runs by itself at a row end: read the machine's manual and the local rules, drive the first lap "
    "slowly, stay in the seat and watch the turn. Trained persons decide, not this program."
)


def checks(checked: Sequence[Checked], *, notes: bool = False) -> str:
    """The result of ``check``: findings by file, notes only on request."""
    return "\n\n".join("\n".join(_check(one, notes=notes)) for one in checked)


def export(exported: Exported) -> str:
    """The result of ``export``, in a few lines."""
    ledger, compared = exported.ledger, exported.comparison
    counts = ledger.counts()
    lines = [
        f"{exported.plan.name}: {_count(len(exported.plan.fields), 'field')} written to {exported.path}",
        f"  version {exported.version.text}: {', '.join(exported.files)}",
        f"  validated: {_counted(exported.report)}",
        f"  read back and compared: {_equality(compared)}",
        "  carried: " + ", ".join(f"{count} {carried}" for carried, count in counts.items() if count),
    ]
    missed = ledger.missed_by_driver()
    if missed:
        lines += ["", "What the driver will miss, because no element of the standard carries it:"]
        lines += _bullets(missed)
    losses = ledger.losses()
    if losses:
        lines += ["", "Lost on the way" + (" (accepted):" if exported.accepted else ":")]
        lines += _bullets(f"{loss.label}: {loss.note}" for loss in losses[:10])
        if len(losses) > 10:
            lines.append(f"  - and {len(losses) - 10} more (--format json lists all)")
        if not exported.accepted:
            lines += _wrapped("Accept them with --accept-losses all, or with a file of these lines:", "  ")
            lines += [f"    {loss.key}" for loss in losses[:10]]
    if not exported.lasting:
        lines += ["", *_wrapped("The numbers of this set will not last: plan.ids.tsv could not be written.", "")]
    return "\n".join([*lines, "", *_wrapped(_CAUTION, "")])


def reading(back: ReadBack) -> str:
    """The result of ``read``."""
    plan = back.plan
    held = ", ".join(
        _count(len(objects), word)
        for objects, word in ((plan.customers, "customer"), (plan.farms, "farm"), (plan.fields, "field"))
    )
    lines = [f"{back.path}: {held} read into {back.folder}", f"  the set: {_counted(back.report)}"]
    return "\n".join([*lines, *_findings(back.report, notes=True)])


def comparison(compared: Compared) -> str:
    """The result of ``compare``."""
    lines = [f"{compared.a} and {compared.b}: {_equality(compared.comparison)}"]
    for difference in compared.comparison.differences:
        lines += _wrapped(f"- {difference.where}: {difference.what}", "  ", "    ")
    return "\n".join(lines)


def creation(made: Created) -> str:
    """The result of ``new``."""
    came = f" from {made.source}" if made.source else ""
    lines = [f"{made.folder}: a plan of {_count(made.fields, 'field')}{came}, frame {made.frame}"]
    return "\n".join([*lines, *_bullets(made.notes)])


def gis(written: GisWritten) -> str:
    """The result of ``gis``."""
    counts = ", ".join(f"{name} {count}" for name, count in written.layers)
    lines = [f"{', '.join(map(str, written.files))}: {counts}; frame {written.frame} ({written.crs})"]
    return "\n".join([*lines, *_bullets(written.notes)])


def explanation(explained: Kind | Element | Attribute) -> str:
    """The result of ``explain``."""
    if isinstance(explained, Kind):
        return "\n".join(_kind(explained))
    return "\n".join(_element(explained) if isinstance(explained, Element) else _attribute(explained))


def _check(one: Checked, *, notes: bool) -> Iterator[str]:
    version = "" if one.version is None else f" (version {one.version.text})"
    hidden = one.report.counts()[Severity.NOTE.word]
    hint = f"; {_count(hidden, 'note')} hidden, see --notes" if hidden and not notes else ""
    yield f"{one.path}{version}: {_counted(one.report, notes=notes)}{hint}"
    yield from _findings(one.report, notes=notes)
    yield from _skips(one.report.skipped)
    for crash in one.report.crashed:
        yield from _wrapped(f"our own check {crash.rule} failed, please report it: {crash.error}", "  ", "    ")


def _skips(skipped: Iterable[Skip]) -> Iterator[str]:
    """What could not be checked, by reason."""
    rules: dict[str, list[str]] = {}
    for skip in skipped:
        rules.setdefault(skip.reason, []).append(skip.rule)
    for reason, names in rules.items():
        shown = ", ".join(names[:SKIPS_NAMED])
        more = f" and {len(names) - SKIPS_NAMED} more" if len(names) > SKIPS_NAMED else ""
        yield from _wrapped(f"skipped {_count(len(names), 'check')} ({shown}{more}): {reason}", "  ", "    ")


def _findings(report: Report, *, notes: bool) -> Iterator[str]:
    seen: Counter[str] = Counter()
    for found in report:
        if found.severity is Severity.NOTE and not notes:
            continue
        seen[found.rule] += 1
        if seen[found.rule] <= SHOWN_OF_A_RULE:
            yield from _finding(found)
    unlisted = Counter[str]()
    for (rule, severity), count in report.unlisted.items():
        if notes or severity is not Severity.NOTE:
            unlisted[rule] += count
    for rule, count in seen.items():
        more = count + unlisted[rule] - SHOWN_OF_A_RULE
        if more > 0:
            yield f"  and {more} more of {rule}"


def _finding(found: Finding) -> Iterator[str]:
    place = str(found.where) + (f" {found.where.id}" if found.where.id else "")
    yield f"  {found.severity.word:<8}{place}  [{found.rule}]"
    yield from _wrapped(found.message, "          ")
    yield from _wrapped(found.hint, "          > ", "            ")


def _counted(report: Report, *, notes: bool = True) -> str:
    words = [
        _count(count, word)
        for word, count in report.counts().items()
        if count or (word != "note")
        if notes or word != "note"
    ]
    return ", ".join(words)


def _equality(compared: Comparison) -> str:
    moved = f"largest move {compared.largest_move_mm:.2f} mm"
    if compared.equal:
        return f"equal ({moved})"
    return f"{_count(len(compared.differences), 'difference')} ({moved})"


def _kind(kind: Kind) -> Iterator[str]:
    yield f"{kind.name}: {kind.severity.word}, level {kind.level.name.lower()}"
    for title, text in (
        ("Says", _PLACEHOLDER.sub(_blank, kind.message)),
        ("Matters", kind.why),
        ("Do", _PLACEHOLDER.sub(_blank, kind.hint)),
        ("Source", f"{kind.source}; confidence {kind.confidence}"),
    ):
        yield from _titled(title, text)


def _blank(placeholder: re.Match[str]) -> str:
    """A placeholder of a message as a blank to be filled; how sure a limit is, is said beside it."""
    return "" if placeholder[1] == "standing" else f"<{placeholder[1].replace('_', ' ')}>"


def _element(element: Element) -> Iterator[str]:
    yield f"{element.code}: {element.name}"
    yield from _titled("Is", element.about)
    if element.attributes:
        yield "  Has"
        for attribute in element.attributes.values():
            need = "required" if attribute.required else "optional"
            yield f"    {element.code}@{attribute.code:<3} {attribute.name} ({need})"
    holds = ", ".join(
        f"{rule.child} ({rule.minimum} to {'any' if rule.maximum is None else rule.maximum})"
        for rule in element.children.values()
    )
    yield from _titled("Holds", holds or "no other element")
    yield from _titled("Since", f"version {element.since.text}")
    yield from _titled("Source", f"{element.source}; confidence {element.confidence}")


def _attribute(attribute: Attribute) -> Iterator[str]:
    yield f"{attribute.element}@{attribute.code}: {attribute.name}"
    yield from _titled("Is", attribute.about)
    yield from _titled("Type", f"{attribute.type}, {'required' if attribute.required else 'optional'}")
    if attribute.minimum is not None or attribute.maximum is not None:
        unit = f" {attribute.unit}" if attribute.unit else ""
        yield from _titled("Range", f"{attribute.minimum} to {attribute.maximum}{unit}")
    if attribute.max_length is not None:
        yield from _titled("Length", f"at most {attribute.max_length}")
    if attribute.pattern is not None:
        yield from _titled("Form", attribute.pattern)
    if attribute.target is not None:
        yield from _titled("Names", "any element with an identifier" if attribute.target == ANY else attribute.target)
    for value in attribute.values:
        yield f"    {value.value:>3}  {value.meaning}"
    yield from _titled("Since", f"version {attribute.since.text}")
    yield from _titled("Source", f"{attribute.source}; confidence {attribute.confidence}")
    if attribute.confidence is not Confidence.HIGH:
        yield from _titled("Note", "Breaking this makes a warning, never an error: look it up in the standard.")


def _titled(title: str, text: str) -> list[str]:
    return _wrapped(text, f"  {title:<8}", " " * 10)


def _bullets(texts: Iterable[str]) -> list[str]:
    return [line for text in texts for line in _wrapped(text, "  - ", "    ")]


def _wrapped(text: str, first: str, rest: str | None = None) -> list[str]:
    indent = " " * len(first) if rest is None else rest
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    )


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number or 'no'} {word}s"
