"""What is met on the way from a set to a plan: what is broken, and what the plan has no word for."""

from __future__ import annotations

from collections.abc import Collection

from taskkit.findings import Collector, Fact, Finding, Kind, Report, Severity, Where, kind
from taskkit.mapping.units import PLACE, with_more_than_a_place
from taskkit.taskdata.dictionary import dictionary
from taskkit.taskdata.document import POINT, Element

__all__ = ["LEFT_OUT", "Reading"]

BEYOND = kind(
    "not-in-plan-model",
    Severity.NOTE,
    "Not taken into the plan, which has no word for it: {what}, {count} in all.",
    hint="Keep the set: it stays as it is, and nothing in it is lost.",
    why="What is written from this plan will not have it.",
    source="taskkit's own model",
)
LEFT_OUT = kind(
    "left-out-of-plan",
    Severity.WARNING,
    "{what} is left out of the plan: {reason}.",
    hint="Look at the place in the set, and correct it there or add what is missing to the plan.",
    why="What the plan lacks will be missing from the next set that is written from it.",
    source="taskkit's own model",
)


class Reading:
    """Gathers the findings of one set while a plan is made of it."""

    def __init__(self) -> None:
        self._findings = Collector()
        self._beyond: dict[str, tuple[int, Element | None]] = {}

    def found(self, kind: Kind, element: Element, **facts: Fact) -> None:
        """A finding at an element."""
        if self._findings.has_room(kind, kind.severity):
            self._findings.put(Finding(kind, element.where(), kind.severity, facts))

    def found_in(self, kind: Kind, file: str, **facts: Fact) -> None:
        """A finding about a whole file."""
        self._findings.add(Finding(kind, Where(file), kind.severity, facts))

    def left_out(self, element: Element, reason: str, *, what: str | None = None) -> None:
        """Something is broken and cannot be taken; everything else is."""
        self.found(LEFT_OUT, element, what=(what or element.identity or element.tag)[:80], reason=reason)

    def beyond(self, what: str, element: Element | None = None) -> None:
        """Something is sound, but the plan has no word for it; counted, and told once for each sort."""
        count, first = self._beyond.get(what, (0, element))
        self._beyond[what] = count + 1, first

    def beyond_element(self, element: Element) -> None:
        """The same for an element as a whole, told by its name in the standard and, where it has one, its type."""
        known = dictionary().elements.get(element.tag)
        if known is None:
            self.beyond(f"{element.tag[:40]} (no element of the standard)", element)
            return
        first = next(iter(known.attributes.values()), None)
        meanings = {value.value: value.meaning for value in first.values} if first else {}
        text = (element.get("A") or "").strip()
        self.beyond(f"{element.tag} ({meanings.get(text, known.name)})", element)

    def beyond_attributes(self, element: Element, known: Collection[str]) -> None:
        """The same for all attributes of an element but those that were looked at."""
        row = dictionary().elements.get(element.tag)
        for code, text in element.attributes.items():
            if code not in known and text:
                attribute = row.attributes.get(code) if row else None
                name = attribute.name if attribute else "no attribute of the standard"
                self.beyond(f"{element.tag}@{code[:40]} ({name})", element)

    def beyond_children(self, element: Element, known: str = "") -> None:
        """The same for all elements that one holds, but for those of a tag that was looked at."""
        for child in element.elements():
            if child.tag != known:
                self.beyond_element(child)

    def beyond_line(self, line: Element, known: Collection[str]) -> None:
        """The same for a line string, and for whatever its points say besides their type and place."""
        self.beyond_attributes(line, known)
        self.beyond_children(line, POINT)
        for point in with_more_than_a_place(line):
            self.beyond_attributes(point, PLACE)
            self.beyond_children(point)

    def report(self) -> Report:
        """Everything that was found."""
        for what, (count, first) in self._beyond.items():
            self._findings.add(BEYOND.at(first.where() if first else Where(), what=what, count=count))
        self._beyond.clear()
        return self._findings.report()
