"""The model seen from outside: which members each class of the plan has, and of what kind."""

from __future__ import annotations

import functools
import types
import typing
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from pydantic import FailFast

from taskkit.plan.base import PlanObject, PlanValue
from taskkit.plan.scalars import FromFile, FromSheet, Reference

__all__ = ["Member", "class_of_kind", "members", "objects_in"]


@dataclass(frozen=True, slots=True)
class Member:
    """One member of a class of the model.

    Attributes:
        name: its name in the model.
        key: its name in plan.yaml.
        title: its name in a sentence.
        required: whether a value must be given.
        default: the value where none is given; of a required one None.
        holds: the classes of the objects that it may hold, told apart by their ``kind``; empty for a plain value.
        many: whether it holds any number of objects, or of plain values.
        reference: for a reference, what is meant.
        fixed: whether the class alone decides the value, as it does that of a ``kind``.
        from_file: whether the value may stand in a GIS file.
        is_shape: whether such a value is a shape.
        from_sheet: whether the objects may stand in a sheet.
    """

    name: str
    key: str
    title: str
    required: bool
    default: Any
    holds: tuple[type[PlanValue], ...]
    many: bool
    reference: Reference | None
    fixed: bool
    from_file: bool
    is_shape: bool
    from_sheet: bool


@functools.cache
def members(cls: type[PlanValue]) -> tuple[Member, ...]:
    """All members of a class of the model, in the model's order.

    >>> from taskkit.plan.model import Field, Headland, PivotLine
    >>> [m.name for m in members(Field) if Headland in m.holds]
    ['headland']
    >>> [m.name for m in members(Field) if PivotLine in m.holds], [m.name for m in members(PivotLine) if m.fixed]
    (['lines'], ['kind'])
    """
    found = []
    fields = cls.model_fields
    for name in dict.fromkeys([*(name for name in cls.leads if name in fields), *fields]):
        field = fields[name]
        kinds = tuple(dict.fromkeys(_types(field.annotation)))
        marks = [*field.metadata, *_marks(field.annotation)]
        holds = tuple(kind for kind in kinds if isinstance(kind, type) and issubclass(kind, PlanValue))
        found.append(
            Member(
                name=name,
                key=field.alias or name,
                title=field.title or name.replace("_", " "),
                required=field.is_required(),
                default=None if field.is_required() else field.default,
                holds=holds,
                many=any(isinstance(mark, FailFast) for mark in field.metadata),
                reference=next((mark for mark in marks if isinstance(mark, Reference)), None),
                fixed=typing.get_origin(field.annotation) is typing.Literal,
                from_file=any(isinstance(mark, FromFile) for mark in marks),
                is_shape=any(isinstance(mark, FromFile) and mark.shape for mark in marks),
                from_sheet=any(isinstance(mark, FromSheet) for mark in marks),
            )
        )
    return tuple(found)


def class_of_kind(holds: tuple[type[PlanValue], ...], kind: str | None) -> type[PlanValue]:
    """The class that a kind means among those that a member may hold; the first where none is given.

    Raises:
        LookupError: none of them is of that kind; the message names the kinds there are.
    """
    if kind is None or len(holds) == 1:
        return holds[0]
    by_kind = {str(cls.model_fields["kind"].default): cls for cls in holds}
    try:
        return by_kind[kind]
    except KeyError:
        raise LookupError(" or ".join(repr(word) for word in by_kind)) from None


def objects_in(node: PlanValue) -> Iterator[PlanObject]:
    """All objects with an identity in a node, itself the first, in the order of the model and of the plan."""
    if isinstance(node, PlanObject):
        yield node
    for member in members(type(node)):
        value = getattr(node, member.name)
        if member.holds and value is not None:
            for inner in value if member.many else (value,):
                yield from objects_in(inner)


def _types(annotation: Any) -> Iterator[Any]:
    """The types inside an annotation, through lists, alternatives and what is noted on them."""
    origin = typing.get_origin(annotation)
    if origin is typing.Annotated or origin is tuple:
        yield from _types(typing.get_args(annotation)[0])
    elif origin in (types.UnionType, typing.Union):
        for inner in typing.get_args(annotation):
            yield from _types(inner)
    else:
        yield annotation


def _marks(annotation: Any) -> Iterator[Any]:
    """What is noted inside an annotation."""
    if typing.get_origin(annotation) is typing.Annotated:
        yield from annotation.__metadata__
    for inner in typing.get_args(annotation):
        yield from _marks(inner)
