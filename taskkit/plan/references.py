"""Names for objects: which object a UUID, a code or an exact name means, and the shortest word that means only it."""

from __future__ import annotations

import difflib
import itertools
from collections.abc import Callable, Iterable, Sequence
from typing import Any, NamedTuple

from taskkit.plan.scalars import Reference

__all__ = ["Around", "Directory", "directory_for", "holder_of", "nearest"]


class Around(NamedTuple):
    """One of the objects around a reference, the plan first.

    Attributes:
        word: what such an object is called.
        node: the object, as a value of the model or as raw text.
    """

    word: str
    node: Any


def holder_of(
    reference: Reference, around: Sequence[Around], get: Callable[[Any, str], Any], find: Callable[[Any], Any]
) -> Any:
    """The object that holds what a reference may mean; None where nothing around leads to it.

    Args:
        reference: what is meant.
        around: the objects around the reference, the plan first; the last one has the reference.
        get: gives a member of an object by its key, None where it has none.
        find: gives the object with a UUID, None where there is none.
    """
    if reference.of is None:
        return around[0].node
    for word, node in reversed(around):
        if word == reference.of:
            return node
        if (uuid := get(node, reference.of)) is not None:
            return find(uuid)
    return None


def directory_for(reference: Reference, holder: Any, plan: Any, get: Callable[[Any, str], Any]) -> Directory:
    """The objects that a reference may mean: those that the holder has, and those that are shared with it."""
    objects = list(get(holder, reference.collection) or ())
    if reference.shared:
        mine = get(holder, "uuid")
        objects += [one for one in get(plan, reference.shared) or () if mine in (get(one, "fields") or ())]
    return Directory((str(get(o, "uuid")), get(o, "code"), _text(get(o, "name"), get(o, "date"))) for o in objects)


def _text(*values: Any) -> str | None:
    return next((str(value) for value in values if value is not None), None)


class Directory:
    """The objects of one collection of a plan.

    Args:
        objects: UUID as text, code and name of each.

    >>> directory = Directory([("1-2", None, "Home"), ("3-4", "7", "Home")])
    >>> directory.find("7"), directory.find("Home"), directory.word("1-2"), directory.word("3-4")
    (('3-4',), ('1-2', '3-4'), '1-2', '7')
    """

    def __init__(self, objects: Iterable[tuple[str, str | None, str | None]]) -> None:
        self._meant: dict[str, dict[str, None]] = {}
        self._words: dict[str, tuple[str, ...]] = {}
        for uuid, code, name in objects:
            words = tuple(word for word in (name, code, uuid.lower()) if word is not None)
            self._words[uuid.lower()] = words
            for word in words:
                self._meant.setdefault(word, {})[uuid.lower()] = None

    def find(self, word: str) -> tuple[str, ...]:
        """The UUIDs of all objects that a word may mean; none, one or several."""
        return tuple(self._meant.get(word) or self._meant.get(word.lower()) or ())

    def word(self, uuid: str) -> str:
        """The name of an object, or its code, or its UUID: the first that means no other.

        Raises:
            LookupError: there is no such object.
        """
        return next(word for word in self._words[uuid.lower()] if len(self.find(word)) == 1)

    def words(self) -> tuple[str, ...]:
        """Every word that means something here."""
        return tuple(self._meant)


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that looks most like it, None where none does; of long lists only the beginning is seen."""
    short = [other for other in itertools.islice(known, 1000) if len(other) <= 80]
    return next(iter(difflib.get_close_matches(word[:80], short, n=1, cutoff=0.6)), None)
