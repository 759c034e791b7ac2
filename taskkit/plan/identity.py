"""The companion of plan.yaml that gives every object a number for good, so that a second export has the same ids."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import NamedTuple
from uuid import UUID, uuid5

from taskkit.errors import InputError, RefusedError
from taskkit.plan.disk import put_in_place, read_text
from taskkit.plan.files import plan_folder

__all__ = ["IDENTITY_FILE", "Entry", "Identified", "Identity", "derived", "load_identity", "save_identity"]

IDENTITY_FILE = "plan.ids.tsv"

_HEADER = (
    "# Numbers that the objects of plan.yaml keep for good: kind, number, UUID, name when it was given.\n"
    "# Written by taskkit; lines are only ever added. Keep this file beside plan.yaml, and in the same archive.\n"
)
_MOST_BYTES = 64 << 20
_APART: Mapping[str, str] = MappingProxyType({})
_ESCAPES = {"\\": "\\\\", "\t": "\\t", "\n": "\\n", "\r": "\\r"}
_PLAIN = {escaped: plain for plain, escaped in _ESCAPES.items()}
_LINE = re.compile(
    r"(?P<kind>[a-z][a-z -]*)\t(?P<number>[1-9][0-9]{0,8})\t"
    r"(?P<uuid>[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12})\t(?P<name>(?:[^\t\\]|\\[\\tnr])*)"
)


class Identified(NamedTuple):
    """An object that is to have a number.

    Attributes:
        kind: a word of the plan, e.g. ``field`` or ``guidance line``; numbers count within it.
        uuid: the object's UUID, its own or a derived one.
        name: for people who read the file.
    """

    kind: str
    uuid: UUID
    name: str


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the companion file: an object and the number that it has."""

    kind: str
    number: int
    uuid: UUID
    name: str

    def __str__(self) -> str:
        return f"{self.kind} {self.name!r} ({self.uuid})"


@dataclass(frozen=True, slots=True)
class Identity:
    """All numbers ever given, also those of objects that are gone.

    Attributes:
        entries: in the order in which they were given.
        lasting: whether they stand in a file; if not, the same plan gets the same numbers, another order others.

    Raises:
        InputError: a number of a kind stands for two objects, or an object of a kind has two numbers.
    """

    entries: tuple[Entry, ...] = ()
    lasting: bool = False
    _by_uuid: dict[tuple[str, UUID], Entry] = field(init=False, repr=False, compare=False, default_factory=dict)
    _by_number: dict[tuple[str, int], Entry] = field(init=False, repr=False, compare=False, default_factory=dict)

    def __post_init__(self) -> None:
        for entry in self.entries:
            if clash := _clash(self, entry):
                raise InputError(clash, remedy=_CLASH_REMEDY)
            self._by_uuid[entry.kind, entry.uuid] = entry
            self._by_number[entry.kind, entry.number] = entry

    def number(self, kind: str, uuid: UUID) -> int:
        """The number of an object; raises LookupError where it has none."""
        try:
            return self._by_uuid[kind, uuid].number
        except KeyError:
            raise LookupError(f"no number was given to the {kind} {uuid}") from None

    def has(self, kind: str, uuid: UUID) -> bool:
        """Whether an object has a number."""
        return (kind, uuid) in self._by_uuid

    def uuid(self, kind: str, number: int) -> UUID | None:
        """The object that has a number, None where none has."""
        entry = self._by_number.get((kind, number))
        return entry.uuid if entry else None

    def assign(self, objects: Iterable[Identified], *, together: Mapping[str, str] = _APART) -> Identity:
        """The identity in which all these objects have numbers.

        Those that have one keep it; the others get the next numbers of their kind, in the order given.

        Args:
            objects: the objects.
            together: kind -> a word; kinds of one word count together, so that no two of them share a number.

        Raises:
            InputError: objects of two kinds that count together have one number, as they may after a merge.
        """
        highest: dict[str, int] = {}
        holders: dict[tuple[str, int], Entry] = {}
        for entry in self.entries:
            count = together.get(entry.kind, entry.kind)
            other = holders.setdefault((count, entry.number), entry)
            if (other.kind, other.uuid) != (entry.kind, entry.uuid):
                raise InputError(_two_objects(other, entry), remedy=_CLASH_REMEDY)
            highest[count] = max(highest.get(count, 0), entry.number)
        known = set(self._by_uuid)
        added: list[Entry] = []
        for one in objects:
            if (one.kind, one.uuid) not in known:
                known.add((one.kind, one.uuid))
                count = together.get(one.kind, one.kind)
                highest[count] = highest.get(count, 0) + 1
                added.append(Entry(one.kind, highest[count], one.uuid, one.name))
        return Identity((*self.entries, *added), self.lasting and not added) if added else self


def derived(parent: UUID, role: str, ordinal: int = 0) -> UUID:
    """The UUID of an object that follows from another, such as a part of a boundary: UUIDv5(parent, role/ordinal).

    >>> derived(UUID(int=1), "part", 2) == derived(UUID(int=1), "part", 2) != derived(UUID(int=1), "part", 3)
    True
    """
    return uuid5(parent, f"{role}/{ordinal}")


def load_identity(path: Path | str) -> Identity:
    """The numbers given so far to the objects of the plan in a folder; none, and not lasting, where the file is lost.

    Raises:
        InputError: a line cannot be understood, or two lines contradict each other, as they do when two branches of
            a plan were merged by hand.
    """
    file = plan_folder(path) / IDENTITY_FILE
    text = read_text(file, most_bytes=_MOST_BYTES)
    return Identity() if text is None else _parsed(text, file)


def save_identity(identity: Identity, path: Path | str) -> Identity:
    """Add what is new to the companion file; what stands in it already keeps its bytes.

    Returns:
        The same numbers, lasting if they stand in the file now and not lasting if it could not be written.

    Raises:
        RefusedError: the file has changed since it was read, so that numbers could be given twice.
        InputError: the file cannot be read.
    """
    file = plan_folder(path) / IDENTITY_FILE
    text = read_text(file, most_bytes=_MOST_BYTES)
    written = () if text is None else _parsed(text, file).entries
    if identity.entries[: len(written)] != written:
        raise RefusedError(f"{file} has changed since it was read; nothing was written, run it again")
    added = identity.entries[len(written) :]
    if added or text is None:
        begin = _HEADER if text is None else text if text.endswith("\n") or not text else text + "\n"
        try:
            put_in_place(file, begin + "".join(map(_line, added)))
        except OSError:
            return Identity(identity.entries, lasting=False)
    return Identity(identity.entries, lasting=True)


_CLASH_REMEDY = "Decide which of the two keeps it, and give the other a number that was never used"


def _clash(identity: Identity, entry: Entry) -> str | None:
    other = identity._by_number.get((entry.kind, entry.number))
    if other and other.uuid != entry.uuid:
        return _two_objects(other, entry)
    other = identity._by_uuid.get((entry.kind, entry.uuid))
    if other and other.number != entry.number:
        return f"one object has two numbers, {other} the number {other.number} and {entry} the number {entry.number}"
    return None


def _two_objects(one: Entry, other: Entry) -> str:
    return f"the number {one.number} stands for two objects, {one} and {other}"


def _parsed(text: str, file: Path) -> Identity:
    entries: list[Entry] = []
    so_far = Identity()
    # Not splitlines(): names may hold the other line ends that Unicode knows.
    for number, line in enumerate(text.split("\n"), 1):
        line = line.removesuffix("\r")
        if not line or line.startswith("#"):
            continue
        found = _LINE.fullmatch(line)
        if not found:
            raise InputError(
                f"{line[:60]!r} is no line of kind, number, UUID and name with tabs between them",
                path=file,
                line=number,
                remedy="Restore the line from an older copy; where two branches met, keep the lines of both",
            )
        name = re.sub(r"\\.", lambda escape: _PLAIN[escape[0]], found["name"])
        entry = Entry(found["kind"], int(found["number"]), UUID(found["uuid"]), name)
        if clash := _clash(so_far, entry):
            raise InputError(clash, path=file, line=number, remedy=_CLASH_REMEDY)
        so_far._by_uuid[entry.kind, entry.uuid] = so_far._by_number[entry.kind, entry.number] = entry
        entries.append(entry)
    return Identity(tuple(entries), lasting=True)


def _line(entry: Entry) -> str:
    name = re.sub(r"[\\\t\n\r]", lambda found: _ESCAPES[found[0]], entry.name)
    return f"{entry.kind}\t{entry.number}\t{entry.uuid}\t{name}\n"
