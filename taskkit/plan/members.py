"""The model seen from outside: which members each class of the plan has, and of what kind."""

from __future__ import annotations

import functools
import types
import typing
from dataclasses import dataclass
from typing import Any

from taskkit.plan.model import PlanValue
from taskkit.plan.scalars import Reference

__all__ = ["Member", "members"]


@dataclass(frozen=True, slots=True)
class Member:
    """One member of a class of the model.

    Attributes:
        name: its name in the model.
        key: its name in plan.yaml.
        title: its name in a sentence.
        required: whether a value must be given.
        holds: the class of the object or objects that it holds, None for a plain value.
        many: whether it holds a tuple of objects.
        refers_to: for a reference, the member of the plan that holds the objects meant.
    """

    name: str
    key: str
    title: str
    required: bool
    holds: type[PlanValue] | None
    many: bool
    refers_to: str | None


@functools.cache
def members(cls: type[PlanValue]) -> tuple[Member, ...]:
    """All members of a class of the model, in the model's order.

    >>> from taskkit.plan.model import Field, Headland
    >>> [m.name for m in members(Field) if m.holds is Headland]
    ['headland']
    """
    found = []
    for name, field in cls.model_fields.items():
        holds, many = _held(field.annotation)
        refers_to = next((m.collection for m in field.metadata if isinstance(m, Reference)), None)
        title = field.title or name.replace("_", " ")
        found.append(Member(name, field.alias or name, title, field.is_required(), holds, many, refers_to))
    return tuple(found)


def _held(annotation: Any) -> tuple[type[PlanValue] | None, bool]:
    """The class of the model inside an annotation: itself, ``... | None`` or ``tuple[..., ...]``."""
    arguments = typing.get_args(annotation)
    many = typing.get_origin(annotation) is tuple
    if many or typing.get_origin(annotation) in (types.UnionType, typing.Union):
        annotation = arguments[0]
    if isinstance(annotation, type) and issubclass(annotation, PlanValue):
        return annotation, many
    return None, False
