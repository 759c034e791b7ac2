"""The ledger: what becomes of each leaf of a plan when it is written as task data."""

from __future__ import annotations

import enum
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from uuid import UUID

from taskkit.plan.leaves import Leaf, leaves
from taskkit.plan.model import Plan, RowEndPlan

__all__ = ["Carried", "Entry", "Ledger", "Noticed", "Rounding", "ledger_class", "ledger_of", "stays_in_the_office"]


class Carried(enum.StrEnum):
    """The class of a leaf: where reading takes it from."""

    NATIVE = "native"
    """An element or attribute of the standard carries it, within the format's resolution."""
    APPROXIMATED = "approximated"
    """Carried, but changed beyond the resolution."""
    ATTACHED = "attached"
    """Only HEADLAND.XML carries it."""
    KEPT = "kept"
    """Office knowledge that stays in the plan."""
    NOT_CARRIED = "not carried"
    """The machine needs it and does not get it."""


_ADDRESS = "street po_box postal_code city state country"
_STEP = "action at reference speed text"
_TABLE: tuple[tuple[str, Carried, str], ...] = (
    ("", Carried.NATIVE, "uuid"),
    ("", Carried.KEPT, "format name steering_frame"),
    ("customers.", Carried.NATIVE, f"uuid name first_name {_ADDRESS} phone mobile fax email"),
    ("farms.", Carried.NATIVE, f"uuid name customer {_ADDRESS}"),
    ("fields.", Carried.NATIVE, "uuid name code customer farm"),
    ("fields.", Carried.KEPT, "declared_area"),
    ("fields.", Carried.ATTACHED, "row_end headland.depth"),
    # Of the boundary that is chosen; of the others everything is kept.
    ("fields.boundaries.", Carried.NATIVE, "uuid parts"),
    ("fields.boundaries.", Carried.KEPT, "purpose season source method date accuracy"),
    ("fields.lines.", Carried.NATIVE, "uuid name a.lon_deg a.lat_deg b.lon_deg b.lat_deg spacing"),
    ("row_end_plans.", Carried.ATTACHED, "uuid name turn side skip"),
    ("row_end_plans.leaving.", Carried.ATTACHED, _STEP),
    ("row_end_plans.entering.", Carried.ATTACHED, _STEP),
)
_CLASSES: Mapping[str, Carried] = MappingProxyType(
    {prefix + member: carried for prefix, carried, row in _TABLE for member in row.split()}
)
_BOUNDARIES = "fields.boundaries"
_LOSSES = frozenset([Carried.APPROXIMATED, Carried.NOT_CARRIED])
_READ_BACK = frozenset([Carried.NATIVE, Carried.ATTACHED])
_LINES = 10
_NAMED = 3


def ledger_class(path: str) -> Carried:
    """The class that a leaf of the plan has by its kind, e.g. ``fields.lines.spacing``.

    One leaf of the kind can fare worse: a name that is too long, a boundary that is not chosen.

    Raises:
        LookupError: a plan has no such leaf.
    """
    return _CLASSES[path]


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
    """

    entries: tuple[Entry, ...]
    roundings: tuple[Rounding, ...] = ()
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
        lines = [*self._row_ends(), *self._of_fields(), *self._not_carried()]
        if len(lines) > _LINES:
            lines[_LINES - 1 :] = [f"and {len(lines) - _LINES + 1} more"]
        return tuple(lines)

    def _row_ends(self) -> Iterator[str]:
        """One line for each row-end plan."""
        plans: dict[UUID, list[Entry]] = {}
        for entry in self.entries:
            if entry.leaf.path.startswith("row_end_plans.") and entry.carried is Carried.ATTACHED:
                plans.setdefault(entry.leaf.owner, []).append(entry)
        for entries in plans.values():
            held = {entry.leaf.path: entry.leaf.value for entry in entries}
            said = [f"{word} {held[f'row_end_plans.{word}']}" for word in ("turn", "side", "skip")
                    if f"row_end_plans.{word}" in held]  # fmt: skip
            for sequence in ("leaving", "entering"):
                steps = sum(entry.leaf.path == f"row_end_plans.{sequence}.action" for entry in entries)
                said += [f"{_count(steps, 'step')} {sequence} the row"] if steps else []
            what = f": {', '.join(said)}" if said else ""
            yield f"{RowEndPlan.word} {entries[0].leaf.owner_name!r}{what}; {_ATTACHED}"

    def _of_fields(self) -> Iterator[str]:
        """One line for the headlands and row-end plans of all fields."""
        titles = {e.leaf.owner: e.leaf.value for e in self.entries if e.leaf.path == "row_end_plans.name"}
        fields: dict[UUID, list[str]] = {}
        names: dict[UUID, str] = {}
        for entry in self.entries:
            if entry.leaf.path not in ("fields.headland.depth", "fields.row_end"):
                continue
            if entry.carried is Carried.ATTACHED:
                value = entry.leaf.value
                names[entry.leaf.owner] = entry.leaf.owner_name
                said = f"row-end plan {titles[value]!r}" if value in titles else f"headland {value}"
                fields.setdefault(entry.leaf.owner, []).append(said)
        if fields:
            shown = [f"{names[owner]!r} ({', '.join(said)})" for owner, said in fields.items()][:_NAMED]
            more = f" and {_count(len(fields) - _NAMED, 'more field')}" if len(fields) > _NAMED else ""
            yield f"headland and row end of {', '.join(shown)}{more}; {_ATTACHED}"

    def _not_carried(self) -> Iterator[str]:
        for entry in self.entries:
            if entry.carried is Carried.NOT_CARRIED:
                yield f"{entry.label}: {entry.note}"


_ATTACHED = "attached as HEADLAND.XML, which a terminal may drop: key them in"


def ledger_of(plan: Plan, noticed: Noticed) -> Ledger:
    """The ledger of a plan that was written, with what was noticed on the way."""
    chosen = {boundary.uuid for one in plan.fields if (boundary := one.boundary())}
    entries = []
    for leaf in leaves(plan):
        if leaf.value is None:
            continue
        carried, note = noticed.of(leaf) or (ledger_class(leaf.path), "")
        if leaf.path.startswith(_BOUNDARIES) and leaf.owner not in chosen:
            carried = Carried.KEPT
        entries.append(Entry(leaf, carried, note))
    return Ledger(tuple(entries), noticed.roundings())


def stays_in_the_office(*plans: Plan) -> Callable[[str, UUID], bool]:
    """Tells of a leaf (path, owner), or of a whole object, whether a set of task data is not expected to have it."""
    ledgers = [ledger_of(plan, Noticed()) for plan in plans]

    def stays(path: str, owner: UUID) -> bool:
        return _CLASSES.get(path) is Carried.KEPT or any(ledger.explains(path, owner) for ledger in ledgers)

    return stays


def _count(number: int, word: str) -> str:
    return f"{number} {word}" + ("" if number == 1 else "s")
