"""What the identifiers of a set stand for: objects that were read, and the guidance lines of groups and patterns."""

from __future__ import annotations

from collections.abc import Sequence
from uuid import UUID

from taskkit.mapping.reading import Reading
from taskkit.taskdata.document import Element

__all__ = ["Known"]


class Known:
    """Objects of one set by identifier; of two with one identifier the first counts.

    Attributes:
        patterns: identifier of a guidance pattern -> UUID of its line.
    """

    def __init__(self) -> None:
        self._objects: dict[tuple[str, str], UUID] = {}
        self._groups: dict[str, tuple[UUID, ...]] = {}
        self.patterns: dict[str, UUID] = {}

    def put(self, element: Element, uuid: UUID) -> None:
        """An object that was read."""
        if identifier := (element.get("A") or "").strip():
            self._objects.setdefault((element.tag, identifier), uuid)

    def put_lines(self, group: Element, lines: Sequence[tuple[str | None, UUID]]) -> None:
        """The lines of a group: identifier of the pattern and UUID of each."""
        if identifier := (group.get("A") or "").strip():
            self._groups.setdefault(identifier, tuple(uuid for _, uuid in lines))
        for pattern, uuid in lines:
            if pattern and pattern.strip():
                self.patterns.setdefault(pattern.strip(), uuid)

    def meant(self, element: Element, code: str, tag: str, reading: Reading) -> UUID | None:
        """The object of a tag that an attribute refers to; None, and a finding, where the set does not hold it."""
        text = (element.get(code) or "").strip()
        if text and (tag, text) not in self._objects:
            _tell(element, code, text, reading)
        return self._objects.get((tag, text))

    def lines(self, element: Element, code: str, reading: Reading) -> tuple[UUID, ...]:
        """The lines of the group that an attribute refers to; none, and a finding, where the set does not hold it."""
        text = (element.get(code) or "").strip()
        if text not in self._groups:
            _tell(element, code, text, reading)
        return self._groups.get(text, ())


def _tell(element: Element, code: str, text: str, reading: Reading) -> None:
    what = f"The reference {element.tag}@{code}"
    reading.left_out(element, f"the set holds no {text[:14]}" if text else "it is empty", what=what)
