"""The part of YAML that a plan may use: read as text with its places, and written back without touching the rest."""

from __future__ import annotations

import bisect
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

import yaml

from taskkit.errors import InputError, UnsafeInputError

__all__ = ["Block", "Listing", "Node", "Scalar", "Text", "end_of", "in_style_of", "read", "replace_value", "scalar"]

_DEEPEST = 30
_MOST_NODES = 2_000_000

_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

# YAML 1.1, production c-printable; a byte order mark only at the very beginning.
_UNPRINTABLE = re.compile("[^\t\n\r -~\x85\xa0-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]")
_ABSENT = ("", "~", "null", "Null", "NULL")


@dataclass(frozen=True, slots=True)
class Scalar:
    """A single value, as text; ``start`` and ``end`` count characters of the whole text."""

    start: int
    end: int
    text: str
    style: str
    """One of the empty text (plain), ``'``, ``"``, ``|`` and ``>``."""

    @property
    def is_absent(self) -> bool:
        """Whether it is written as nothing, or as null."""
        return not self.style and self.text in _ABSENT


@dataclass(frozen=True, slots=True)
class Listing:
    """Nodes one after the other."""

    start: int
    end: int
    items: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Block:
    """Keys and their values, in the order of the text."""

    start: int
    end: int
    keys: dict[str, Scalar]
    values: dict[str, Node]


Node = Scalar | Listing | Block


class Text:
    """A text, the file it is from, and where its lines begin."""

    def __init__(self, text: str, path: Path | str | None = None) -> None:
        self.text = text
        self.path = path
        self._lines: list[int] | None = None
        self._annexes: list[tuple[int, Text]] = []

    def annex(self, other: Text) -> int:
        """Count the characters of another text, such as a sheet, on from the end of this one; the first of them."""
        last, text = self._annexes[-1] if self._annexes else (0, self)
        self._annexes.append((last + len(text.text) + 1, other))
        return self._annexes[-1][0]

    def _of(self, at: int) -> tuple[int, Text]:
        return next(((begin, text) for begin, text in reversed(self._annexes) if begin <= at), (0, self))

    def line(self, at: int) -> str:
        """The line of a character in words, with the file where that is another."""
        begin, text = self._of(at)
        said = f"line {text.place(at - begin)[0]}"
        return said if text is self else f"{Path(text.path or '').name}, {said}"

    def place(self, at: int) -> tuple[int, int]:
        """The 1-based line and column of a character of this text."""
        if self._lines is None:
            self._lines = [0, *(found.end() for found in re.finditer("\n", self.text))]
        line = bisect.bisect_right(self._lines, at)
        return line, at - self._lines[line - 1] + 1

    def error(self, at: int, message: str, remedy: str | None = None, *, unsafe: bool = False) -> InputError:
        """An error at a character, also of an annex."""
        begin, text = self._of(at)
        line, column = text.place(at - begin)
        kind = UnsafeInputError if unsafe else InputError
        return kind(message, path=text.path, line=line, column=column, remedy=remedy)


def read(text: Text) -> Node | None:
    """The one document of a text as nodes; None where it is empty.

    Raises:
        InputError: it is no YAML, or uses what a plan does without: anchors, aliases, tags, merge keys, keys that are
            no plain text, a key given twice, a second document.
        UnsafeInputError: it is nested deeper than 30 levels, or holds more than two million nodes.
    """
    if found := _UNPRINTABLE.search(text.text):
        raise text.error(found.start(), f"the character U+{ord(found[0]):04X} cannot stand in the file", "Delete it")
    return _Reader(text).document()


def scalar(text: str, *, flow: bool = False) -> str:
    """A text as a YAML scalar on one line: plain where no reader can take it for anything else, quoted elsewhere.

    >>> scalar("Long Acre"), scalar("007"), scalar("No"), scalar("a: b")
    ('Long Acre', '"007"', '"No"', '"a: b"')
    """
    more = "" if flow else ","
    words = rf"(-?[0-9]+(\.[0-9]+)? )?[^\W\d_][\w .()/+&'@{more}-]*"
    plain = re.fullmatch(rf"{words}|[0-9a-f]{{8}}(-[0-9a-f]{{4}}){{3}}-[0-9a-f]{{12}}", text)
    if plain and not text.endswith(" ") and text.lower() not in _RESERVED:
        return text
    return _quoted(text)


def end_of(text: str, node: Node) -> int:
    """Where the last thing in a node ends; what follows on its line is another's, or a comment."""
    if isinstance(node, Scalar):
        return len(text) - len(_tail(text, node))
    if text[node.start : node.start + 1] in ("{", "["):
        return node.end
    inner = node.items if isinstance(node, Listing) else tuple(node.values.values())
    return end_of(text, inner[-1]) if inner else node.end


def in_style_of(node: Scalar, text: str, written: str) -> str:
    """A text in the kind of quotes that a scalar has; ``written`` where it has none."""
    if node.style == "'" and "\n" not in text and not _ODD.search(text):
        doubled = text.replace("'", "''")
        return f"'{doubled}'"
    return _quoted(text) if node.style == '"' else written


def replace_value(text: str, path: Sequence[str | int], new: str) -> str:
    r"""The text with one scalar replaced; every other character stays as it is, and the style of quoting where it can.

    Args:
        text: the whole text of the file.
        path: keys, and positions from 0, that lead to the value.
        new: what is to be read there.

    Raises:
        LookupError: there is no such value.
        ValueError: what stands there is no single value, or stands where no other can be put.
        InputError: the text cannot be read.

    >>> replace_value("a: 1 # one\nb: {c: 'x'}", ["b", "c"], "y: z")
    "a: 1 # one\nb: {c: 'y: z'}"
    """
    if text.startswith("\ufeff"):
        return "\ufeff" + replace_value(text[1:], path, new)
    node = _find(read(Text(text)), path)
    before, after = text[: node.start], _tail(text, node)
    for candidate in _candidates(node, new):
        replaced = f"{before}{candidate}{after}"
        try:
            again = _find(read(Text(replaced)), path)
        except (InputError, LookupError, ValueError):
            continue
        if again.text == new and not (again.is_absent and new):
            return replaced
    raise ValueError(f"no other value can be put at {'.'.join(map(str, path))}")


# What YAML 1.1 or 1.2 takes for a truth value or for nothing.
_RESERVED = frozenset(["y", "n", "yes", "no", "on", "off", "true", "false", "null"])


class _Reader:
    def __init__(self, text: Text) -> None:
        self._text = text
        self._nodes = 0
        self._end = 0
        self._events: Iterator[Any] = self._safe_events()

    def document(self) -> Node | None:
        root: Node | None = None
        for event in self._events:
            if isinstance(event, yaml.DocumentStartEvent):
                at = _at(event)
                if root is not None:
                    raise self._text.error(at, "a second document begins here", "Keep one document in the file")
                if event.tags:
                    raise self._text.error(at, "tags are not used in a plan", "Delete the %TAG line")
                root = self._node(next(self._events), 1)
        return root if not (isinstance(root, Scalar) and root.is_absent) else None

    def _node(self, event: Any, depth: int) -> Node:
        start = _at(event)
        if isinstance(event, yaml.AliasEvent):
            raise self._text.error(start, "aliases are not used in a plan", "Write the value out")
        if event.anchor is not None:
            raise self._text.error(start, "anchors are not used in a plan", f"Delete &{event.anchor[:40]}")
        if event.tag is not None:
            raise self._text.error(start, "tags are not used in a plan", f"Delete {event.tag[:40]}")
        self._nodes += 1
        if depth > _DEEPEST:
            raise self._text.error(start, f"this is nested deeper than {_DEEPEST} levels", unsafe=True)
        if self._nodes > _MOST_NODES:
            raise self._text.error(start, f"the file holds more than {_MOST_NODES:,} values", unsafe=True)
        if isinstance(event, yaml.ScalarEvent):
            return Scalar(start, _end(event), str(event.value), event.style or "")
        if isinstance(event, yaml.SequenceStartEvent):
            items = tuple(self._node(inner, depth + 1) for inner in self._until(yaml.SequenceEndEvent))
            return Listing(start, self._end, items)
        return self._block(start, depth)

    def _block(self, start: int, depth: int) -> Block:
        keys: dict[str, Scalar] = {}
        values: dict[str, Node] = {}
        for event in self._until(yaml.MappingEndEvent):
            key = self._node(event, depth + 1)
            if not isinstance(key, Scalar):
                raise self._text.error(key.start, "a key must be plain text", "Write one word before the colon")
            if key.text == "<<":
                raise self._text.error(key.start, "merge keys are not used in a plan", "Write the values out")
            if key.text in keys:
                line, _ = self._text.place(keys[key.text].start)
                message = f"the key {key.text[:60]!r} is there twice, first in line {line}"
                raise self._text.error(key.start, message, "Keep one of them")
            keys[key.text] = key
            values[key.text] = self._node(next(self._events), depth + 1)
        return Block(start, self._end, keys, values)

    def _until(self, end: Any) -> Iterator[Any]:
        for event in self._events:
            if isinstance(event, end):
                self._end = _end(event)
                return
            yield event

    def _safe_events(self) -> Iterator[Any]:
        try:
            yield from cast("Iterator[Any]", yaml.parse(self._text.text, Loader=_LOADER))
        except yaml.YAMLError as error:
            mark: Any = getattr(error, "problem_mark", None)
            at = min(mark.index if mark else 0, len(self._text.text))
            said = getattr(error, "problem", None) or "it cannot be read"
            raise self._text.error(at, f"this is no YAML: {said}", "Look at the indentation and the quotes") from None


def _at(event: Any) -> int:
    return int(event.start_mark.index)


def _end(event: Any) -> int:
    return int(event.end_mark.index)


def _find(node: Node | None, path: Sequence[str | int]) -> Scalar:
    for step in path:
        if isinstance(node, Block) and isinstance(step, str) and step in node.values:
            node = node.values[step]
        elif isinstance(node, Listing) and isinstance(step, int) and 0 <= step < len(node.items):
            node = node.items[step]
        else:
            raise LookupError(f"there is no {'.'.join(map(str, path))}")
    if not isinstance(node, Scalar):
        raise ValueError(f"{'.'.join(map(str, path))} is no single value")
    return node


def _tail(text: str, node: Scalar) -> str:
    """What follows a scalar; the line end that closes a block of lines belongs to what follows."""
    if node.style in ("|", ">"):
        return text[node.start + len(text[node.start : node.end].rstrip("\r\n")) :]
    return text[node.end :]


def _candidates(node: Scalar, new: str) -> Iterator[str]:
    """How the new text could be written in the place of the old one, the best way first."""
    space = " " if node.start == node.end else ""
    if "\n" not in new and not _ODD.search(new):
        if not node.style and new == new.strip() and new not in _ABSENT:
            yield space + new
        if node.style == "'":
            doubled = new.replace("'", "''")
            yield f"'{doubled}'"
    yield space + _quoted(new)


# What double quotes need a backslash for: the quote, the backslash, ends of lines and whatever cannot be seen.
_ODD = re.compile('["\\\\]|[^ -~\xa0-\u2027\u202a-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]')
_ESCAPES = {'"': r"\"", "\\": r"\\", "\n": r"\n", "\r": r"\r", "\t": r"\t"}


def _quoted(text: str) -> str:
    def escaped(found: re.Match[str]) -> str:
        code = ord(found[0])
        return _ESCAPES.get(found[0]) or (f"\\x{code:02x}" if code < 256 else f"\\u{code:04x}")

    return f'"{_ODD.sub(escaped, text)}"'
