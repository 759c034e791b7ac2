"""Two plans held against each other: objects by identity and name, values by their sense, places on the ground."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from taskkit.geometry.geodesy import azimuth_deg, distance_m
from taskkit.geometry.line import LonLatLine, Part
from taskkit.geometry.outlines import Move, OutlineDifference, compare_outlines
from taskkit.plan.members import Member, members
from taskkit.plan.model import Plan, PlanObject, PlanValue, Position
from taskkit.plan.quantities import Length

__all__ = ["Comparison", "Difference", "compare_plans"]

Explained = Callable[[str, UUID], bool]
"""Whether a leaf (path, owner), or a whole object (path of its collection, its UUID), may differ without being told."""

_WINDS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that differs.

    Attributes:
        kind: ``only-in-a``, ``only-in-b``, ``value``, ``moved`` or ``outline``.
        what: the difference in words.
        where: the object and its member in words, e.g. ``field Long Acre, line Along the lane: spacing``.
        a: the value in the first plan, None where it has none.
        b: the value in the second.
    """

    kind: str
    what: str
    where: str
    a: str | None
    b: str | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """What differs between two plans.

    Attributes:
        differences: in the order of the first plan.
        largest_move_mm: the greatest displacement of any point that both have, within the tolerance or not.
        hausdorff_mm: the greatest distance between two outlines of one field, corners or not; None where no field
            has an outline in both, or an outline is too tangled to tell.
    """

    differences: tuple[Difference, ...]
    largest_move_mm: float
    hausdorff_mm: float | None

    @property
    def equal(self) -> bool:
        """Whether nothing differs beyond the tolerance."""
        return not self.differences


def compare_plans(
    a: Plan, b: Plan, *, explained: Explained = lambda _path, _owner: False, tolerance_mm: float = 1.0
) -> Comparison:
    """Hold two plans against each other.

    Objects are the same if they have the same UUID; of the rest, those of one kind with the same name. Values are
    compared by what they mean ("5 ft" is 1.524 m), texts by the letter, outlines by the places of their points.

    Args:
        a: the first plan.
        b: the second.
        explained: what may differ in silence, for example because the ledger says that a set cannot carry it.
        tolerance_mm: lengths and displacements up to this are no difference.
    """
    work = _Comparing(explained, tolerance_mm)
    work.pair(a, b)
    work.values(a, b, a, "", ())
    return Comparison(tuple(work.found), work.largest_move_mm, work.hausdorff_mm)


@dataclass(slots=True)
class _Comparing:
    explained: Explained
    tolerance_mm: float
    found: list[Difference] = field(default_factory=list)
    largest_move_mm: float = 0.0
    hausdorff_mm: float | None = None
    same: dict[UUID, UUID] = field(default_factory=dict)  # UUID in b -> UUID of the same object in a
    titles: dict[object, str] = field(default_factory=dict)  # UUID -> its object in words

    def pair(self, a: PlanValue, b: PlanValue) -> None:
        """Find out, from the top down, which objects of the two plans are the same."""
        for member in members(type(a)):
            if member.many:
                for mine, other in _paired(getattr(a, member.name), getattr(b, member.name)):
                    self.titles |= {one.uuid: one.title for one in (other, mine) if isinstance(one, PlanObject)}
                    if isinstance(mine, PlanObject) and isinstance(other, PlanObject):
                        self.same[other.uuid] = mine.uuid
                        self.pair(mine, other)

    def values(self, a: PlanValue, b: PlanValue, owner: PlanObject, path: str, place: tuple[str, ...]) -> None:
        """Compare all members of two values that stand for each other."""
        for member in members(type(a)):
            here = f"{path}.{member.name}".lstrip(".")
            mine, other = getattr(a, member.name), getattr(b, member.name)
            if member.many:
                self._many(mine, other, owner, here, place, member)
            elif isinstance(mine, Position) and isinstance(other, Position):
                self._position(mine, other, owner, here, place, member)
            elif isinstance(mine, PlanValue) and isinstance(other, PlanValue):
                self.values(mine, other, owner, here, (*place, member.title))
            elif member.holds and mine != other:
                self._one_sided(mine, other, owner, here, (*place, member.title), member.holds)
            else:
                self._leaf(mine, other, owner, here, place, member)

    def _many(
        self,
        a: Sequence[PlanValue],
        b: Sequence[PlanValue],
        owner: PlanObject,
        path: str,
        place: tuple[str, ...],
        member: Member,
    ) -> None:
        pairs = _paired(a, b)
        for number, (mine, other) in enumerate(pairs, 1):
            held = mine or other
            named = isinstance(held, PlanObject)
            where = (*place, held.title) if isinstance(held, PlanObject) else (*place, f"{member.title}, step {number}")
            holder = held if isinstance(held, PlanObject) else owner
            if mine is not None and other is not None:
                self.values(mine, other, holder, path, where)
            elif not self.explained(path, holder.uuid):
                words = (
                    ("A has it, B lacks it", "only-in-a") if other is None else ("B has it, A lacks it", "only-in-b")
                )
                shown = held.title if named and isinstance(held, PlanObject) else str(held)
                sides = (shown, None) if other is None else (None, shown)
                self.found.append(Difference(words[1], words[0], ", ".join(where), *sides))

    def _one_sided(
        self,
        a: PlanValue | None,
        b: PlanValue | None,
        owner: PlanObject,
        path: str,
        place: tuple[str, ...],
        holds: type[PlanValue],
    ) -> None:
        """One plan has this value, the other has none: each of its members differs."""
        for member in members(holds):
            mine, other = getattr(a, member.name, None), getattr(b, member.name, None)
            if mine != other:
                self._leaf(mine, other, owner, f"{path}.{member.name}", place, member)

    def _position(
        self, a: Position, b: Position, owner: PlanObject, path: str, place: tuple[str, ...], member: Member
    ) -> None:
        start, end = (a.lon_deg, a.lat_deg), (b.lon_deg, b.lat_deg)
        if start == end or self.explained(f"{path}.lon_deg", owner.uuid):
            return
        moved_mm = distance_m(start, end=end) * 1000
        self.largest_move_mm = max(self.largest_move_mm, moved_mm)
        if moved_mm > self.tolerance_mm:
            said = _moved(moved_mm, azimuth_deg(start, end=end))
            self.found.append(
                Difference("moved", said, _where(place, member), "{}, {}".format(*start), "{}, {}".format(*end))
            )

    def _leaf(self, a: Any, b: Any, owner: PlanObject, path: str, place: tuple[str, ...], member: Member) -> None:
        if self.explained(path, owner.uuid):
            return
        if member.refers_to and b is not None:
            b = self.same.get(b, b)
        if _is_outline(a) and _is_outline(b):
            self._outline(compare_outlines(a, b), place, member)
        elif not self._alike(a, b):
            shown = [None if value is None else self.titles.get(value) or _shown(value) for value in (a, b)]
            what = f"{shown[0] or 'nothing'} became {shown[1] or 'nothing'}"
            self.found.append(Difference("value", what, _where(place, member), *shown))

    def _alike(self, a: Any, b: Any) -> bool:
        if isinstance(a, Length) and isinstance(b, Length):
            return abs(a.metres - b.metres) * 1000 <= self.tolerance_mm
        return bool(a == b)

    def _outline(self, difference: OutlineDifference, place: tuple[str, ...], member: Member) -> None:
        self.largest_move_mm = max(self.largest_move_mm, difference.largest_move_mm)
        if difference.hausdorff_mm is not None:
            self.hausdorff_mm = max(self.hausdorff_mm or 0.0, difference.hausdorff_mm)
        for kind, what in self._in_words(difference):
            self.found.append(Difference(kind, what, _where(place, member), None, None))

    def _in_words(self, difference: OutlineDifference) -> Iterator[tuple[str, str]]:
        for ring in difference.rings:
            move = ring.largest_move
            if move is not None and move.distance_mm > self.tolerance_mm:
                yield "moved", f"point {move.vertex + 1} of {_ring(move)} {_moved(move.distance_mm, move.azimuth_deg)}"
        if difference.added or difference.removed:
            yield "outline", f"{difference.added} points were added, {difference.removed} were removed"
        if difference.only_in_a:
            yield "only-in-a", f"A has {_count(len(difference.only_in_a), 'ring')} that B lacks"
        if difference.only_in_b:
            yield "only-in-b", f"B has {_count(len(difference.only_in_b), 'ring')} that A lacks"


def _paired(a: Sequence[PlanValue], b: Sequence[PlanValue]) -> list[tuple[PlanValue | None, PlanValue | None]]:
    """Objects by UUID, then by what people know them by; values by their order. Those of b alone come last."""
    if not any(isinstance(one, PlanObject) for one in (*a, *b)):
        most = max(len(a), len(b))
        return list(zip((*a, *[None] * (most - len(a))), (*b, *[None] * (most - len(b))), strict=True))
    left = {one.uuid: one for one in b if isinstance(one, PlanObject)}
    uuids = {one.uuid for one in a if isinstance(one, PlanObject)}
    by_title: dict[str, list[UUID]] = {}
    for uuid, other in left.items():
        if uuid not in uuids:
            by_title.setdefault(other.title, []).append(uuid)
    pairs: list[tuple[PlanValue | None, PlanValue | None]] = []
    for mine in a:
        assert isinstance(mine, PlanObject)
        uuid = mine.uuid
        if uuid not in left and by_title.get(mine.title):
            uuid = by_title[mine.title].pop(0)
        pairs.append((mine, left.pop(uuid, None)))
    return pairs + [(None, other) for other in left.values()]


def _is_outline(value: Any) -> bool:
    return isinstance(value, tuple) and bool(value) and all(isinstance(part, Part) for part in value)


def _moved(moved_mm: float, direction_deg: float) -> str:
    length = f"{moved_mm / 1000:.3f} m" if moved_mm >= 100 else f"{moved_mm:.2f} mm"
    wind = _WINDS[round(direction_deg / 45) % 8]
    return f"moved {length} towards {wind} ({direction_deg % 360:.1f} degrees)"


def _ring(move: Move) -> str:
    part = f"part {move.ring.part + 1}"
    return f"the outline of {part}" if move.ring.ring == 0 else f"hole {move.ring.ring} of {part}"


def _where(place: tuple[str, ...], member: Member) -> str:
    return f"{', '.join(place) or 'plan'}: {member.title}"


def _shown(value: Any) -> str:
    text = f"{len(value)} points" if isinstance(value, LonLatLine) else str(value)
    return text if len(text) <= 60 else text[:60] + "..."


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"
