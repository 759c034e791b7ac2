"""The catalogue: a kind of finding is declared once, beside the code that raises it; importing that code lists it."""

from __future__ import annotations

import enum
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from taskkit.findings.finding import Fact, Finding, Severity, Where

__all__ = ["KINDS", "Confidence", "Kind", "Level", "kind"]

_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)+")


class Level(enum.IntEnum):
    """Who needs to hear of it: each level hears its own and those before it."""

    OFFICE = 1
    RECEIVER = 2
    STRICT = 3


class Confidence(enum.StrEnum):
    """How sure we are of what the standard says there; nothing here was read from its text."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of finding.

    Attributes:
        name: kebab-case name of the defect, never of the remedy; reads well after "allow".
        severity: its usual weight; a single finding may weigh less where the source is uncertain.
        message: what is wrong; ``{placeholders}`` are filled from the facts.
        hint: what to do, likewise.
        why: what goes wrong in the cab.
        source: clause topic of the standard, or "common practice".
        confidence: how sure the source is.
        level: who needs to hear of it.
    """

    name: str
    severity: Severity
    message: str
    hint: str
    why: str
    source: str
    confidence: Confidence = Confidence.HIGH
    level: Level = Level.OFFICE

    def at(self, where: Where, *, severity: Severity | None = None, **facts: Fact) -> Finding:
        """A finding of this kind at a place; the facts fill message and hint."""
        return Finding(self, where, self.severity if severity is None else severity, facts)


_kinds: dict[str, Kind] = {}
KINDS: Mapping[str, Kind] = MappingProxyType(_kinds)
"""Every kind declared by the modules imported so far, by name."""


def kind(
    name: str,
    severity: Severity,
    message: str,
    *,
    hint: str,
    why: str,
    source: str,
    confidence: Confidence = Confidence.HIGH,
    level: Level = Level.OFFICE,
) -> Kind:
    """Declare a kind of finding.

    Raises:
        ValueError: the name is malformed or taken; the program must not start with a broken catalogue.
    """
    if not _NAME.fullmatch(name):
        raise ValueError(f"{name!r} is no kebab-case name of two words or more")
    if name in _kinds:
        raise ValueError(f"the kind {name!r} is declared twice")
    _kinds[name] = Kind(name, severity, message, hint, why, source, confidence, level)
    return _kinds[name]
