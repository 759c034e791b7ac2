"""The vocabulary of findings, shared by all rooms; it knows none of them."""

from taskkit.findings.finding import Collector, Crash, Fact, Finding, Report, Severity, Skip, Where
from taskkit.findings.kind import KINDS, Confidence, Kind, Level, kind

__all__ = [
    "KINDS",
    "Collector",
    "Confidence",
    "Crash",
    "Fact",
    "Finding",
    "Kind",
    "Level",
    "Report",
    "Severity",
    "Skip",
    "Where",
    "kind",
]
