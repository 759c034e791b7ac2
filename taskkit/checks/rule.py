"""What a rule is: one function with its metadata, listed when it is defined."""

from __future__ import annotations

import enum
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from string import Formatter
from types import MappingProxyType

from taskkit.checks.context import SetContext
from taskkit.checks.example import Example
from taskkit.findings import Confidence, Fact, Kind, Level, Severity, Where, kind
from taskkit.taskdata.dictionary import Span
from taskkit.taskdata.version import Version

__all__ = ["RULES", "Function", "Hit", "Need", "Rule", "rule"]


class Need(enum.Enum):
    """What of a set a rule cannot do without."""

    FILES = "the files"
    """Their names are enough."""
    TASK_FILE = "the task file"
    """Its elements."""
    COORDINATES = "coordinates"
    """Its elements, and places that can be measured."""


@dataclass(frozen=True, slots=True)
class Hit:
    """What a rule found, once.

    Attributes:
        where: the place, or a function that works it out; it is asked only while findings of the kind are kept.
        facts: they fill the rule's message and hint.
        severity: where this one weighs less than the rule.
    """

    where: Where | Callable[[], Where]
    facts: Mapping[str, Fact] = field(default_factory=dict)
    severity: Severity | None = None


Function = Callable[[SetContext], Iterator[Hit]]


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule of the catalogue.

    Attributes:
        kind: the kind of its findings, with all that is said of them.
        find: the function.
        needs: what it cannot do without.
        versions: the versions in which it makes sense.
        failing: a set in which it finds something.
        passing: a set that looks like it and is sound.
        placeholders: the facts that message and hint name.
    """

    kind: Kind
    find: Function
    needs: Need
    versions: Span
    failing: Example
    passing: Example
    placeholders: frozenset[str]

    @property
    def name(self) -> str:
        """The kind's name."""
        return self.kind.name


_rules: dict[str, Rule] = {}
RULES: Mapping[str, Rule] = MappingProxyType(_rules)
"""Every rule, by name."""

EVERY_VERSION = Span(Version.V3_0)


def rule(
    name: str,
    severity: Severity,
    message: str,
    *,
    hint: str,
    why: str,
    source: str,
    failing: Example,
    passing: Example,
    confidence: Confidence = Confidence.HIGH,
    level: Level = Level.OFFICE,
    needs: Need = Need.TASK_FILE,
    versions: Span = EVERY_VERSION,
) -> Callable[[Function], Function]:
    """Make a function a rule; see :class:`Rule` and :class:`taskkit.findings.Kind` for the arguments.

    Raises:
        ValueError: the name is malformed or taken; the program must not start with a broken catalogue.
    """

    def declare(find: Function) -> Function:
        declared = kind(
            name, severity, message, hint=hint, why=why, source=source, confidence=confidence, level=level
        )  # fmt: skip
        named = frozenset(part[1] for text in (message, hint) for part in Formatter().parse(text) if part[1])
        _rules[name] = Rule(declared, find, needs, versions, failing, passing, named)
        return find

    return declare
