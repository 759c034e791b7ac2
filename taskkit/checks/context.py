"""What the rules share about one set: worked out when first asked for, and once."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from taskkit.checks.rings import Polygon, is_place, measured
from taskkit.findings import Where
from taskkit.geometry.line import Array
from taskkit.taskdata.document import POINT, TASK_FILE, Element, Points, TaskData
from taskkit.taskdata.sets import SetReading
from taskkit.taskdata.store import Store
from taskkit.taskdata.version import Version

__all__ = ["AbLine", "FieldArea", "NamedFile", "SetContext"]

_BOUNDARY = "1"
_AB = "1"
_BINARY = re.compile(rb"\sJ\s*=")
_NAMING = (
    ("AFE", "A", "", "F"),
    ("XFR", "A", ".XML", None),
    ("GRD", "G", ".BIN", "H"),
    ("TLG", "A", ".XML", None),
    ("TLG", "A", ".BIN", "B"),
    (POINT, "J", ".BIN", "K"),
)
"""Element, the attribute that names a file, what is added to the name, the attribute that gives its length."""


@dataclass(frozen=True, slots=True)
class NamedFile:
    """A file that an element names.

    Attributes:
        element: the element.
        attribute: the attribute that names it.
        name: the file's full name.
        length_attribute: the attribute that gives its length, None where there is none.
    """

    element: Element
    attribute: str
    name: str
    length_attribute: str | None


@dataclass(frozen=True, slots=True, eq=False)
class FieldArea:
    """A field and the polygons that are its boundary."""

    element: Element
    boundary: tuple[Polygon, ...]


@dataclass(frozen=True, slots=True, eq=False)
class AbLine:
    """A guidance pattern of the type A-B that has a line.

    Attributes:
        pattern: the GPN.
        line: its LSG.
        count: how many points the line has.
        types: the point type of each, where there are two.
        lonlat: longitude and latitude in degrees, shape (n, 2), NaN where unreadable; n is 0 unless there are two.
        field: the field it belongs to.
    """

    pattern: Element
    line: Element
    count: int
    types: tuple[str, ...]
    lonlat: Array
    field: FieldArea | None

    @property
    def label(self) -> str:
        """What the driver reads, or else its identifier."""
        return (self.pattern.get("B") or self.pattern.get("A") or "")[:32]

    @property
    def is_measurable(self) -> bool:
        """Whether it has two points, both with a place."""
        return self.count == 2 and bool(is_place(self.lonlat).all())


class SetContext:
    """One set, as the rules see it.

    Args:
        reading: what came of reading it; its findings are left alone.

    Attributes:
        store: the files.
        version: the version it was held against.
    """

    def __init__(self, reading: SetReading) -> None:
        self.store: Store = reading.store
        self.version: Version = reading.version
        self._data = reading.data
        self._starts: dict[Points, npt.NDArray[np.int64]] = {}

    @property
    def is_readable(self) -> bool:
        """Whether the task file could be read."""
        return self._data is not None

    @property
    def data(self) -> TaskData:
        """The set itself; only for rules that need the task file.

        Raises:
            LookupError: the task file could not be read.
        """
        if self._data is None:
            raise LookupError("the task file could not be read")
        return self._data

    @property
    def task_file(self) -> str | None:
        """The name of the task file as it is written, None where there is none."""
        return next((name for name in self.store.names if name.upper() == TASK_FILE), None)

    def elements(self, tag: str) -> tuple[Element, ...]:
        """All elements of a tag in the task file, in order; points left out."""
        return self._by_tag.get(tag, ())

    def point(self, parent: Element, number: int) -> Callable[[], Where]:
        """The place in the file of a point, by its number from 0 in ``parent.lonlat()``; worked out when called."""

        def where() -> Where:
            begin = 0
            for run in parent.points():
                if number < begin + len(run):
                    offset = run.start + int(self._starts_of(run)[number - begin])
                    path = f"{parent.path()}/{POINT}[{run.first + number - begin + 1}]"
                    return Where(run.source.name, *run.source.position(offset), path)
                begin += len(run)
            return parent.where()

        return where

    def points_of(self) -> Iterator[tuple[Element, Array]]:
        """Every element that holds points, and their longitudes and latitudes, degrees, shape (n, 2)."""
        for element in self.data.main.walk():
            if next(element.points(), None) is not None:
                yield element, element.lonlat()

    @cached_property
    def polygons(self) -> tuple[Polygon, ...]:
        """Every polygon of the set, measured."""
        return tuple(measured(element) for element in self.elements("PLN"))

    @cached_property
    def fields(self) -> tuple[FieldArea, ...]:
        """Every field with its boundary."""
        by_parent: dict[Element | None, list[Polygon]] = {}
        for polygon in self.polygons:
            if (polygon.element.get("A") or "").strip() == _BOUNDARY:
                by_parent.setdefault(polygon.element.parent, []).append(polygon)
        return tuple(FieldArea(element, tuple(by_parent.get(element, ()))) for element in self.elements("PFD"))

    @cached_property
    def ab_lines(self) -> tuple[AbLine, ...]:
        """Every A-B line; those whose points stand in a binary file are left out."""
        fields = {field.element: field for field in self.fields}
        found = []
        for pattern in self.elements("GPN"):
            line = next(pattern.elements("LSG"), None)
            if line is None or (pattern.get("C") or "").strip() != _AB or _has_binary(line):
                continue
            home: Element | None = pattern
            while home is not None and home not in fields:
                home = home.parent
            count = sum(map(len, line.points()))
            types = tuple(kind.strip() for run in line.points() for kind in run.types()) if count == 2 else ()
            lonlat = line.lonlat() if count == 2 else np.empty((0, 2))
            found.append(AbLine(pattern, line, count, types, lonlat, None if home is None else fields[home]))
        return tuple(found)

    @cached_property
    def unmeasured(self) -> int:
        """How many rings and A-B lines have points without a place that can be measured."""
        lines = sum(line.count == 2 and not line.is_measurable for line in self.ab_lines)
        return lines + sum(polygon.unmeasured for polygon in self.polygons)

    @cached_property
    def named_files(self) -> tuple[NamedFile, ...]:
        """The files that the elements of the task file name."""
        found = []
        for tag, attribute, extension, length in _NAMING:
            elements = self._binary_points() if tag == POINT else iter(self.elements(tag))
            found += [
                NamedFile(element, attribute, name + extension, length)
                for element in elements
                if (name := (element.get(attribute) or "").strip())
            ]
        return tuple(found)

    @cached_property
    def _by_tag(self) -> dict[str, tuple[Element, ...]]:
        found: dict[str, list[Element]] = {}
        for element in self.data.main.walk():
            found.setdefault(element.tag, []).append(element)
        return {tag: tuple(elements) for tag, elements in found.items()}

    def _starts_of(self, run: Points) -> npt.NDArray[np.int64]:
        """Where in a run's bytes each point begins; a less-than sign can stand nowhere else in it."""
        if run not in self._starts:
            raw = np.frombuffer(run.raw, dtype=np.uint8)
            self._starts[run] = np.flatnonzero((raw[:-1] == ord("<")) & (raw[1:] != ord("/")))
        return self._starts[run]

    def _binary_points(self) -> Iterator[Element]:
        yield from self.elements(POINT)
        for element in self.data.main.walk():
            for run in element.points():
                if not run.canonical and _BINARY.search(run.raw):
                    yield from (point for point in run.elements() if point.get("J") is not None)


def _has_binary(line: Element) -> bool:
    return any(not run.canonical and _BINARY.search(run.raw) is not None for run in line.points())
