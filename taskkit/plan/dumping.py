"""From a plan to the text of plan.yaml: everything that is there, in the order of the model."""

from __future__ import annotations

import datetime
import enum
from collections.abc import Iterator
from decimal import Decimal
from typing import Any
from uuid import UUID

from taskkit.errors import RefusedError
from taskkit.geometry.line import LonLatLine
from taskkit.geometry.wkt import format_area, format_line
from taskkit.plan.members import Member, members, objects_in
from taskkit.plan.model import FORMAT, Plan, PlanObject, PlanValue
from taskkit.plan.references import Around, Directory, directory_for, holder_of
from taskkit.plan.scalars import Reference
from taskkit.plan.yaml_text import scalar

__all__ = ["Dumper", "text_of"]

_WIDTH = 110
"""Characters of a line up to which a value of several members is written on it."""


def text_of(plan: Plan) -> str:
    """The plan as YAML; coordinates of outlines with 9 decimals, references by name where a name means one object.

    Raises:
        RefusedError: the plan refers to an object that it does not hold.
    """
    return "\n".join([f"format: {FORMAT}", *Dumper(plan).lines(plan, "")]) + "\n"


class Dumper:
    """Writes parts of one plan."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._directories: dict[tuple[str, UUID], Directory] = {}
        self._objects: dict[UUID, PlanObject] = {}

    def lines(self, node: PlanValue, indent: str, around: tuple[Around, ...] = ()) -> Iterator[str]:
        """A node as lines of ``key: value``; ``around`` are the nodes around it, the plan first."""
        around = (*around, Around(node.word, node))
        for member in members(type(node)):
            value = getattr(node, member.name)
            if value is not None and value != ():
                yield from self.entry(member, value, indent, around)

    def entry(self, member: Member, value: Any, indent: str, around: tuple[Around, ...]) -> Iterator[str]:
        """One key and its value as lines."""
        if member.many and member.holds:
            yield f"{indent}{member.key}:"
            for item in value:
                yield from self.item(item, f"{indent}  ", around)
        elif member.holds and not self._is_short(value, indent, around):
            yield f"{indent}{member.key}:"
            yield from self.lines(value, f"{indent}  ", around)
        else:
            yield f"{indent}{member.key}: {self.inline(member, value, around)}"

    def item(self, item: PlanValue, indent: str, around: tuple[Around, ...]) -> Iterator[str]:
        """One item of a list as lines, the dash first."""
        if not isinstance(item, PlanObject) and self._is_short(item, indent, around):
            yield f"{indent}- {self.flow(item, around)}"
            return
        first, *others = self.lines(item, f"{indent}  ", around)
        yield f"{indent}- {first.lstrip(' ')}"
        yield from others

    def inline(self, member: Member, value: Any, around: tuple[Around, ...], *, flow: bool = False) -> str:
        """A value on one line; ``flow`` where it stands between brackets."""
        if member.many:
            if member.holds:
                return f"[{', '.join(self.flow(item, around) for item in value)}]"
            return f"[{', '.join(self._plain(member, item, around, flow=True) for item in value)}]"
        if isinstance(value, PlanValue):
            return self.flow(value, around)
        return self._plain(member, value, around, flow=flow)

    def flow(self, node: PlanValue, around: tuple[Around, ...]) -> str:
        """A node in brackets, on one line."""
        around = (*around, Around(node.word, node))
        given = ((member, getattr(node, member.name)) for member in members(type(node)))
        inner = [f"{m.key}: {self.inline(m, v, around, flow=True)}" for m, v in given if v is not None and v != ()]
        return f"{{{', '.join(inner)}}}"

    def _is_short(self, node: PlanValue, indent: str, around: tuple[Around, ...]) -> bool:
        held = [getattr(node, member.name) for member in members(type(node)) if member.many and member.holds]
        return not any(held) and len(indent) + len(self.flow(node, around)) < _WIDTH

    def _plain(self, member: Member, value: Any, around: tuple[Around, ...], *, flow: bool) -> str:
        text = self.text(member, value, around)
        bare = isinstance(value, bool | int | float | UUID | datetime.date | enum.StrEnum) and not member.reference
        # Outside of brackets nothing in a shape can be taken for anything else.
        bare = bare or (member.is_shape and not flow)
        return text if bare else scalar(text, flow=flow)

    def text(self, member: Member, value: Any, around: tuple[Around, ...]) -> str:
        """A plain value as text, without quotes."""
        if member.reference:
            return self._word(member.reference, value, around)
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, float):
            return format(Decimal(repr(value)), "f")
        if isinstance(value, tuple):
            return format_area(value)
        return format_line(value) if isinstance(value, LonLatLine) else str(value)

    def means(self, member: Member, word: str, value: UUID, around: tuple[Around, ...]) -> bool:
        """Whether a word stands for the object with this UUID, and no other."""
        assert member.reference
        return self._directory(member.reference, value, around).find(word) == (str(value),)

    def _word(self, reference: Reference, uuid: UUID, around: tuple[Around, ...]) -> str:
        try:
            return self._directory(reference, uuid, around).word(str(uuid))
        except LookupError:
            whose = "the plan" if reference.of is None else f"its {reference.of}"
            message = f"the plan refers to {uuid}, which is not among the {reference.collection} of {whose}"
            raise RefusedError(message) from None

    def _directory(self, reference: Reference, uuid: UUID, around: tuple[Around, ...]) -> Directory:
        holder = holder_of(reference, around, _get, self._object)
        if holder is None:
            raise RefusedError(f"the plan refers to {uuid} without naming the {reference.of} that has it")
        key = (reference.collection, holder.uuid)
        if key not in self._directories:
            self._directories[key] = directory_for(reference, holder, self._plan, _get)
        return self._directories[key]

    def _object(self, uuid: UUID) -> PlanObject | None:
        if not self._objects:
            self._objects = {one.uuid: one for one in objects_in(self._plan)}
        return self._objects.get(uuid)


def _get(node: PlanValue, key: str) -> Any:
    return getattr(node, key, None)
