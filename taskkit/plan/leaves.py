"""The leaves of a plan: every single value in it, with its place and its owner, derived from the model."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from taskkit.plan.members import Member, class_of_kind, members
from taskkit.plan.model import Plan, PlanObject, PlanValue

__all__ = ["Leaf", "changed", "leaf_paths", "leaves"]


@dataclass(frozen=True, slots=True)
class Leaf:
    """One single value of a plan.

    Attributes:
        path: the members that lead to it from the plan, e.g. ``fields.lines.spacing``.
        owner: UUID of the nearest object that has one.
        owner_name: the name of that object, or what it is called where it has no name.
        label: where it is and what it is, in words: ``field Long Acre, line Along the lane: spacing``.
        ordinal: positions, from 0, in the tuples between the owner and the value (the steps of a row-end plan).
        value: the value; None where there is none.
    """

    path: str
    owner: UUID
    owner_name: str
    label: str
    ordinal: tuple[int, ...]
    value: Any


def leaves(plan: Plan) -> Iterator[Leaf]:
    """All leaves of a plan, in the order of the model and of the plan.

    Values that are absent are leaves too, and so are those of an object that is absent but could be there:
    a field without a headland has the leaf ``fields.headland.depth`` with the value None. A geometry is one leaf,
    and so is a list of references.
    """
    return _leaves(plan, plan, (), (), ())


def leaf_paths(cls: type[PlanValue] = Plan) -> tuple[str, ...]:
    """The paths of all leaves that a plan can have."""
    paths: dict[str, None] = {}
    for member in members(cls):
        inner = [path for held in member.holds for path in leaf_paths(held)]
        paths |= dict.fromkeys([f"{member.name}.{path}" for path in inner] or [member.name])
    return tuple(paths)


def changed(plan: Plan, leaf: Leaf, value: Any) -> Plan:
    """The plan with one leaf replaced.

    A value for a leaf of an absent object makes that object; None for a required value of an object that may be
    absent takes it away, and so does None for the last value in it. Where a UUID is replaced, the references to it
    follow. Another ``kind`` keeps what both kinds have.

    Raises:
        LookupError: the plan has no such leaf.
        ValueError: the model refuses the value.
    """
    new = _changed(plan, (type(plan),), leaf.path.split("."), leaf, value)
    if new is None:
        raise LookupError(f"the plan has no such leaf: {leaf.label}")
    if leaf.path.rpartition(".")[2] == "uuid":
        new = _redirected(new, leaf.owner, value)
    assert isinstance(new, Plan)
    return new


def _leaves(
    node: PlanValue, owner: PlanObject, path: tuple[str, ...], place: tuple[str, ...], ordinal: tuple[int, ...]
) -> Iterator[Leaf]:
    if isinstance(node, PlanObject):
        owner, ordinal = node, ()
    for member in members(type(node)):
        value = getattr(node, member.name)
        here = (*path, member.name)
        if member.many and member.holds:
            for position, item in enumerate(value):
                if isinstance(item, PlanObject):
                    yield from _leaves(item, item, here, (*place, item.title), ())
                else:
                    said = f"{member.title}, {item.word} {position + 1}"
                    yield from _leaves(item, owner, here, (*place, said), (*ordinal, position))
        elif member.holds and value is not None:
            yield from _leaves(value, owner, here, (*place, member.title), ordinal)
        elif member.holds:
            for inner in _absent_paths(member.holds[0]):
                absent, title = (*place, member.title), inner.replace("_", " ")
                yield _leaf(owner, f"{'.'.join(here)}.{inner}", absent, title, ordinal, None)
        else:
            yield _leaf(owner, ".".join(here), place, member.title, ordinal, value)


def _absent_paths(cls: type[PlanValue]) -> Iterator[str]:
    """The paths of the leaves that an object that is not there would have: none of those in its lists."""
    for member in members(cls):
        if not member.holds:
            yield member.name
        elif not member.many:
            yield from (f"{member.name}.{path}" for path in _absent_paths(member.holds[0]))


def _leaf(
    owner: PlanObject, path: str, place: tuple[str, ...], title: str, ordinal: tuple[int, ...], value: Any
) -> Leaf:
    name = getattr(owner, "name", owner.title)
    return Leaf(path, owner.uuid, name, f"{', '.join(place) or 'plan'}: {title}", ordinal, value)


def _changed(
    node: PlanValue, holds: tuple[type[PlanValue], ...], names: list[str], leaf: Leaf, value: Any
) -> PlanValue | None:
    """The node with the leaf below it replaced, None where the leaf is not below it."""
    if isinstance(node, PlanObject) and node.uuid == leaf.owner:
        return _replaced(node, holds, names, list(leaf.ordinal), value)
    member = next((m for m in members(type(node)) if m.name == names[0]), None)
    held = getattr(node, member.name) if member and member.holds else None
    if member is None or held is None:
        return None
    if not member.many:
        new = _changed(held, member.holds, names[1:], leaf, value)
        return new and _with(node, member, new)
    for position, item in enumerate(held):
        if new := _changed(item, member.holds, names[1:], leaf, value):
            return _with(node, member, (*held[:position], new, *held[position + 1 :]))
    return None


def _replaced(
    node: PlanValue, holds: tuple[type[PlanValue], ...], names: list[str], ordinal: list[int], value: Any
) -> PlanValue | None:
    member = next((m for m in members(type(node)) if m.name == names[0]), None)
    if member is None or (len(names) > 1) != bool(member.holds):
        return None
    if member.fixed:
        return _of_kind(node, holds, str(value))
    if not member.holds:
        return _with(node, member, value)
    held = getattr(node, member.name)
    if member.many:
        if not ordinal or ordinal[0] >= len(held):
            return None
        position = ordinal[0]
        new = _replaced(held[position], member.holds, names[1:], ordinal[1:], value)
        return new and _with(node, member, (*held[:position], new, *held[position + 1 :]))
    inner = next((m for m in members(member.holds[0]) if m.name == names[1]), None)
    if inner is None:
        return None
    if value is None and held is None:
        return node
    if value is None and not member.required and (inner.required or _is_all_of(inner, held)):
        return _with(node, member, None)
    if held is None:
        return _with(node, member, _nested(names[1:], value))
    new = _replaced(held, member.holds, names[1:], ordinal, value)
    return new and _with(node, member, new)


def _nested(names: list[str], value: Any) -> Any:
    for name in reversed(names):
        value = {name: value}
    return value


def _is_all_of(member: Member, node: PlanValue | None) -> bool:
    """Whether a node has no value but that of one member."""
    if node is None:
        return False
    given = [m.name for m in members(type(node)) if getattr(node, m.name) not in (None, ())]
    return given == [member.name]


def _of_kind(node: PlanValue, holds: tuple[type[PlanValue], ...], kind: str) -> PlanValue:
    try:
        cls = class_of_kind(holds, kind)
    except LookupError as error:
        raise ValueError(f"{kind!r} is no kind of {node.word}; {error} is expected") from None
    both = {m.name for m in members(cls) if not m.fixed} & set(type(node).model_fields)
    return cls.model_validate({name: getattr(node, name) for name in both})


def _with(node: PlanValue, member: Member, value: Any) -> PlanValue:
    given = {name: getattr(node, name) for name in type(node).model_fields}
    return type(node).model_validate({**given, member.name: value})


def _redirected(node: PlanValue, old: UUID, new: UUID) -> PlanValue:
    for member in members(type(node)):
        value = getattr(node, member.name)
        if not value or not (member.holds or member.reference):
            continue
        items = value if member.many else (value,)
        if member.reference:
            followed = tuple(new if item == old else item for item in items)
        else:
            followed = tuple(_redirected(item, old, new) for item in items)
        if followed != items:
            node = _with(node, member, followed if member.many else followed[0])
    return node
