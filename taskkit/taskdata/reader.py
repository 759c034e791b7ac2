"""One XML file into elements and points, with exact places; it judges nothing but the form of the XML.

Two ways lead through a file, with the same result:

* Runs of canonical points, proved sound by a pattern made from the dictionary, are taken as one
  slice; only the first point of a run is shown to the XML parser, so that its surroundings hold.
* Everything else goes through the XML parser (expat), element by element.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Protocol
from xml.parsers import expat

from taskkit.errors import UnsafeInputError
from taskkit.findings import Finding, Severity, Where, kind
from taskkit.taskdata.dictionary import dictionary
from taskkit.taskdata.document import POINT, Child, Element, Points, Source, Verbatim
from taskkit.taskdata.types import canonical_pattern
from taskkit.taskdata.version import Version

__all__ = ["MAX_DEPTH", "MAX_ELEMENTS", "MAX_TAG_BYTES", "Reading", "Watch", "decode", "parse"]

MAX_DEPTH = 100
"""Deepest nesting that is read; the standard's own elements nest six deep."""
MAX_ELEMENTS = 1_000_000
"""Most elements, comments and runs of points that are kept; the points of a run are not counted."""
MAX_TAG_BYTES = 4 << 20
"""Longest tag, comment or instruction; the longest text that the standard allows has 255 characters."""
_BLOCK = 1 << 20
"""Bytes given to expat at a time; it reads an unfinished tag anew with each, so small blocks make it quadratic."""

NOT_WELL_FORMED = kind(
    "xml-not-well-formed",
    Severity.ERROR,
    "The file is not well-formed XML: {problem}.",
    hint="Look at that place: a bare & is written &amp;, a bare < is &lt;, and letters must be in the encoding that "
    "the file names. If the file ends there, copy it again, or write it again with the program that made it.",
    why="A terminal stops reading here: nothing of the file arrives.",
    source="XML 1.0",
)
DOCTYPE = kind(
    "xml-doctype-present",
    Severity.ERROR,
    "The file has a document type declaration; it was not read further.",
    hint="Write the file without <!DOCTYPE ...>: task data has no use for one, and entities can be used for attacks.",
    why="A careful terminal refuses such a file.",
    source="safety; common practice",
)
ENCODING = kind(
    "xml-encoding-unreadable",
    Severity.ERROR,
    "The text cannot be read in its encoding {encoding}: {problem}.",
    hint="Write the file in UTF-8.",
    why="A terminal stops reading, or shows broken names.",
    source="XML 1.0",
)


_BLANKS = " \t\r\n"
_ESCAPES = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;", "\r": "&#13;"})
_ENCODING = re.compile(rb"""<\?xml[^>]{0,200}?encoding\s*=\s*["']([A-Za-z0-9._-]{1,40})["']""")


class Watch(Protocol):
    """Somebody who looks at each element while it is read, so that points need not be kept."""

    def passes(self, parent: Element, pairs: Sequence[str]) -> bool:
        """Whether there is nothing to say of a point, so that it need not become an element.

        Args:
            parent: what holds it.
            pairs: its attributes: name, text, name, text and so on.
        """

    def enter(self, element: Element) -> None:
        """An element begins; a point that was passed is told only when it turns out to hold something."""

    def leave(self, element: Element, counts: Mapping[str, int]) -> None:
        """An element that was entered ends; ``counts`` tells how many children of each tag it has, points included."""

    def text(self, parent: Element) -> None:
        """There is text that is not white space inside an element."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What came of one file.

    Attributes:
        root: its root element; None when reading had to stop.
        stopped: why it had to stop.
        skeleton: the text without the proven points, for an XML Schema processor.
    """

    root: Element | None
    stopped: Finding | None
    skeleton: bytes


def decode(name: str, data: bytes) -> tuple[Source, Finding | None]:
    """The text of a file as UTF-8 without a byte order mark.

    Returns:
        the source (empty where the finding is given) and what prevented its reading.
    """
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encoding = "utf-16"
    else:
        declared = _ENCODING.match(data)
        encoding = declared[1].decode("ascii").lower() if declared else "utf-8"
    if encoding in ("utf-8", "utf8", "us-ascii") or data.startswith(codecs.BOM_UTF8):
        # Bytes that are no UTF-8 are left to expat, which names their place.
        return Source(name, data.removeprefix(codecs.BOM_UTF8)), None
    try:
        if encoding not in ("utf-16", "utf-16le", "utf-16be") and not encoding.startswith(("iso-8859-", "windows-125")):
            raise LookupError("unknown encoding")
        return Source(name, data.decode(encoding).encode("utf-8")), None
    except (LookupError, UnicodeError) as error:
        return Source(name, b""), ENCODING.at(Where(name), encoding=encoding, problem=str(error)[:100])


def parse(source: Source, *, watch: Watch | None = None, proof: Version | None = None, block: int = _BLOCK) -> Reading:
    """Read one file.

    Args:
        source: its text (see :func:`decode`).
        watch: is told of every element on the way.
        proof: the version whose dictionary proves runs of points; None sends every point the careful way.
        block: bytes given to the XML parser at a time.

    Raises:
        UnsafeInputError: nested deeper than ``MAX_DEPTH``, more than ``MAX_ELEMENTS`` elements, or a tag longer
            than ``MAX_TAG_BYTES``.
    """
    return _Parse(source, watch, block).run(proof)


@cache
def _runs(version: Version) -> re.Pattern[bytes]:
    """Finds, from left to right, what hides text from the eye (comments, CDATA, instructions) and runs of points."""
    point = dictionary(version).elements[POINT].attributes
    attributes = " ".join(f'{code}="{canonical_pattern(point[code])}"' for code in "ACD")
    one = rf"{POINT} {attributes} ?/>"
    # What does not end hides the rest; without that, each beginning would be looked for an end anew.
    hidden = r"!--.*?(?:-->|\Z)|!\[CDATA\[.*?(?:\]\]>|\Z)|\?.*?(?:\?>|\Z)"
    return re.compile(rf"<(?:{hidden}|(?P<first>{one})(?P<rest>(?:[ \t\r\n]*+<{one})*+))".encode(), re.DOTALL)


@cache
def _homes(version: Version) -> frozenset[str]:
    """The elements that may hold any number of points."""
    rules = ((e.code, e.children.get(POINT)) for e in dictionary(version).elements.values())
    return frozenset(code for code, rule in rules if rule is not None and rule.maximum is None)


class _Stop(Exception):  # noqa: N818 - not an error: it leaves expat's callbacks
    def __init__(self, found: Finding) -> None:
        self.found = found


_Passed = tuple[int, int, list[str]]
"""Offset, ordinal and attributes of a point."""


class _Parse:
    """The state of one pass through one file."""

    def __init__(self, source: Source, watch: Watch | None, block: int) -> None:
        self.source = source
        self.watch = watch
        self.block = block
        self.root: Element | None = None
        self.stack: list[Element] = []
        self.ordinals: list[dict[str, int]] = []
        self.kept = 0
        self.texts: list[str] = []  # expat tells long text in pieces
        self.fed = 0
        self.removed = 0  # bytes of proven points that expat has not seen
        self.skeleton: list[bytes] = []
        # The point that is open and holds nothing so far: its element, or, if it was passed, what makes one.
        self.loose: Element | None = None
        self.passed: _Passed | None = None
        self.first_of_run = -1
        self.run_is_live = False
        self.homes: frozenset[str] = frozenset()
        self.parser = expat.ParserCreate("UTF-8")
        self.parser.buffer_text = True
        self.parser.ordered_attributes = True
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._text
        self.parser.CommentHandler = self._comment
        self.parser.ProcessingInstructionHandler = self._instruction
        self.parser.StartDoctypeDeclHandler = self._doctype
        if hasattr(self.parser, "SetReparseDeferralEnabled"):
            # A callback must come before the next bytes are fed: places depend on it.
            self.parser.SetReparseDeferralEnabled(False)

    def run(self, proof: Version | None) -> Reading:
        try:
            if proof is None:
                self._feed(0, len(self.source.data))
            else:
                self.homes = _homes(proof)
                self._feed_around_runs(_runs(proof))
            self.parser.Parse(b"", True)
        except _Stop as stop:
            return Reading(None, stop.found, b"")
        except expat.ExpatError as error:
            offset = min(max(self.parser.ErrorByteIndex, 0) + self.removed, len(self.source.data))
            where = Where(self.source.name, *self.source.position(offset))
            return Reading(None, NOT_WELL_FORMED.at(where, problem=expat.ErrorString(error.code)), b"")
        return Reading(self.root, None, b"".join(self.skeleton))

    def _feed(self, start: int, end: int) -> None:
        data = self.source.data
        for begin in range(start, end, self.block):
            piece = data[begin : min(begin + self.block, end)]
            self.skeleton.append(piece)
            self.parser.Parse(piece, False)
            self.fed += len(piece)
            if self.fed - self.parser.CurrentByteIndex > MAX_TAG_BYTES:
                raise self._unsafe(f"a tag or comment is longer than {MAX_TAG_BYTES >> 20} MiB")

    def _feed_around_runs(self, runs: re.Pattern[bytes]) -> None:
        done = 0
        for match in runs.finditer(self.source.data):
            if match["first"] is None:
                continue
            start, first_end, end = match.start(), match.end("first"), match.end()
            self._feed(done, start)
            self.first_of_run, self.run_is_live = start, False
            self._feed(start, first_end)
            self.first_of_run = -1
            if self.run_is_live:
                self._take_run(start, first_end, end)
                self.run_is_live = False
            else:
                self._feed(first_end, end)
            done = end
        self._feed(done, len(self.source.data))

    def _take_run(self, start: int, first_end: int, end: int) -> None:
        parent, ordinals = self.stack[-1], self.ordinals[-1]
        count = self.source.data.count(b"/>", start, end)
        points = Points(self.source, start, end, count, canonical=True, parent=parent, first=ordinals[POINT] - 1)
        ordinals[POINT] += count - 1
        self._keep(parent, points)
        self.removed += end - first_end

    def _start(self, tag: str, pairs: list[str]) -> None:
        if self.texts:
            self._end_text()
        if self.passed is not None:
            self._open_passed()
        offset = self.parser.CurrentByteIndex + self.removed
        ordinal = 0
        if self.stack:
            ordinals = self.ordinals[-1]
            ordinal = ordinals[tag] = ordinals.get(tag, 0) + 1
            if tag == POINT:
                parent = self.stack[-1]
                self.run_is_live = offset == self.first_of_run and parent.tag in self.homes
                if len(self.stack) < MAX_DEPTH and (self.watch is None or self.watch.passes(parent, pairs)):
                    if parent is self.loose:
                        self._attach(parent)
                    self.passed = (offset, ordinal, pairs)
                    return
        self._enter(tag, offset, ordinal, pairs)

    def _enter(self, tag: str, offset: int, ordinal: int, pairs: list[str]) -> None:
        stack = self.stack
        element = Element(tag, source=self.source, offset=offset)
        element.attributes = dict(zip(pairs[::2], pairs[1::2], strict=True))
        element.ordinal = ordinal
        if stack:
            parent = element.parent = stack[-1]
            if parent is self.loose:
                self._attach(parent)
            if tag == POINT:
                self.loose = element
            else:
                self._attach(element)
        else:
            self.root = element
        if len(stack) >= MAX_DEPTH:
            raise self._unsafe(f"elements are nested more than {MAX_DEPTH} deep")
        stack.append(element)
        self.ordinals.append({})
        if self.watch:
            self.watch.enter(element)

    def _open_passed(self) -> None:
        """Make an element after all of a point that was passed, for it holds something."""
        assert self.passed is not None
        offset, ordinal, pairs = self.passed
        self.passed = None
        self._enter(POINT, offset, ordinal, pairs)

    def _end(self, _tag: str) -> None:
        if self.texts:
            self._end_text()
        if self.passed is not None:
            offset, ordinal, _ = self.passed
            self.passed = None
            if not self.run_is_live:
                self._take_point(offset, ordinal)
            return
        element = self.stack.pop()
        counts = self.ordinals.pop()
        if self.watch:
            self.watch.leave(element, counts)
        if element is self.loose:
            self.loose = None
            if not self.run_is_live:
                self._take_point(element.offset, element.ordinal)

    def _take_point(self, offset: int, ordinal: int) -> None:
        """Add a point that holds nothing to the slice before it, or begin a slice."""
        data, parent = self.source.data, self.stack[-1]
        end = self.parser.CurrentByteIndex + self.removed
        if data[end - 2 : end] != b"/>":  # expat stands at the closing tag
            end = data.index(b">", end) + 1
        last = parent.children[-1] if parent.children else None
        if type(last) is Points and not last.canonical:
            last.end = end
            last.count += 1
            return
        points = Points(self.source, offset, end, 1, canonical=False, parent=parent, first=ordinal - 1)
        self._keep(parent, points)

    def _attach(self, element: Element) -> None:
        """Keep an element: every one but a point that holds nothing."""
        assert element.parent is not None
        if element is self.loose:
            self.loose = None
        self._keep(element.parent, element)

    def _keep(self, parent: Element, child: Child) -> None:
        parent.children.append(child)
        self.kept += 1
        if self.kept > MAX_ELEMENTS:
            raise self._unsafe(f"more than {MAX_ELEMENTS:,} elements, comments and runs of points")

    def _verbatim(self, raw: str) -> None:
        if self.stack:
            if self.passed is not None:
                self._open_passed()
            parent = self.stack[-1]
            if parent is self.loose:
                self._attach(parent)
            self._keep(parent, Verbatim(raw.encode()))

    def _text(self, data: str) -> None:
        if self.texts or data.strip(_BLANKS):
            self.texts.append(data)

    def _end_text(self) -> None:
        text = "".join(self.texts).strip(_BLANKS)
        self.texts.clear()
        if self.passed is not None:
            self._open_passed()
        if self.watch:
            self.watch.text(self.stack[-1])
        self._verbatim(text.translate(_ESCAPES))

    def _comment(self, data: str) -> None:
        if self.texts:
            self._end_text()
        self._verbatim(f"<!--{data}-->")

    def _instruction(self, target: str, data: str) -> None:
        if self.texts:
            self._end_text()
        self._verbatim(f"<?{target} {data}?>")

    def _doctype(self, *_: object) -> None:
        # expat stands behind the name already.
        begin = self.source.data.rfind(b"<!DOCTYPE", 0, self.parser.CurrentByteIndex + self.removed)
        line, column = self.source.position(begin)
        raise _Stop(DOCTYPE.at(Where(self.source.name, line, column)))

    def _unsafe(self, message: str) -> UnsafeInputError:
        line, column = self.source.position(max(self.parser.CurrentByteIndex, 0) + self.removed)
        return UnsafeInputError(message, path=self.source.name, line=line, column=column)
