"""The one engine that finds departures from the dictionary; it watches elements while they are read.

A limit of which we are not sure (confidence below high) makes a warning that says so, never an error.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from taskkit.findings import Collector, Confidence, Fact, Kind, Severity, kind
from taskkit.taskdata.dictionary import ANY, Attribute, Dictionary
from taskkit.taskdata.dictionary import Element as Definition
from taskkit.taskdata.document import POINT, Element
from taskkit.taskdata.types import Problem, problem_finder

__all__ = ["DICTIONARY_KINDS", "Conformance", "References"]

PROPRIETARY = re.compile(r"P[0-9]{1,5}_.+", re.DOTALL)
"""Names that a manufacturer made: P, its code, an underscore, a free name."""
_SHOWN = 60
"""Characters of a value or a name that a finding repeats."""
_MOST_PASSING = 1000
_STANDARD = "ISO 11783-10, data dictionary (recalled; see schemas/dictionary)"
_REFUSED = "A terminal may refuse the file, or leave out what it cannot read."

UNKNOWN_ELEMENT = kind(
    "element-unknown",
    Severity.ERROR,
    "This version of the standard has no element {element} (in {parent}).",
    hint="Remove it, or name it as a proprietary element: P, the manufacturer's code, an underscore, a name.",
    why=_REFUSED,
    source=_STANDARD,
)
MISPLACED_ELEMENT = kind(
    "element-misplaced",
    Severity.ERROR,
    "{element} does not belong into {parent}{standing}.",
    hint="Move it: {element} may stand in {homes}.",
    why="A terminal does not look for it there; what it says is lost.",
    source=_STANDARD,
)
WRONG_ROOT = kind(
    "root-element-wrong",
    Severity.ERROR,
    "The file begins with the element {element}, not with {expected}.",
    hint="Is this the right file? Its root must be {expected}.",
    why="A terminal passes the file over.",
    source=_STANDARD,
)
TOO_FEW = kind(
    "element-missing",
    Severity.ERROR,
    "{element} has {count} {child}, at least {least} needed{standing}.",
    hint="Add what is missing, or remove the {element}.",
    why=_REFUSED,
    source=_STANDARD,
)
TOO_MANY = kind(
    "element-too-often",
    Severity.ERROR,
    "{element} has {count} {child}, at most {most} allowed{standing}.",
    hint="Keep the one that is meant.",
    why="A terminal takes one of them, and it may be the wrong one.",
    source=_STANDARD,
)
UNKNOWN_ATTRIBUTE = kind(
    "attribute-unknown",
    Severity.ERROR,
    "{element} has no attribute {attribute} in this version of the standard.",
    hint="Remove it, or name it as a proprietary attribute: P, the manufacturer's code, an underscore, a name.",
    why=_REFUSED,
    source=_STANDARD,
)
MISSING_ATTRIBUTE = kind(
    "attribute-missing",
    Severity.ERROR,
    "{element} lacks its attribute {attribute} ({name}){standing}.",
    hint="Give it a value.",
    why=_REFUSED,
    source=_STANDARD,
)
_VALUE = "{element} {attribute} ({name}) is {value}"
MALFORMED = kind(
    "attribute-malformed",
    Severity.ERROR,
    _VALUE + ": not {expected}{standing}.",
    hint="Write {expected}.",
    why=_REFUSED,
    source=_STANDARD,
)
OUT_OF_RANGE = kind(
    "attribute-out-of-range",
    Severity.ERROR,
    _VALUE + ", allowed is {expected}{standing}.",
    hint="Correct the value; is its unit right?",
    why=_REFUSED,
    source=_STANDARD,
)
TOO_LONG = kind(
    "attribute-too-long",
    Severity.ERROR,
    _VALUE + ": {length} long, allowed is {expected}{standing}.",
    hint="Shorten it yourself; a terminal cuts it where it likes.",
    why="A terminal refuses the file or cuts the text, and two names may become one.",
    source=_STANDARD,
)
NOT_IN_LIST = kind(
    "attribute-value-unknown",
    Severity.ERROR,
    _VALUE + ", not {expected}{standing}.",
    hint="Choose one of the values of the list.",
    why=_REFUSED,
    source=_STANDARD,
)
TEXT = kind(
    "text-between-elements",
    Severity.ERROR,
    "There is text inside {element}; all data of the standard stand in attributes.",
    hint="Remove the text, or put what it says into an attribute.",
    why="A terminal passes it over: what it says is lost.",
    source=_STANDARD,
)
NAMESPACE = kind(
    "xml-namespace-present",
    Severity.ERROR,
    "{element} declares the default namespace {value}; the standard's elements have none.",
    hint="Remove the xmlns attribute.",
    why="To a strict reader no element has the standard's name any more.",
    source="ISO 11783-10: its schemas have no target namespace (recalled)",
)
PROPRIETARY_ELEMENT = kind(
    "proprietary-element",
    Severity.NOTE,
    "{element} is a manufacturer's own element; it is kept as it is.",
    hint="Nothing to do; receivers of other makes pass it over.",
    why="What it says reaches terminals of its maker only.",
    source="ISO 11783-10, proprietary data (recalled)",
    confidence=Confidence.MEDIUM,
)
PROPRIETARY_ATTRIBUTE = kind(
    "proprietary-attribute",
    Severity.NOTE,
    "{element} has the manufacturer's own attribute {attribute}; it is kept as it is.",
    hint="Nothing to do; receivers of other makes pass it over.",
    why="What it says reaches terminals of its maker only.",
    source="ISO 11783-10, proprietary data (recalled)",
    confidence=Confidence.MEDIUM,
)
DUPLICATE = kind(
    "identifier-duplicate",
    Severity.ERROR,
    "The identifier {value} is given twice; the first stands in line {first_line}.",
    hint="Give one of the two a number of its own, and mend what refers to it.",
    why="The second object replaces the first, or is dropped.",
    source="ISO 11783-10, identifiers are unique in the set (recalled)",
)
DANGLING = kind(
    "reference-without-target",
    Severity.ERROR,
    "{element} {attribute} ({name}) refers to {value}, which is not in the set{standing}.",
    hint="Add the {target} that is meant, or remove the reference.",
    why="The choice stays empty on the terminal, or the import ends here.",
    source="ISO 11783-10, references (recalled)",
)
WRONG_TARGET = kind(
    "reference-to-wrong-element",
    Severity.ERROR,
    "{element} {attribute} ({name}) refers to {value}, which is no {target}{standing}.",
    hint="Refer to a {target}.",
    why="The terminal looks in the wrong list and finds nothing.",
    source="ISO 11783-10, references (recalled)",
)

_BY_PROBLEM = {
    "malformed": MALFORMED,
    "out-of-range": OUT_OF_RANGE,
    "too-long": TOO_LONG,
    "not-in-list": NOT_IN_LIST,
}
DICTIONARY_KINDS = (
    UNKNOWN_ELEMENT, MISPLACED_ELEMENT, WRONG_ROOT, TOO_FEW, TOO_MANY, UNKNOWN_ATTRIBUTE, MISSING_ATTRIBUTE,
    MALFORMED, OUT_OF_RANGE, TOO_LONG, NOT_IN_LIST, TEXT, NAMESPACE, PROPRIETARY_ELEMENT, PROPRIETARY_ATTRIBUTE,
)  # fmt: skip
"""The kinds in which a schema and this engine must agree (references and identifiers are rules of our own)."""

_SCHEMA_LOCATIONS = {"noNamespaceSchemaLocation", "schemaLocation"}
_SCHEMA_INSTANCE = "http://www.w3.org/2001/XMLSchema-instance"


@dataclass(frozen=True, slots=True)
class _Known:
    """A definition, made ready for the many elements that are held against it."""

    definition: Definition
    attributes: Mapping[str, tuple[Attribute, Callable[[str], Problem | None]]]
    required: tuple[Attribute, ...]
    identifiers: tuple[str, ...]
    references: tuple[Attribute, ...]


class References:
    """The identifiers of a whole set and what refers to them; told when all its files are read."""

    def __init__(self) -> None:
        self._owners: dict[str, Element] = {}
        self._uses: list[tuple[Element, Attribute]] = []

    def define(self, text: str, element: Element, collector: Collector) -> None:
        """An element has this identifier."""
        first = self._owners.setdefault(text, element)
        if first is not element and collector.has_room(DUPLICATE, DUPLICATE.severity):
            collector.put(DUPLICATE.at(element.where(), value=text, first_line=first.where().line))

    def use(self, element: Element, attribute: Attribute) -> None:
        """An element refers to another by this attribute."""
        self._uses.append((element, attribute))

    def owner(self, text: str) -> Element | None:
        """The element that has this identifier."""
        return self._owners.get(text)

    def settle(self, collector: Collector) -> None:
        """Tell which references lead nowhere, or to an element of another kind."""
        for element, attribute in self._uses:
            text = element.attributes[attribute.code].strip()
            owner = self._owners.get(text)
            if owner is not None and attribute.target in (ANY, owner.tag):
                continue
            found = DANGLING if owner is None else WRONG_TARGET
            severity = _weight(found, attribute.confidence)
            if collector.has_room(found, severity):
                target = "element" if attribute.target == ANY else attribute.target
                facts = _facts(element, attribute, text) | {
                    "target": target,
                    "standing": _standing(attribute.confidence),
                }
                collector.put(found.at(element.where(attribute.code), severity=severity, **facts))


class Conformance:
    """Holds the elements of one file against the dictionary.

    Args:
        dictionary: the version that the file declares.
        root: the root element that the file must have.
        collector: takes the findings.
        references: the set's identifiers, shared by its files.
    """

    def __init__(self, dictionary: Dictionary, root: str, collector: Collector, references: References) -> None:
        self._dictionary = dictionary
        self._root = root
        self._collector = collector
        self._references = references
        self._known: dict[str, _Known | None] = {}
        self._passing: dict[tuple[str, ...], tuple[Callable[[str], Problem | None], ...]] = {}
        self._ignored = 0  # depth below an element that is not the standard's

    def passes(self, parent: Element, pairs: Sequence[str]) -> bool:
        """See :class:`taskkit.taskdata.reader.Watch`."""
        if self._ignored:
            return True
        key = (parent.tag, *pairs[::2])
        finders = self._passing[key] if key in self._passing else self._learn_passing(*key)
        for find, text in zip(finders, pairs[1::2], strict=False):
            if find(text) is not None:
                return False
        return bool(finders)

    def enter(self, element: Element) -> None:
        """See :class:`taskkit.taskdata.reader.Watch`."""
        if self._ignored:
            self._ignored += 1
            return
        tag, parent = element.tag, element.parent
        known = self._known[tag] if tag in self._known else self._learn(tag)
        if known is None:
            self._ignored = 1
            if parent is None:
                self._report(WRONG_ROOT, element, expected=self._root)
            elif PROPRIETARY.fullmatch(tag):
                self._report(PROPRIETARY_ELEMENT, element)
            else:
                self._report(UNKNOWN_ELEMENT, element, parent=parent.tag)
            return
        if parent is None:
            if tag != self._root:
                self._ignored = 1
                self._report(WRONG_ROOT, element, expected=self._root)
                return
        else:
            home = self._known[parent.tag]
            if home is None or tag not in home.definition.children:
                self._misplaced(element, parent)
        self._attributes(element, known)

    def leave(self, element: Element, counts: Mapping[str, int]) -> None:
        """See :class:`taskkit.taskdata.reader.Watch`."""
        if self._ignored:
            self._ignored -= 1
            return
        known = self._known[element.tag]
        if known is None:
            return
        for rule in known.definition.children.values():
            count = counts.get(rule.child, 0)
            if count < rule.minimum:
                self._report(TOO_FEW, element, rule.confidence, child=rule.child, count=count, least=rule.minimum)
            if rule.maximum is not None and count > rule.maximum:
                self._report(TOO_MANY, element, rule.confidence, child=rule.child, count=count, most=rule.maximum)

    def text(self, parent: Element) -> None:
        """See :class:`taskkit.taskdata.reader.Watch`."""
        if not self._ignored:
            self._report(TEXT, parent)

    def _learn(self, tag: str) -> _Known | None:
        definition = self._dictionary.elements.get(tag)
        known = None
        if definition is not None:
            attributes = definition.attributes.values()
            known = _Known(
                definition,
                {a.code: (a, problem_finder(a)) for a in attributes},
                tuple(a for a in attributes if a.required),
                tuple(a.code for a in attributes if a.type == "ID"),
                tuple(a for a in attributes if a.target is not None),
            )
        self._known[tag] = known
        return known

    def _learn_passing(self, parent: str, *codes: str) -> tuple[Callable[[str], Problem | None], ...]:
        """What judges the texts of a point with these attributes; empty where there is more to be said of it."""
        home = self._known[parent]
        point = self._known[POINT] if POINT in self._known else self._learn(POINT)
        finders: tuple[Callable[[str], Problem | None], ...] = ()
        if home is not None and point is not None and POINT in home.definition.children:
            further = {*point.identifiers, *(a.code for a in point.references)}
            if (
                point.attributes.keys() - further >= set(codes) >= {a.code for a in point.required}
                and not point.definition.children
            ):
                finders = tuple(point.attributes[code][1] for code in codes)
        if len(self._passing) < _MOST_PASSING:
            self._passing[(parent, *codes)] = finders
        return finders

    def _misplaced(self, element: Element, parent: Element) -> None:
        homes = [d for d in self._dictionary.elements.values() if element.tag in d.children]
        names = ", ".join(d.code for d in homes) or "no element"
        self._report(MISPLACED_ELEMENT, element, parent=parent.tag, homes=names)

    def _attributes(self, element: Element, known: _Known) -> None:
        attributes = element.attributes
        for code, text in attributes.items():
            entry = known.attributes.get(code)
            if entry is None:
                self._foreign_attribute(element, code, text)
                continue
            attribute, find = entry
            problem = find(text)
            if problem is not None:
                facts = _facts(element, attribute, text) | {"expected": problem.expected}
                if problem.what == "too-long":
                    facts["length"] = problem.length
                self._report(_BY_PROBLEM[problem.what], element, attribute.confidence, at=code, **facts)
        for attribute in known.required:
            if attribute.code not in attributes:
                self._report(
                    MISSING_ATTRIBUTE, element, attribute.confidence, attribute=attribute.code, name=attribute.name
                )
        for code in known.identifiers:
            if code in attributes:
                self._references.define(attributes[code].strip(), element, self._collector)
        for attribute in known.references:
            if attribute.code in attributes:
                self._references.use(element, attribute)

    def _foreign_attribute(self, element: Element, code: str, text: str) -> None:
        if code.startswith("xmlns:") or _is_schema_location(element, code):
            return
        if code == "xmlns":
            if text:
                self._report(NAMESPACE, element, at=code, value=_shown(text))
        elif PROPRIETARY.fullmatch(code):
            self._report(PROPRIETARY_ATTRIBUTE, element, at=code, attribute=_cut(code))
        else:
            self._report(UNKNOWN_ATTRIBUTE, element, at=code, attribute=_cut(code))

    def _report(
        self,
        what: Kind,
        place: Element,
        confidence: Confidence = Confidence.HIGH,
        /,
        *,
        at: str | None = None,
        **facts: Fact,
    ) -> None:
        severity = _weight(what, confidence)
        if self._collector.has_room(what, severity):
            facts.setdefault("element", _cut(place.tag))
            facts["standing"] = _standing(confidence)
            self._collector.put(what.at(place.where(at), severity=severity, **facts))


def _weight(what: Kind, confidence: Confidence) -> Severity:
    return what.severity if confidence is Confidence.HIGH else min(what.severity, Severity.WARNING)


def _standing(confidence: Confidence) -> str:
    if confidence is Confidence.HIGH:
        return ""
    return f" (recalled with {confidence} confidence: look it up in the standard)"


def _facts(element: Element, attribute: Attribute, text: str) -> dict[str, Fact]:
    return {
        "element": element.tag,
        "attribute": attribute.code,
        "name": attribute.name,
        "value": _shown(text),
    }


def _is_schema_location(element: Element | None, code: str) -> bool:
    prefix, _, name = code.partition(":")
    if name not in _SCHEMA_LOCATIONS:
        return False
    while element is not None and (bound := element.get(f"xmlns:{prefix}")) is None:
        element = element.parent
    return element is not None and bound == _SCHEMA_INSTANCE


def _shown(text: str) -> str:
    return f'"{_cut(text)}"'


def _cut(text: str) -> str:
    return text if len(text) <= _SHOWN else text[:_SHOWN] + "..."
