"""References that lead nowhere: what is left of a plan without them, and which they were."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from taskkit.plan.members import Member, members, objects_in
from taskkit.plan.model import Plan, PlanObject, PlanValue
from taskkit.plan.references import Around, holder_of
from taskkit.plan.scalars import Reference

__all__ = ["Loose", "without_loose_references"]


@dataclass(frozen=True, slots=True)
class Loose:
    """A reference that leads nowhere.

    Attributes:
        path: the path of the leaf that it is, e.g. ``jobs.machine``.
        owner: the nearest object around it that has an identity.
        name: that member in words.
        collection: where the object should have been, e.g. ``machines``.
        target: the UUID that nothing there has.
    """

    path: str
    owner: PlanObject
    name: str
    collection: str
    target: UUID


def without_loose_references(plan: Plan, tell: Callable[[Loose], None]) -> Plan:
    """The plan without references that lead nowhere.

    A value that cannot be without the reference goes as a whole, and so on upward; what referred to it is loose then,
    and goes too.
    """
    while True:
        walk = _Walk(plan)
        left = walk.value(plan, (), plan, ())
        for loose in walk.found:
            tell(loose)
        if not walk.found or left is None:
            return plan
        assert isinstance(left, Plan)
        plan = left


class _Walk:
    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._objects = {one.uuid: one for one in objects_in(plan)}
        self._held: dict[tuple[Reference, UUID], set[UUID]] = {}
        self.found: list[Loose] = []

    def value(
        self, node: PlanValue, around: tuple[Around, ...], owner: PlanObject, path: tuple[str, ...]
    ) -> PlanValue | None:
        """What is left of a value: itself where nothing is loose, None where nothing can be left."""
        owner = node if isinstance(node, PlanObject) else owner
        around = (*around, Around(node.word, node))
        changed: dict[str, Any] = {}
        for member in members(type(node)):
            given = getattr(node, member.name)
            if given is None or not (member.holds or member.reference):
                continue
            here = (*path, member.name)
            items = given if member.many else (given,)
            if member.holds:
                left: tuple[Any, ...] = tuple(self.value(item, around, owner, here) for item in items)
            else:
                left = tuple(self._sound(member, item, around, owner, here) for item in items)
            if all(one is other for one, other in zip(left, items, strict=True)):
                continue
            remaining = tuple(one for one in left if one is not None)
            changed[member.name] = remaining if member.many else next(iter(remaining), None)
        if not changed:
            return node
        try:
            given = {name: getattr(node, name) for name in type(node).model_fields}
            return type(node).model_validate({**given, **changed})
        except ValueError:
            return None

    def _sound(
        self, member: Member, target: UUID, around: Sequence[Around], owner: PlanObject, path: tuple[str, ...]
    ) -> UUID | None:
        reference = member.reference
        assert reference
        holder = holder_of(reference, around, lambda node, key: getattr(node, key, None), self._objects.get)
        if holder is not None and target in self._meant(reference, holder):
            return target
        self.found.append(Loose(".".join(path), owner, member.title, reference.collection, target))
        return None

    def _meant(self, reference: Reference, holder: Any) -> set[UUID]:
        key = (reference, holder.uuid)
        if key not in self._held:
            held = {one.uuid for one in getattr(holder, reference.collection, ())}
            if reference.shared:
                held |= {one.uuid for one in getattr(self._plan, reference.shared) if holder.uuid in one.fields}
            self._held[key] = held
        return self._held[key]
