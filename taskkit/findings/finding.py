"""What is said about somebody's data: a finding is facts at a place; its sentence is rendered from them."""

from __future__ import annotations

import enum
import hashlib
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from taskkit.findings.kind import Kind

__all__ = ["Collector", "Crash", "Fact", "Finding", "Report", "Severity", "Skip", "Where"]

Fact = str | int | float | bool | None

SHOWN_OF_A_KIND = 1000
"""Findings kept of one kind; the rest are counted. A file in which every point is bad must not fill memory."""


class Severity(enum.IntEnum):
    """How much a finding weighs; comparable, so that ``severity >= Severity.WARNING`` reads as it should.

    ERROR: the standard says *shall*, and a compliant reader may refuse or misread the data.
    WARNING: the standard says *should*, or practice says that trouble is likely.
    NOTE: worth knowing, harmless by itself.
    """

    NOTE = 1
    WARNING = 2
    ERROR = 3

    @property
    def word(self) -> str:
        """The severity as one lower-case English word."""
        return self.name.lower()


@dataclass(frozen=True, slots=True)
class Where:
    """A place in somebody's data.

    Attributes:
        file: the file's name inside its set or plan, e.g. ``TASKDATA.XML``.
        line: 1-based line number.
        column: 1-based column, in characters.
        element: path of the element, e.g. ``/ISO11783_TaskData/PFD[2]/PLN[1]``.
        id: the identifier that the data gives the element, e.g. ``PFD2``.
    """

    file: str | None = None
    line: int | None = None
    column: int | None = None
    element: str | None = None
    id: str | None = None

    def __str__(self) -> str:
        return ":".join(str(p) for p in (self.file, self.line, self.column) if p is not None) or "-"


@dataclass(frozen=True, slots=True)
class Finding:
    """One departure, of a kind, at a place, with its facts."""

    kind: Kind
    where: Where
    severity: Severity
    facts: Mapping[str, Fact] = field(default_factory=dict)

    @property
    def rule(self) -> str:
        """The kind's name: kebab-case, names the defect."""
        return self.kind.name

    @property
    def message(self) -> str:
        """What is wrong, as a sentence."""
        return self.kind.message.format_map(self.facts)

    @property
    def hint(self) -> str:
        """What to do about it."""
        return self.kind.hint.format_map(self.facts)

    @property
    def fingerprint(self) -> str:
        """16 hex digits that stay the same while the defect does, wherever its line moves.

        Facts that are line numbers (``first_line``) are left out of it.
        """
        parts = [self.rule, self.where.file, self.where.element, self.where.id]
        parts += [f"{name}={value}" for name, value in sorted(self.facts.items()) if not name.endswith("_line")]
        return hashlib.sha256("\x1f".join(map(str, parts)).encode()).hexdigest()[:16]

    def _order(self) -> tuple[object, ...]:
        where = self.where
        return (
            where.file or "",
            where.line or 0,
            where.column or 0,
            self.rule,
            where.element or "",
            self.message,
        )


@dataclass(frozen=True, slots=True)
class Skip:
    """A check that could not be made, and why."""

    rule: str
    reason: str


@dataclass(frozen=True, slots=True)
class Crash:
    """A check of ours that failed: our bug, never a statement about the data."""

    rule: str
    error: str


@dataclass(frozen=True, slots=True)
class Report:
    """All that was found, in a stable order (by place).

    Attributes:
        findings: the findings that were kept.
        unlisted: how many more there were, by kind name and severity (see ``SHOWN_OF_A_KIND``).
        skipped: checks not made, with the reason.
        crashed: checks that failed, our bugs.
    """

    findings: tuple[Finding, ...] = ()
    unlisted: Mapping[tuple[str, Severity], int] = field(default_factory=dict)
    skipped: tuple[Skip, ...] = ()
    crashed: tuple[Crash, ...] = ()

    def counts(self) -> dict[str, int]:
        """How many findings of each severity, the unlisted ones included."""
        counts = {s.word: 0 for s in sorted(Severity, reverse=True)}
        for found in self.findings:
            counts[found.severity.word] += 1
        for (_, severity), more in self.unlisted.items():
            counts[severity.word] += more
        return counts

    def worst(self) -> Severity | None:
        """The gravest severity found, or None for a clean report."""
        return max((f.severity for f in self.findings), default=None)

    def __iter__(self) -> Iterator[Finding]:
        return iter(self.findings)


class Collector:
    """Gathers findings while work goes on; bounded in memory however many there are."""

    def __init__(self) -> None:
        self._findings: list[Finding] = []
        self._seen: Counter[tuple[str, Severity]] = Counter()
        self.skipped: list[Skip] = []
        self.crashed: list[Crash] = []

    def add(self, found: Finding) -> None:
        """Take one finding; beyond ``SHOWN_OF_A_KIND`` of a kind it is only counted."""
        if self.has_room(found.kind, found.severity):
            self._findings.append(found)

    def has_room(self, kind: Kind, severity: Severity) -> bool:
        """Count one more of a kind, and tell whether it would still be kept.

        For those who would rather not work out the place of a finding that is only counted: they add
        the finding with :meth:`put` if there is room.
        """
        self._seen[kind.name, severity] += 1
        return self._seen[kind.name, severity] <= SHOWN_OF_A_KIND

    def put(self, found: Finding) -> None:
        """Keep a finding that :meth:`has_room` has counted."""
        self._findings.append(found)

    def extend(self, found: Iterable[Finding]) -> None:
        """Take several."""
        for one in found:
            self.add(one)

    def total(self, *kinds: Kind, severity: Severity) -> int:
        """How many findings of these kinds and this severity were counted so far."""
        return sum(self._seen[kind.name, severity] for kind in kinds)

    def report(self) -> Report:
        """What was gathered so far, in order."""
        unlisted = {key: n - SHOWN_OF_A_KIND for key, n in sorted(self._seen.items()) if n > SHOWN_OF_A_KIND}
        ordered = tuple(sorted(self._findings, key=Finding._order))
        return Report(ordered, unlisted, tuple(self.skipped), tuple(self.crashed))
