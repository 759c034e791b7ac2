"""Names for objects: which object a UUID, a code or an exact name means, and the shortest word that means only it."""

from __future__ import annotations

import difflib
import itertools
from collections.abc import Iterable

__all__ = ["Directory", "nearest"]


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
