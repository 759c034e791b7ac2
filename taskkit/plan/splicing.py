"""Entries of a YAML text put in and taken out between those that stay, byte for byte as they were."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from taskkit.plan.yaml_text import Block, Listing, Node, Scalar, end_of

__all__ = ["Splices", "is_flow"]


@dataclass(frozen=True, slots=True)
class _Entry:
    start: int
    end: int


class Splices:
    """Changes to one text, gathered and then made together."""

    def __init__(self, text: str) -> None:
        self.text = text
        self._newline = "\r\n" if "\r\n" in text else "\n"
        self._changes: list[tuple[int, int, str]] = []

    @property
    def are_none(self) -> bool:
        """Whether nothing is to be changed."""
        return not self._changes

    def made(self) -> str:
        """The text with all changes made.

        Raises:
            ValueError: two changes meet in one place.
        """
        pieces, at = list[str](), 0
        for start, end, new in sorted(self._changes, key=lambda change: change[:2]):
            if start < at:
                # Lines put in after a line that goes: they come in its place.
                if start == end == at - len(self._newline) and new.startswith(self._newline) and not pieces[-1]:
                    pieces.append(new.removeprefix(self._newline) + self._newline)
                    continue
                raise ValueError("two changes meet in one place")
            pieces += [self.text[at:start], new]
            at = end
        return "".join([*pieces, self.text[at:]])

    def replace(self, start: int, end: int, new: str) -> None:
        """Put a text, which may have several lines, in the place of another."""
        self._changes.append((start, end, new.replace("\n", self._newline)))

    def replace_entry(self, block: Block, key: str, lines: Sequence[str]) -> None:
        """Put another key and value in the place of one."""
        start, end = block.keys[key].start, end_of(self.text, block.values[key])
        self.replace(start, max(end, block.keys[key].end), "\n".join(lines).lstrip(" "))

    def indent(self, node: Block | Listing) -> str:
        """The blanks before each entry of a node that is not in brackets."""
        start = self._entries(node)[0].start
        return " " * (start - self._line_start(start))

    def change_entries(
        self, node: Block | Listing, removed: Iterable[int], inserted: Mapping[int, Sequence[Sequence[str]]]
    ) -> None:
        """Take entries out and put others in.

        Args:
            node: the keys, or the list.
            removed: positions of entries that go.
            inserted: for a position, the entries that come before the one there now, each as lines; in brackets each
                is one line without indentation.

        Raises:
            ValueError: nothing would be left that shows where entries stand.
        """
        gone = set(removed)
        if not gone and not inserted:
            return
        entries = self._entries(node)
        kept = [position for position in range(len(entries)) if position not in gone]
        if is_flow(self.text, node):
            self._change_flow(node, entries, kept, inserted)
            return
        if not kept:
            raise ValueError("nothing is left that shows where entries stand")
        for position in gone:
            self._remove(entries[position])
        for position, new in inserted.items():
            self._insert(node, entries, kept, position, ["\n".join(lines) for lines in new])

    def _change_flow(
        self,
        node: Block | Listing,
        entries: list[_Entry],
        kept: list[int],
        inserted: Mapping[int, Sequence[Sequence[str]]],
    ) -> None:
        last = kept[-1] if kept else -1
        for position in range(last):
            if position not in kept:
                self.replace(entries[position].start, entries[position + 1].start, "")
        if entries and last < len(entries) - 1:
            self.replace(entries[last].end if kept else entries[0].start, entries[-1].end, "")
        for position, new in inserted.items():
            text = ", ".join(lines[0].strip() for lines in new)
            after = next((one for one in kept if one >= position), None)
            if after is not None:
                self.replace(entries[after].start, entries[after].start, f"{text}, ")
            elif kept:
                self.replace(entries[last].end, entries[last].end, f", {text}")
            else:
                at = entries[0].start if entries else node.start + 1
                self.replace(at, at, text)

    def _remove(self, entry: _Entry) -> None:
        begin = self._line_start(entry.start)
        if self.text[begin : entry.start].strip():
            self.replace(entry.start, entry.end, "")
            return
        end = self.text.find("\n", entry.end)
        self.replace(begin, len(self.text) if end < 0 else end + 1, "")

    def _insert(
        self, node: Block | Listing, entries: list[_Entry], kept: list[int], position: int, new: list[str]
    ) -> None:
        before = [one for one in kept if one < position]
        text = "\n".join(new)
        if not before:
            at = entries[kept[0]].start
            self.replace(at, at, f"{text.lstrip(' ')}\n{self.indent(node)}")
            return
        end = self.text.find("\n", entries[before[-1]].end)
        end = len(self.text) if end < 0 else end
        if self.text[:end].endswith("\r"):
            end -= 1
        self.replace(end, end, f"\n{text}")

    def _entries(self, node: Block | Listing) -> list[_Entry]:
        if isinstance(node, Block):
            keys = node.keys.values()
            return [
                _Entry(key.start, max(key.end, end_of(self.text, value)))
                for key, value in zip(keys, node.values.values(), strict=True)
            ]
        if is_flow(self.text, node):
            return [_Entry(item.start, end_of(self.text, item)) for item in node.items]
        return [_Entry(self._dash(item), end_of(self.text, item)) for item in node.items]

    def _dash(self, item: Node) -> int:
        """The dash before an item: nothing but blanks, line ends and comments lies between."""
        at = item.start
        while True:
            begin = self._line_start(at)
            before = self.text[begin:at]
            if before.lstrip(" ").startswith("-"):
                return begin + before.index("-")
            if begin == 0:
                raise ValueError("there is no dash before an item")
            at = begin - 1

    def _line_start(self, at: int) -> int:
        return self.text.rfind("\n", 0, at) + 1


def is_flow(text: str, node: Node) -> bool:
    """Whether a node stands in brackets."""
    return not isinstance(node, Scalar) and text[node.start : node.start + 1] in ("{", "[")
