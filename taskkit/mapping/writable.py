"""What a set can hold of a plan: no line that no pattern can stand for, no reference that leads nowhere."""

from __future__ import annotations

from uuid import UUID

from taskkit.mapping.classes import Carried, ledger_class
from taskkit.mapping.ledger import Noticed
from taskkit.mapping.loose_references import Loose, without_loose_references
from taskkit.mapping.patterns import not_writable
from taskkit.plan.leaves import leaves
from taskkit.plan.members import objects_in
from taskkit.plan.model import GuidanceLine, Plan, SharedGuidanceLine

__all__ = ["writable"]


def writable(plan: Plan, noticed: Noticed) -> Plan:
    """The plan without what cannot be written; each leaf that is lost by it is noticed.

    Args:
        plan: the whole.
        noticed: is told of each leaf.
    """
    unfit: dict[UUID, str] = {}

    def can_be(line: GuidanceLine | SharedGuidanceLine) -> bool:
        why = not_writable(line)
        if why:
            unfit[line.uuid] = why
        return why is None

    def tell(loose: Loose) -> None:
        if ledger_class(loose.path) is not Carried.KEPT and loose.target not in unfit:
            said = f"the plan holds no such {loose.name}, {loose.target}"
            noticed.not_carried(loose.path, loose.owner.uuid, said)
        elif loose.target in unfit:
            noticed.not_carried(loose.path, loose.owner.uuid, f"the {loose.name} is not carried")

    fields = tuple(
        field.model_copy(update={"lines": tuple(line for line in field.lines if can_be(line))}) for field in plan.fields
    )
    shared = tuple(line for line in plan.shared_lines if can_be(line))
    left = without_loose_references(plan.model_copy(update={"fields": fields, "shared_lines": shared}), tell)
    gone = {one.uuid for one in objects_in(plan)} - {one.uuid for one in objects_in(left)}
    gone |= _nowhere(left) - _nowhere(plan)
    for leaf in leaves(plan) if gone else ():
        is_told = noticed.of(leaf) is not None or ledger_class(leaf.path) is Carried.KEPT
        if leaf.owner in gone and not is_told:
            noticed.not_carried(leaf.path, leaf.owner, unfit.get(leaf.owner, "what it needs is not carried"))
    return left


def _nowhere(plan: Plan) -> set[UUID]:
    """The shared lines that are on no field."""
    return {line.uuid for line in plan.shared_lines if not line.fields}
