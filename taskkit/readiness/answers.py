"""What the look at a plan says: an answer for each topic, of the plan, of each field and of each job on it."""

from __future__ import annotations

import enum
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from uuid import UUID

from taskkit.findings import Fact, Finding, Severity

__all__ = ["Answer", "Facts", "FieldAnswers", "JobAnswers", "Readiness", "State", "Topic"]

Facts = Mapping[str, Fact]
"""What is there: a name with its unit (``area_m2``) and a value."""


class Topic(enum.StrEnum):
    """What is looked at."""

    FRAME = "frame"
    VALUES = "values"
    NAMES = "names"
    BOUNDARY = "boundary"
    LINES = "lines"
    HEADLAND = "headland"
    ROW_END = "row end"
    MACHINE = "machine"
    SPEEDS = "speeds"


class State(enum.StrEnum):
    """How it stands, the worst last."""

    FINE = "fine"
    ATTENTION = "needs attention"
    MISSING = "missing"


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer on one topic.

    Attributes:
        topic: what was looked at.
        facts: what is there, one mapping for each thing of its kind (each line, each tool).
        findings: what is not as it should be: an error is missing, a warning needs attention.
    """

    topic: Topic
    facts: tuple[Facts, ...] = ()
    findings: tuple[Finding, ...] = ()

    @property
    def state(self) -> State:
        """How the topic stands, by the gravest finding."""
        gravest = max((found.severity for found in self.findings), default=Severity.NOTE)
        return {Severity.ERROR: State.MISSING, Severity.WARNING: State.ATTENTION}.get(gravest, State.FINE)


@dataclass(frozen=True, slots=True)
class JobAnswers:
    """The answers on one job, or on a field without one.

    Attributes:
        uuid: of the job; None where the field has none.
        name: its name, likewise.
        answers: one for each topic.
    """

    uuid: UUID | None
    name: str | None
    answers: tuple[Answer, ...]

    @property
    def state(self) -> State:
        """The worst state of its topics."""
        return _worst(self.answers)


@dataclass(frozen=True, slots=True)
class FieldAnswers:
    """The answers on one field, and on the jobs there.

    Attributes:
        uuid: of the field.
        name: its name.
        code: the office's sign for it.
        answers: one for each topic that is the field's alone.
        jobs: each of its jobs that was asked for; one without a name where it has none.
    """

    uuid: UUID
    name: str
    code: str | None
    answers: tuple[Answer, ...]
    jobs: tuple[JobAnswers, ...]

    @property
    def state(self) -> State:
        """The worst state of its topics and of those of its jobs."""
        return _worst([*self.answers, *(answer for job in self.jobs for answer in job.answers)])


@dataclass(frozen=True, slots=True)
class Readiness:
    """How ready a plan is.

    Attributes:
        plan: its name.
        answers: on what concerns all of it.
        fields: on each field that was asked for.
    """

    plan: str
    answers: tuple[Answer, ...]
    fields: tuple[FieldAnswers, ...]

    @property
    def state(self) -> State:
        """The worst state of all."""
        return _worst(self)

    def __iter__(self) -> Iterator[Answer]:
        """All answers: on the plan, then field by field, each with its jobs."""
        yield from self.answers
        for field in self.fields:
            yield from field.answers
            for job in field.jobs:
                yield from job.answers


def _worst(answers: Iterable[Answer]) -> State:
    order = list(State)
    return max((answer.state for answer in answers), key=order.index, default=State.FINE)
