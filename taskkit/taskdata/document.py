"""A set of task data in memory: elements with their attribute text as it was written, points as slices of bytes.

Nothing here knows what an element means. A set of half a million points holds a few
thousand :class:`Element` objects and no object for a point: neighbouring points are one
:class:`Points`, which is a slice of the file's bytes and reads its columns from there when asked.
"""

from __future__ import annotations

import bisect
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from xml.parsers import expat

import numpy as np
import orjson

from taskkit.findings import Where
from taskkit.geometry.line import Array

__all__ = ["LINK_FILE", "POINT", "TASK_FILE", "Child", "Element", "Points", "Source", "TaskData", "Verbatim"]

TASK_FILE = "TASKDATA.XML"
LINK_FILE = "LINKLIST.XML"
POINT = "PNT"

_STRIDE = 1 << 12

# Leaves digits, signs and dots of a canonical run, and commas between its numbers:
# <PNT A="2" C="54.1" D="9.5"/> becomes 2,54.1,9.5 with blanks around.
_TO_NUMBERS = bytes(b if b in b"0123456789.-" else ord(",") if b in b"CD/" else ord(" ") for b in range(256))


class Source:
    """The text of one file, in UTF-8 without a byte order mark, and where its lines begin."""

    __slots__ = ("_inner", "_lines", "data", "name")

    def __init__(self, name: str, data: bytes) -> None:
        self.name = name
        self.data = data
        self._lines: list[int] | None = None
        self._inner: list[int] | None = None

    def position(self, offset: int) -> tuple[int, int]:
        """The 1-based line and the 1-based column, in characters, of a byte offset."""
        if self._lines is None:
            breaks = np.flatnonzero(np.frombuffer(self.data, dtype=np.uint8) == ord("\n"))
            self._lines = [0, *(breaks + 1).tolist()]
        line = bisect.bisect_right(self._lines, offset)
        begin = self._lines[line - 1]
        if offset - begin <= _STRIDE:
            return line, len(self.data[begin:offset].decode("utf-8", "replace")) + 1
        return line, offset - begin - self._inner_bytes(offset) + self._inner_bytes(begin) + 1

    def _inner_bytes(self, offset: int) -> int:
        """How many bytes before an offset go on with a character; quick, so that a file of one line is no burden."""
        data = np.frombuffer(self.data, dtype=np.uint8)
        if self._inner is None:
            starts = np.arange(0, max(len(data), 1), _STRIDE)
            each = np.add.reduceat((data & 0xC0) == 0x80, starts, dtype=np.int64)
            self._inner = [0, *np.cumsum(each).tolist()]
        strides = offset // _STRIDE
        return self._inner[strides] + int(np.count_nonzero((data[strides * _STRIDE : offset] & 0xC0) == 0x80))


@dataclass(frozen=True, slots=True)
class Verbatim:
    """Text, a comment or an instruction between elements: no data of the standard, kept but for blanks around text."""

    raw: bytes


class Element:
    """One element: its attributes as text in the order they were written, and what it holds, in order.

    Attributes:
        tag: the element's name.
        attributes: name -> text, unescaped, in the order of the file.
        children: elements, points and verbatim pieces, in order.
        parent: the element that holds it, None for a root.
        source: the file that it was read from, None where we made it.
        offset: byte offset of its ``<`` in the source, -1 where we made it.
        ordinal: its place among the siblings of its tag, from 1; 0 where the reader did not count it.
    """

    __slots__ = ("attributes", "children", "offset", "ordinal", "parent", "source", "tag")

    def __init__(
        self,
        tag: str,
        attributes: Mapping[str, str] | None = None,
        *,
        parent: Element | None = None,
        source: Source | None = None,
        offset: int = -1,
    ) -> None:
        self.tag = tag
        self.attributes: dict[str, str] = dict(attributes or {})
        self.children: list[Child] = []
        self.parent = parent
        self.source = source
        self.offset = offset
        self.ordinal = 0

    def add(self, child: Child) -> None:
        """Append a child and make this its parent."""
        if isinstance(child, Element):
            child.parent = self
        self.children.append(child)

    def get(self, code: str) -> str | None:
        """The text of an attribute, None where it is absent."""
        return self.attributes.get(code)

    def elements(self, tag: str | None = None) -> Iterator[Element]:
        """The child elements (of one tag), points left out."""
        return (c for c in self.children if isinstance(c, Element) and (tag is None or c.tag == tag))

    def points(self) -> Iterator[Points]:
        """The runs of points among the children."""
        return (c for c in self.children if isinstance(c, Points))

    def walk(self) -> Iterator[Element]:
        """This element and all elements below it in the order of the file, points left out."""
        stack = [self]
        while stack:
            element = stack.pop()
            yield element
            stack.extend(reversed(list(element.elements())))

    def lonlat(self) -> Array:
        """All points among the children: longitude and latitude in degrees, shape (n, 2), NaN where unreadable."""
        runs = [run.lonlat() for run in self.points()]
        return np.concatenate(runs) if runs else np.empty((0, 2))

    def point_elements(self) -> Iterator[Element]:
        """Each point among the children as a short-lived element."""
        for run in self.points():
            yield from run.elements()

    def path(self) -> str:
        """Where it stands, e.g. ``/ISO11783_TaskData/PFD[2]/PLN[1]``; ordinals count siblings of its tag from 1."""
        if self.parent is None:
            return f"/{self.tag}"
        ordinal = self.ordinal or next(n for n, twin in enumerate(self.parent.elements(self.tag), 1) if twin is self)
        return f"{self.parent.path()}/{self.tag}[{ordinal}]"

    def where(self, attribute: str | None = None) -> Where:
        """The place of this element, or of one of its attributes, for a finding."""
        if self.source is None:
            return Where(None, None, None, self.path(), self.identity)
        offset = self.offset if attribute is None else self._attribute_offset(attribute)
        return Where(self.source.name, *self.source.position(offset), self.path(), self.identity)

    @property
    def identity(self) -> str | None:
        """The identifier that the data gives it (its tag and a number), None where it has none."""
        texts = (self.attributes.get("A"), *self.attributes.values())
        return next((t for t in texts if t and t.startswith(self.tag) and _NUMBER.fullmatch(t, len(self.tag))), None)

    def _attribute_offset(self, name: str) -> int:
        assert self.source is not None
        data, at = self.source.data, self.offset + 1 + len(self.tag.encode())
        while match := _ATTRIBUTE.match(data, at):
            if match[1] == name.encode():
                return match.start(1)
            at = match.end()
        return self.offset

    def __repr__(self) -> str:
        return f"<{self.tag} {self.attributes}>"


class Points:
    """Neighbouring points that hold nothing: a slice of a file's bytes.

    Attributes:
        source: the text.
        start: byte offset of the first ``<``.
        end: byte offset behind the last ``>``.
        count: how many points.
        canonical: whether each is exactly ``<PNT A="." C="." D="."/>`` with sound values, so that
            the columns can be taken in bulk.
        parent: the element that holds them.
        first: how many points of the parent come before, over all its runs.
    """

    __slots__ = ("canonical", "count", "end", "first", "parent", "source", "start")

    def __init__(
        self,
        source: Source,
        start: int,
        end: int,
        count: int,
        *,
        canonical: bool,
        parent: Element | None = None,
        first: int = 0,
    ) -> None:
        self.source = source
        self.start = start
        self.end = end
        self.count = count
        self.canonical = canonical
        self.parent = parent
        self.first = first

    @property
    def raw(self) -> bytes:
        """The bytes as they stand in the source."""
        return self.source.data[self.start : self.end]

    def __len__(self) -> int:
        return self.count

    def lonlat(self) -> Array:
        """Longitude and latitude in degrees, shape (n, 2); NaN where a value is missing or no number."""
        if self.canonical:
            return self._columns()[:, [2, 1]]
        pairs = [(_degrees(p.get("D")), _degrees(p.get("C"))) for p in self.elements()]
        return np.array(pairs, dtype=np.float64).reshape(-1, 2)

    def types(self) -> list[str]:
        """The point type (attribute A) of each, as text; empty where missing."""
        if self.canonical:
            return [str(int(a)) for a in self._columns()[:, 0]]
        return [p.get("A") or "" for p in self.elements()]

    def _columns(self) -> Array:
        numbers = self.raw.translate(_TO_NUMBERS)
        # Each point gave ",C,D,": drop the last comma, and the list is flat.
        flat = orjson.loads(b"[" + numbers.rstrip()[:-1] + b"]")
        return np.array(flat, dtype=np.float64).reshape(-1, 3)

    def elements(self) -> Iterator[Element]:
        """Each point as an element of its own, with its exact text and place; made on the way, kept nowhere."""
        found: list[Element] = []
        parser = expat.ParserCreate("UTF-8")
        parser.buffer_text = True
        parser.ordered_attributes = True
        head = b"<_>"

        ordinal = self.first

        def start(tag: str, attributes: list[str]) -> None:
            nonlocal ordinal
            if tag != "_":
                pairs = dict(zip(attributes[::2], attributes[1::2], strict=True))
                place = self.start + parser.CurrentByteIndex - len(head)
                point = Element(tag, pairs, parent=self.parent, source=self.source, offset=place)
                point.ordinal = ordinal = ordinal + 1
                found.append(point)

        parser.StartElementHandler = start
        parser.Parse(head, False)
        raw = memoryview(self.source.data)[self.start : self.end]
        for begin in range(0, len(raw), 1 << 16):
            parser.Parse(bytes(raw[begin : begin + (1 << 16)]), False)
            yield from found
            found.clear()
        parser.Parse(b"</_>", True)
        yield from found

    def __repr__(self) -> str:
        return f"<{self.count} points>"


Child = Element | Points | Verbatim


@dataclass(slots=True)
class TaskData:
    """One set: what its XML files say, and the other files of its folder, untouched.

    Attributes:
        main: root of ``TASKDATA.XML``.
        links: root of ``LINKLIST.XML``, if there is one.
        companions: name -> bytes of every other file in the folder.
    """

    main: Element
    links: Element | None = None
    companions: Mapping[str, bytes] = field(default_factory=dict)


_NUMBER = re.compile(r"-?[0-9]+")
_ATTRIBUTE = re.compile(rb"""[ \t\r\n]+([^ \t\r\n=]+)[ \t\r\n]*=[ \t\r\n]*(?:"[^"]*"|'[^']*')""")
_DECIMAL = re.compile(r"[ \t\r\n]*[-+]?(\d+(\.\d*)?|\.\d+)[ \t\r\n]*", re.ASCII)


def _degrees(text: str | None) -> float:
    return float(text) if text is not None and _DECIMAL.fullmatch(text) else math.nan
