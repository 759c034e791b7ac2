"""From a plan to the text of plan.yaml: everything that is there, in the order of the model."""

from __future__ import annotations

import datetime
import enum
from collections.abc import Iterator
from decimal import Decimal
from typing import Any
from uuid import UUID

from taskkit.errors import RefusedError
from taskkit.geometry.wkt import format_area
from taskkit.plan.members import Member, members
from taskkit.plan.model import Plan, PlanObject, PlanValue
from taskkit.plan.references import Directory
from taskkit.plan.yaml_text import scalar

__all__ = ["text_of"]


def text_of(plan: Plan) -> str:
    """The plan as YAML; coordinates of outlines with 9 decimals, references by name where a name means one object.

    Raises:
        RefusedError: the plan refers to an object that it does not hold.
    """
    return "\n".join(_Dumper(plan).lines(plan, "")) + "\n"


class _Dumper:
    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._directories: dict[str, Directory] = {}

    def lines(self, node: PlanValue, indent: str) -> Iterator[str]:
        for member in members(type(node)):
            value = getattr(node, member.name)
            if value is None or value == ():
                continue
            if member.many:
                yield f"{indent}{member.key}:"
                for item in value:
                    yield from self._item(item, f"{indent}  ")
            else:
                yield f"{indent}{member.key}: {self._inline(member, value)}"

    def _item(self, item: PlanValue, indent: str) -> Iterator[str]:
        if not isinstance(item, PlanObject):
            yield f"{indent}- {self._flow(item)}"
            return
        first, *others = self.lines(item, f"{indent}  ")
        yield f"{indent}- {first.lstrip(' ')}"
        yield from others

    def _flow(self, node: PlanValue) -> str:
        given = ((member, getattr(node, member.name)) for member in members(type(node)))
        inner = [f"{m.key}: {self._inline(m, v, flow=True)}" for m, v in given if v is not None]
        return f"{{{', '.join(inner)}}}"

    def _inline(self, member: Member, value: Any, *, flow: bool = False) -> str:
        if isinstance(value, PlanValue):
            return self._flow(value)
        if member.refers_to:
            return scalar(self._reference(member.refers_to, value), flow=flow)
        if isinstance(value, float):
            return format(Decimal(repr(value)), "f")
        if isinstance(value, tuple):
            return format_area(value)
        if isinstance(value, int | UUID | datetime.date | enum.StrEnum):
            return str(value)
        return scalar(str(value), flow=flow)

    def _reference(self, collection: str, uuid: UUID) -> str:
        if collection not in self._directories:
            objects = getattr(self._plan, collection)
            self._directories[collection] = Directory((str(o.uuid), getattr(o, "code", None), o.name) for o in objects)
        try:
            return self._directories[collection].word(str(uuid))
        except LookupError:
            raise RefusedError(f"the plan refers to {uuid}, which is not among its {collection}") from None
