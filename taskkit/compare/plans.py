"""Two plans held against each other: objects matched, then leaf by leaf, places on the ground."""

from __future__ import annotations

import datetime
import enum
import functools
import math
from collections.abc import Callable, Iterator, Sequence
from typing import Any
from uuid import UUID

from taskkit.compare.comparison import Comparison, Difference
from taskkit.compare.matching import matched
from taskkit.compare.places import Ground
from taskkit.geometry.line import LonLatLine, Part
from taskkit.plan.leaves import Leaf, leaves
from taskkit.plan.members import Member, members
from taskkit.plan.model import Place, Plan, PlanObject, PlanValue
from taskkit.plan.quantities import Length

__all__ = ["Explained", "compare_plans"]

Explained = Callable[[str, UUID], bool]
"""Whether the leaf at a path, of the object with a UUID, may differ (or be missing) without being told."""

_LON, _LAT = ".lon_deg", ".lat_deg"
_HEADING = "heading_deg"
_FAR_MM = 1e6
"""Headings are compared by where they lead so far away: over the length of a field, a kilometre.

Those of a sector lead to its circle.
"""
_Key = tuple[str, tuple[int, ...]]


def _nothing(_path: str, _owner: UUID) -> bool:
    return False


def compare_plans(a: Plan, b: Plan, *, explained: Explained = _nothing, tolerance_mm: float = 1.0) -> Comparison:
    """Compare two plans.

    Objects are matched by UUID, then by name (a boundary by purpose and season) among those of their kind and
    parent that are left. References are equal where they name matched objects; quantities by what they measure,
    not by how they are written. A boundary's rings may start elsewhere, run the other way or repeat their first
    point: that is no difference.

    Args:
        a: the plan that is held against.
        b: the plan that may differ.
        explained: leaves to leave out; asked with the UUID that A gives the object (B's, where A lacks it). An object
            that one plan lacks is left out where all its values are.
        tolerance_mm: moves, and differences of lengths, up to so many millimetres are no difference.

    Raises:
        ValueError: the tolerance is negative or no number.
    """
    if not tolerance_mm >= 0:
        raise ValueError(f"a tolerance cannot be {tolerance_mm}")
    comparer = _Comparer(a, b, explained, tolerance_mm)
    comparer.compare_objects(a, b, ())
    ground = comparer.ground
    return Comparison(tuple(comparer.differences), ground.largest, ground.hausdorff_mm)


class _Side:
    """The leaves of one plan by the object that they belong to, and the names of its objects."""

    def __init__(self, plan: Plan) -> None:
        self._leaves: dict[tuple[str, UUID], dict[_Key, Leaf]] = {}
        self.names: dict[UUID, str] = {}
        self.radii_mm: dict[UUID, float] = {}
        for leaf in leaves(plan):
            self._leaves.setdefault((_collection(leaf.path), leaf.owner), {})[leaf.path, leaf.ordinal] = leaf
            self.names[leaf.owner] = leaf.owner_name
            if leaf.path.endswith(".radius") and isinstance(leaf.value, Length):
                self.radii_mm[leaf.owner] = abs(leaf.value.metres) * 1000

    def of(self, item: PlanObject, collection: str) -> dict[_Key, Leaf]:
        """The leaves of an object itself."""
        return self._leaves[collection, item.uuid]

    def below(self, item: PlanObject, collection: str) -> Iterator[Leaf]:
        """The leaves of an object and of the objects that it holds."""
        yield from self.of(item, collection).values()
        for name, items in _held(item):
            for inner in items:
                yield from self.below(inner, f"{collection}.{name}".lstrip("."))


class _Comparer:
    def __init__(self, a: Plan, b: Plan, explained: Explained, tolerance_mm: float) -> None:
        self.a, self.b = _Side(a), _Side(b)
        self.explained = explained
        self.tolerance_mm = tolerance_mm
        self.differences: list[Difference] = []
        self.ground = Ground(tolerance_mm)
        self.counterparts: dict[UUID, UUID] = {}
        self._learn_counterparts(a, b)

    def _learn_counterparts(self, a: PlanObject, b: PlanObject) -> None:
        self.counterparts[a.uuid] = b.uuid
        for (_, items_a), (_, items_b) in zip(_held(a), _held(b), strict=True):
            for one, other in matched(items_a, items_b):
                if one and other:
                    self._learn_counterparts(one, other)

    def compare_objects(self, a: PlanObject, b: PlanObject, place: tuple[str, ...], collection: str = "") -> None:
        """Compare two objects that stand for each other, and what they hold."""
        self._compare_leaves(self.a.of(a, collection), self.b.of(b, collection))
        for (name, items_a), (_, items_b) in zip(_held(a), _held(b), strict=True):
            inner = f"{collection}.{name}".lstrip(".")
            for one, other in matched(items_a, items_b):
                if one and other:
                    self.compare_objects(one, other, (*place, one.title), inner)
                elif one:
                    self._lacking(self.a.below(one, inner), (*place, one.title), "missing")
                elif other:
                    self._lacking(self.b.below(other, inner), (*place, other.title), "added")

    def _lacking(self, found: Iterator[Leaf], place: Sequence[str], kind: str) -> None:
        """One plan has an object, or a step of a sequence, that the other lacks."""
        if all(leaf.value is None or self.explained(leaf.path, leaf.owner) for leaf in found):
            return
        where = ", ".join(place)
        if kind == "missing":
            self.differences.append(Difference(kind, "A has it, B lacks it", where, a=place[-1]))
        else:
            self.differences.append(Difference(kind, "B has it, A lacks it", where, b=place[-1]))

    def _compare_leaves(self, of_a: dict[_Key, Leaf], of_b: dict[_Key, Leaf]) -> None:
        if _kind(of_a) != _kind(of_b):
            # What only one of the kinds has is no difference of its own.
            of_a, of_b = ({key: one[key] for key in one if key in other} for one, other in ((of_a, of_b), (of_b, of_a)))
        for key, leaf in of_a.items():
            other = of_b.get(key)
            if other is None:
                self._step_lacking(leaf, of_a, "missing")
            elif leaf.path.endswith(_LON):
                self._compare_places(key, of_a, of_b)
            elif not leaf.path.endswith(_LAT) and not self.explained(leaf.path, leaf.owner):
                self._compare_values(leaf, other)
        for key, leaf in of_b.items():
            if key not in of_a:
                self._step_lacking(leaf, of_b, "added")

    def _step_lacking(self, leaf: Leaf, leaves_: dict[_Key, Leaf], kind: str) -> None:
        """Told once for each step: by its first leaf."""
        step = leaf.path.rpartition(".")[0]
        of_step = [one for one in leaves_.values() if one.ordinal == leaf.ordinal and one.path.startswith(f"{step}.")]
        if of_step[0] is leaf:
            self._lacking(iter(of_step), (_place(leaf),), kind)

    def _compare_values(self, leaf: Leaf, other: Leaf) -> None:
        a, b = leaf.value, other.value
        if isinstance(a, Place) and isinstance(b, Place) and a.form == b.form:
            a, b = a.shape, b.shape
        if _is_area(a) and _is_area(b):
            self.differences += self.ground.compare_areas(a, b, leaf.label)
        elif isinstance(a, LonLatLine) and isinstance(b, LonLatLine):
            self.differences += self.ground.compare_lines(a, b, leaf.label)
        elif not self._same(leaf, a, b):
            shown_a, shown_b = _shown(a, self.a.names), _shown(b, self.b.names)
            kind, what = "value", f"{_said(a, shown_a)} in A, {_said(b, shown_b)} in B"
            member = leaf.path.rpartition(".")[2]
            if member == "uuid":
                kind, what = "identity", "the same name, another UUID"
            elif member == "name" and self.counterparts.get(leaf.owner) == leaf.owner:
                kind = "renamed"
            self.differences.append(Difference(kind, what, leaf.label, shown_a, shown_b))

    def _same(self, leaf: Leaf, a: Any, b: Any) -> bool:
        if isinstance(a, Length) and isinstance(b, Length):
            # The tolerance itself is within, whatever the last bit of a float says.
            return abs(a.metres - b.metres) * 1000 <= self.tolerance_mm * (1 + 1e-9)
        if leaf.path.endswith(_HEADING) and a is not None and b is not None:
            apart_deg = abs((a - b + 180) % 360 - 180)
            reach_mm = self.a.radii_mm.get(leaf.owner, _FAR_MM) if ".sector." in leaf.path else _FAR_MM
            return math.radians(apart_deg) * reach_mm <= self.tolerance_mm
        if isinstance(a, tuple) and isinstance(b, tuple) and len(a) == len(b):
            return all(self._same(leaf, one, other) for one, other in zip(a, b, strict=True))
        if isinstance(a, UUID) and isinstance(b, UUID) and leaf.value != leaf.owner:
            return self.counterparts.get(a, a) == b
        return bool(a == b)

    def _compare_places(self, key: _Key, of_a: dict[_Key, Leaf], of_b: dict[_Key, Leaf]) -> None:
        """A longitude and its latitude, together."""
        path, ordinal = key
        twin = (path.removesuffix(_LON) + _LAT, ordinal)
        leaf = of_a[key]
        if self.explained(path, leaf.owner) and self.explained(twin[0], leaf.owner):
            return
        a, b = ((side[key].value, side[twin].value) for side in (of_a, of_b))
        if None not in a and None not in b:
            self.differences += self.ground.compare_points(a, b, _place(leaf))
        elif a != b:
            shown = [None if None in end else f"{end[0]:.9f} {end[1]:.9f}" for end in (a, b)]
            what = f"{shown[0] or 'nothing'} in A, {shown[1] or 'nothing'} in B"
            self.differences.append(Difference("value", what, _place(leaf), *shown))


def _held(item: PlanObject) -> Iterator[tuple[str, tuple[PlanObject, ...]]]:
    """The objects that an object holds, by member."""
    for member in members(type(item)):
        if member.many and _are_objects(member):
            yield member.name, getattr(item, member.name)


def _are_objects(member: Member) -> bool:
    return bool(member.holds) and issubclass(member.holds[0], PlanObject)


@functools.cache
def _collection(path: str) -> str:
    """The path of the tuple that holds a leaf's owner: ``fields.lines`` for ``fields.lines.a.lon_deg``."""
    classes: tuple[type[PlanValue], ...] = (Plan,)
    names = path.split(".")
    for depth, name in enumerate(names):
        member = next(m for cls in classes for m in members(cls) if m.name == name)
        if not _are_objects(member):
            return ".".join(names[:depth])
        classes = member.holds
    raise AssertionError(f"{path} ends at an object")


def _kind(of_one: dict[_Key, Leaf]) -> Any:
    """What kind an object is of, where there are several of its sort (lines are)."""
    return next((leaf.value for (path, _), leaf in of_one.items() if path.endswith("lines.kind")), None)


def _place(leaf: Leaf) -> str:
    """What the leaf is a leaf of, in words; the title of a member holds no colon."""
    return leaf.label.rpartition(": ")[0]


def _is_area(value: Any) -> bool:
    return isinstance(value, tuple) and bool(value) and isinstance(value[0], Part)


def _shown(value: Any, names: dict[UUID, str]) -> str | int | float | None:
    if _is_area(value):
        return f"an area of {len(value)} part{'s' if len(value) > 1 else ''}"
    if isinstance(value, LonLatLine):
        return f"a line of {len(value)} points"
    if isinstance(value, Place):
        return f"{'an' if value.form == 'area' else 'a'} {value.form}"
    if isinstance(value, tuple):
        return ", ".join(str(_shown(one, names)) for one in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, UUID):
        return names.get(value, str(value))
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, enum.Enum):
        return str(value.value)
    return value if value is None or isinstance(value, str | int | float) else str(value)


def _said(value: Any, shown: str | int | float | None) -> str:
    if value is None or value == ():
        return "nothing"
    return repr(shown) if isinstance(value, str | UUID) and not isinstance(value, enum.Enum) else str(shown)
