"""The ledger: what becomes of each leaf of a plan when it is written as task data."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from uuid import UUID

from taskkit.mapping.classes import Carried, ledger_class
from taskkit.mapping.driver import missed
from taskkit.plan.leaves import Leaf, leaves
from taskkit.plan.members import objects_in
from taskkit.plan.model import BoundaryChoice, Plan

__all__ = [
    "Carried",
    "Entry",
    "Ledger",
    "Noticed",
    "Rounding",
    "in_use",
    "ledger_class",
    "ledger_of",
    "stays_in_the_office",
]

_LOSSES = frozenset([Carried.APPROXIMATED, Carried.NOT_CARRIED])
_READ_BACK = frozenset([Carried.NATIVE, Carried.ATTACHED])


@dataclass(frozen=True, slots=True)
class Entry:
    """What becomes of one leaf.

    Attributes:
        leaf: the leaf.
        carried: its class.
        note: for a loss, what happened; empty otherwise.
    """

    leaf: Leaf
    carried: Carried
    note: str = ""

    @property
    def key(self) -> str:
        """Names the leaf in one line that lasts, e.g. to accept its loss: path, owner, and place in a sequence."""
        return " ".join([self.leaf.path, str(self.leaf.owner), *map(str, self.leaf.ordinal)])

    @property
    def label(self) -> str:
        """The leaf in words."""
        return self.leaf.label


@dataclass(frozen=True, slots=True)
class Rounding:
    """The largest rounding of one sort of number; all within the format's resolution.

    Attributes:
        quantity: what was rounded, e.g. ``coordinates``.
        largest: by how much at most.
        unit: in which unit.
    """

    quantity: str
    largest: float
    unit: str


class Noticed:
    """What the mapping notices while it writes."""

    def __init__(self) -> None:
        self._of_leaves: dict[tuple[str, UUID], tuple[Carried, str]] = {}
        self._rounded: dict[tuple[str, str], float] = {}

    def approximated(self, path: str, owner: UUID, note: str) -> None:
        """A leaf was changed beyond the format's resolution."""
        self._of_leaves[path, owner] = Carried.APPROXIMATED, note

    def attached(self, path: str, owner: UUID) -> None:
        """A leaf stands in HEADLAND.XML, because the element that it has says less."""
        self._of_leaves.setdefault((path, owner), (Carried.ATTACHED, ""))

    def not_carried(self, path: str, owner: UUID, note: str) -> None:
        """A leaf could not be written."""
        self._of_leaves[path, owner] = Carried.NOT_CARRIED, note

    def rounded(self, quantity: str, amount: float, unit: str) -> None:
        """A number was rounded by so much."""
        self._rounded[quantity, unit] = max(amount, self._rounded.get((quantity, unit), 0.0))

    def of(self, leaf: Leaf) -> tuple[Carried, str] | None:
        """What happened to a leaf, None if nothing."""
        return self._of_leaves.get((leaf.path, leaf.owner))

    def roundings(self) -> tuple[Rounding, ...]:
        """The largest rounding of each sort."""
        return tuple(Rounding(quantity, most, unit) for (quantity, unit), most in self._rounded.items())


@dataclass(frozen=True, slots=True)
class Ledger:
    """What becomes of each leaf that a plan has, in the order of the plan.

    Attributes:
        entries: one for each leaf with a value.
        roundings: the largest rounding of each sort of number.
        missed: what the driver has to know or to key in, in words.
    """

    entries: tuple[Entry, ...]
    roundings: tuple[Rounding, ...] = ()
    missed: tuple[str, ...] = ()
    _not_read_back: dict[tuple[str, UUID], bool] = field(init=False, repr=False, compare=False, default_factory=dict)

    def __post_init__(self) -> None:
        for entry in self.entries:
            path, owner, lost = entry.leaf.path, entry.leaf.owner, entry.carried not in _READ_BACK
            self._not_read_back[path, owner] = lost
            # An object as a whole is missing for a reason if each of its leaves is.
            while "." in path:
                path = path.rpartition(".")[0]
                self._not_read_back[path, owner] = lost and self._not_read_back.get((path, owner), True)

    def counts(self) -> dict[Carried, int]:
        """How many leaves each class has."""
        found = dict.fromkeys(Carried, 0)
        for entry in self.entries:
            found[entry.carried] += 1
        return found

    def losses(self) -> tuple[Entry, ...]:
        """The leaves that count as a loss: approximated or not carried."""
        return tuple(entry for entry in self.entries if entry.carried in _LOSSES)

    def explains(self, path: str, owner: UUID) -> bool:
        """Whether a leaf of an object (or all of them, for the object's own path) may differ in what is read back."""
        return self._not_read_back.get((path, owner), False)

    def missed_by_driver(self) -> tuple[str, ...]:
        """What the driver has to know or to key in, in words, at most ten lines."""
        return self.missed


def ledger_of(plan: Plan, noticed: Noticed, *, boundary: BoundaryChoice | None = None) -> Ledger:
    """The ledger of a plan that was written, with what was noticed on the way.

    Args:
        plan: the plan.
        noticed: what was noticed.
        boundary: which outlines were written; the usual ones where it is not said.
    """
    spare = _spare(plan, boundary)
    entries = []
    for leaf in leaves(plan):
        if leaf.value is None or leaf.value == ():
            continue
        carried, note = noticed.of(leaf) or (ledger_class(leaf.path), "")
        if leaf.owner in spare:
            carried, note = Carried.KEPT, ""
        entries.append(Entry(leaf, carried, note))
    lost = [f"{entry.label} ({entry.note})" for entry in entries if entry.carried is Carried.NOT_CARRIED]
    return Ledger(tuple(entries), noticed.roundings(), missed(plan, in_use(plan), lost))


def in_use(plan: Plan) -> frozenset[UUID]:
    """The machines, and the shifts of lines, that a job, a field or a row-end plan uses; others stay in the office."""
    used = [job.machine for job in plan.jobs] + [one.machine for one in plan.row_end_plans]
    used += [one.machine for field in plan.fields for one in field.row_ends]
    used += [one.shift for job in plan.jobs for one in job.lines]
    return frozenset(uuid for uuid in used if uuid)


def _spare(plan: Plan, boundary: BoundaryChoice | None) -> frozenset[UUID]:
    """The objects that stay in the office with everything in them."""
    used = in_use(plan)
    spare = {machine.uuid for machine in plan.machines} - used
    for one in plan.fields:
        chosen = one.boundary(boundary.purpose, season=boundary.season) if boundary else one.boundary()
        spare |= {other.uuid for other in one.boundaries if other is not chosen}
    unshared = [line for line in plan.shared_lines if not line.fields]
    spare |= {line.uuid for line in unshared} | {shift.uuid for line in unshared for shift in line.shifts}
    lines = [*(line for one in plan.fields for line in one.lines), *plan.shared_lines]
    return frozenset(spare | ({shift.uuid for line in lines for shift in line.shifts} - used))


def stays_in_the_office(*plans: Plan) -> Callable[[str, UUID], bool]:
    """Tells of a leaf (path, owner), or of a whole object, whether a set of task data is not expected to have it.

    An object that all the plans have did go out, whatever is usual: an outline of another purpose that was asked for,
    a machine that was in use then. Of it only what no set ever holds stays.
    """
    ledgers = [ledger_of(plan, Noticed()) for plan in plans]
    everywhere = frozenset.intersection(*(frozenset(one.uuid for one in objects_in(plan)) for plan in plans))

    def stays(path: str, owner: UUID) -> bool:
        if _is_kept(path):
            return True
        return owner not in everywhere and any(ledger.explains(path, owner) for ledger in ledgers)

    return stays


def _is_kept(path: str) -> bool:
    """An object as a whole has no class."""
    try:
        return ledger_class(path) is Carried.KEPT
    except LookupError:
        return False
