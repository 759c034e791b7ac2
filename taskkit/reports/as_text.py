"""Results as text for a screen of 80 columns."""

from __future__ import annotations

import re
import textwrap
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from taskkit.findings import Confidence, Finding, Kind, Report, Severity, Skip
from taskkit.taskdata.dictionary import ANY, Attribute, Element

if TYPE_CHECKING:
    # What only some commands need is not imported for all: check starts without the plan's libraries.
    from taskkit.api import Checked, Compared, Created, Edited, Exported, GisWritten, ReadBack
    from taskkit.compare import Comparison
    from taskkit.readiness import Answer, Facts, FieldAnswers, JobAnswers, Readiness

__all__ = ["checks", "comparison", "creation", "edit", "explanation", "export", "gis", "readiness", "reading"]

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
        *_findings(exported.report, notes=False),
        f"  read back and compared: {_equality(compared)}",
        "  carried: " + ", ".join(f"{count} {carried}" for carried, count in counts.items() if count),
        *_wrapped(_frame(exported), "  ", "    "),
        *_bullets(exported.notes),
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
    if exported.left_out:
        lines += ["", "Left out, because it cannot go out as it is:", *_bullets(map(str, exported.left_out))]
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


def edit(edited: Edited) -> str:
    """The result of ``edit``."""
    lines = []
    if done := edited.outline:
        before, after = (f"{area / 10_000:.2f} ha" for area in (done.area_before_m2, done.area_after_m2))
        said = f"{done.field}: {done.boundary.title} moved outward by {done.by}, {done.boundary.offset} in all"
        lines += _wrapped(f"{said}; {before} became {after}", "", "  ")
    for end in edited.moved:
        shared = f"; {', '.join(end.shared_with)} has the line too" if end.shared_with else ""
        lines += _wrapped(f"{end.line}: {end.end} moved outward by {end.by_m:.2f} m{shared}", "", "  ")
    for stays in edited.left:
        lines += _wrapped(f"{stays.line}: stays, {stays.why}", "", "  ")
    for one in edited.renewed:
        said = f"line {one.line}: {one.title} has a UUID of its own now, {one.new}; that of line {one.other_line} stays"
        lines += _wrapped(said, "", "  ")
    kept = f"{edited.path} was changed; as it was, it is {edited.former.name}" if edited.former else "Nothing to change"
    return "\n".join([*lines, kept])


def readiness(asked: Readiness, *, full: bool = False) -> str:
    """The result of ``ready``: what is missing or needs attention, what is fine too on request."""
    counts = Counter(str(field.state) for field in asked.fields)
    stand = ", ".join(f"{counts[word]} {shown}" for word, shown in _STATES.items() if counts[word])
    lines = [f"{asked.plan}: {_count(len(asked.fields), 'field')}" + (f", {stand}" if stand else "")]
    for answer in asked.answers:
        lines += _answer(answer, "  ", full=full)
    for field in asked.fields:
        lines += (
            ["", *_field(field, full=full)] if full or field.state != "fine" else _wrapped(_in_short(field), "", "  ")
        )
    return "\n".join(lines)


def explanation(explained: Kind | Element | Attribute) -> str:
    """The result of ``explain``."""
    if isinstance(explained, Kind):
        return "\n".join(_kind(explained))
    return "\n".join(_element(explained) if isinstance(explained, Element) else _attribute(explained))


_STATES = {"fine": "fine", "needs attention": "to look at", "missing": "with something missing"}


def _in_short(field: FieldAnswers) -> str:
    jobs = ", ".join(job.name or "" for job in field.jobs)
    return f"{_named(field)}, {jobs}: fine"


def _named(field: FieldAnswers) -> str:
    return field.name + (f" ({field.code})" if field.code else "")


def _field(field: FieldAnswers, *, full: bool) -> Iterator[str]:
    yield from _wrapped(f"{_named(field)}: {_STATES[str(field.state)]}", "", "  ")
    yield from _answers(field, "  ", full=full)
    for job in field.jobs:
        yield from _wrapped(job.name or "without a job", "  ", "    ")
        yield from _answers(job, "    ", full=full)


def _answers(held: FieldAnswers | JobAnswers, indent: str, *, full: bool) -> Iterator[str]:
    fine = [str(answer.topic) for answer in held.answers if answer.state == "fine"]
    if fine and not full:
        yield from _wrapped(f"fine: {', '.join(fine)}", indent, indent + "  ")
    for answer in held.answers:
        yield from _answer(answer, indent, full=full)


def _answer(answer: Answer, indent: str, *, full: bool) -> Iterator[str]:
    """One topic: how it stands, what is there, and what is to be done."""
    if answer.state == "fine" and not full:
        return
    there = "; ".join(filter(None, map(_FACTS[str(answer.topic)], answer.facts)))
    said = f"{answer.topic}: {answer.state}" + (f" ({there})" if there and full else "")
    yield from _wrapped(said, indent, indent + "  ")
    for found in answer.findings:
        yield from _wrapped(found.message, f"{indent}  - ", f"{indent}    ")
        yield from _wrapped(found.hint, f"{indent}    > ", f"{indent}      ")


def _boundary(facts: Facts) -> str:
    area_m2 = facts["area_m2"]
    assert isinstance(area_m2, float)
    accuracy = facts["accuracy_m"]
    said = [
        facts["boundary"],
        f"{area_m2 / 10_000:.2f} ha",
        f"{facts['parts']} parts" if facts["parts"] != 1 else None,
        f"holes: {facts['holes']}" if facts["holes"] else None,
        facts["source"],
        facts["date"],
        f"accurate to {accuracy:g} m" if accuracy is not None else None,
        f"moved outward by {facts['offset_m']:g} m" if facts["offset_m"] else None,
        f"frame {facts['frame']}",
    ]
    return _listed(*said)


def _listed(*said: object) -> str:
    return ", ".join(str(one) for one in said if one is not None)


def _row_end(facts: Facts) -> str:
    side = f" to the {facts['side']}" if facts["side"] else ""
    turn = f"{facts['turn']}{side}" if facts["turn"] else None
    skip = f"skip {facts['skip']}" if facts["skip"] is not None else None
    return _listed(facts["row_end"], turn, skip, f"steps: {facts['leaving']} leaving, {facts['entering']} entering")


def _machine(facts: Facts) -> str:
    width = f"works {facts['working_width']}" if facts["working_width"] else None
    return _listed(facts["machine"], width, f"turns in {facts['turning_radius']}" if facts["turning_radius"] else None)


def _headland(facts: Facts) -> str:
    others = [f"{word} of another depth: {facts[word]}" for word in ("sides", "islands") if facts[word]]
    return _listed(facts["depth"], *others)


_FACTS: Mapping[str, Callable[[Facts], str]] = {
    "frame": lambda facts: _listed(facts["frame"], facts["crs"]),
    "values": lambda _: "",
    "names": lambda facts: _listed(facts["farm"], facts["customer"]),
    "boundary": _boundary,
    "lines": lambda facts: f"{facts['line']}: {facts['kind']}, spacing {facts['spacing']}",
    "headland": _headland,
    "row end": _row_end,
    "machine": _machine,
    "speeds": lambda facts: _listed(
        f"{facts['working']} on the pass" if facts["working"] else None,
        f"{facts['turning']} in the turn" if facts["turning"] else None,
    ),
}
"""For each topic of ``ready`` what is there, in words."""


def _frame(exported: Exported) -> str:
    """The steering frame, and how many outlines were brought into it from elsewhere, and how exactly."""
    brought: Counter[str] = Counter()
    for one in exported.origins:
        if not one.plain:
            exactly = (
                f"to {one.origin.operation_accuracy}" if one.origin.operation_accuracy else "nobody knows how exactly"
            )
            brought[f"from {one.origin.frame or one.origin.crs or 'another frame'}, {exactly}"] += 1
    said = "; ".join(f"{_count(count, 'outline')} {how}" for how, count in brought.items())
    return f"steering frame: {exported.plan.steering_frame}" + (f"; brought there: {said}" if said else "")


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
    yield from _titled("Since", f"version {element.span.since.text}")
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
    yield from _titled("Since", f"version {attribute.span.since.text}")
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
