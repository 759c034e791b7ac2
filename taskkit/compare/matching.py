"""Which objects of two plans stand for each other."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterator, Sequence

from taskkit.plan.model import PlanObject

__all__ = ["matched"]

_Pair = tuple[PlanObject | None, PlanObject | None]


def matched(a: Sequence[PlanObject], b: Sequence[PlanObject]) -> Iterator[_Pair]:
    """Pairs of objects of one kind, in the order of ``a``; then those that only ``b`` has.

    By UUID first; those left over by what people know them by, and among twins in order.
    """
    by_uuid = {item.uuid: item for item in b}
    partners: dict[int, PlanObject] = {}
    taken: set[int] = set()
    for item in a:
        twin = by_uuid.get(item.uuid)
        if twin is not None and id(twin) not in taken:
            partners[id(item)] = twin
            taken.add(id(twin))
    left: dict[Hashable, list[PlanObject]] = defaultdict(list)
    for item in b:
        if id(item) not in taken:
            left[_known_by(item)].append(item)
    for item in a:
        if id(item) not in partners and (twins := left[_known_by(item)]):
            partners[id(item)] = twins.pop(0)
            taken.add(id(partners[id(item)]))
    yield from ((item, partners.get(id(item))) for item in a)
    yield from ((None, item) for item in b if id(item) not in taken)


def _known_by(item: PlanObject) -> Hashable:
    return tuple(getattr(item, name) for name in item.known_by)
