"""Guidance lines: groups of patterns, each a line of the plan with what follows from it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import Any
from uuid import UUID

from taskkit.findings import Severity, kind
from taskkit.geometry.line import Part
from taskkit.mapping.identity import GROUP, LINE, Ids, Uuids, group_named, group_of
from taskkit.mapping.known import Known
from taskkit.mapping.ledger import Noticed
from taskkit.mapping.patterns import CURVE, STRAIGHT, as_written, read_form, write_form
from taskkit.mapping.polygons import read_parts, write_polygon
from taskkit.mapping.reading import Reading
from taskkit.mapping.texts import became, fitted, unique_in
from taskkit.mapping.units import (
    allowed,
    length_of_millimetres,
    millimetres,
    millimetres_rounding,
    positions,
    read_whole,
)
from taskkit.plan.choices import lines_of
from taskkit.plan.model import Extension, Field, GuidanceLine, Plan, Propagation
from taskkit.taskdata.document import Element

__all__ = ["LineReader", "write_groups", "write_pattern"]

NO_SPACING = kind(
    "guidance-spacing-missing",
    Severity.WARNING,
    "The guidance line {name} has no spacing that can be read; the plan gives it 0 m.",
    hint="Write the spacing between its passes into the plan.",
    why="Passes over the field cannot be laid out without it.",
    source="ISO 11783-10, line string width (recalled)",
)

_GUIDANCE = "5"
_LIMIT = "8"
"""The type of a polygon that bounds a pattern: other. It is no boundary of the field."""
_PROPAGATION: Mapping[str, Propagation] = MappingProxyType(
    {"1": Propagation.BOTH, "2": Propagation.LEFT, "3": Propagation.RIGHT, "4": Propagation.NONE}
)
_EXTENSION: Mapping[str, Extension] = MappingProxyType(
    {"1": Extension.BOTH, "2": Extension.FROM_A, "3": Extension.FROM_B, "4": Extension.NONE}
)
_WORDS: Sequence[tuple[str, str, Mapping[str, Any]]] = (
    ("propagation", "E", _PROPAGATION),
    ("extension", "F", _EXTENSION),
)
_OF_FORM: Mapping[str, str] = MappingProxyType({"2": "G", "4": "DH"})
"""The attributes that only one form of pattern has."""
_COUNTS: Mapping[str, str] = MappingProxyType({"passes_left": "N", "passes_right": "O"})


def write_groups(plan: Plan, field: Field, ids: Ids, noticed: Noticed) -> Iterator[Element]:
    """The GGP of a field: one for each group of its lines, and one for each line without."""
    lines = lines_of(plan, field)
    shared = {line.uuid for line in plan.shared_lines}
    groups: dict[UUID, list[tuple[GuidanceLine, str]]] = {}
    for line, name in zip(lines, fitted(lines, "GPN", "B"), strict=True):
        groups.setdefault(group_of(field, line), []).append((line, name))
    words = list(dict.fromkeys(line.group for line in lines if line.group is not None))
    fits = dict(zip(words, unique_in(words, "GGP", "B"), strict=True))
    for uuid, members in groups.items():
        word = members[0][0].group
        group = Element("GGP", {"A": ids.of(GROUP, uuid), "B": members[0][1] if word is None else fits[word]})
        for line, name in members:
            path = "shared_lines" if line.uuid in shared else "fields.lines"
            if word is not None and fits[word] != word:
                noticed.approximated(f"{path}.group", line.uuid, became(word, fits[word]))
            if name != line.name:
                noticed.approximated(f"{path}.name", line.uuid, became(line.name, name))
            group.add(write_pattern(line, ids.of(LINE, line.uuid), noticed, path=path, name=name))
        yield group


def write_pattern(line: GuidanceLine, identifier: str, noticed: Noticed, *, path: str, name: str) -> Element:
    """A GPN: the form of the line, its spacing in millimetres, and where passes lie beside and beyond it.

    Args:
        line: a line that can be written.
        identifier: that of the pattern.
        noticed: is told of roundings, and of what cannot be held.
        path: path of the line's leaves.
        name: what the pattern is called.
    """
    line = as_written(line, path, noticed)
    form, points = write_form(line, path, noticed)
    given = {"A": identifier, "B": name, **form}
    for member, code, words in _WORDS:
        given[code] = next(text for text, word in words.items() if word is getattr(line, member))
    for member, code in _COUNTS.items():
        count = getattr(line, member)
        if count is not None and allowed("GPN", code, count):
            given[code] = str(count)
        elif count is not None:
            noticed.not_carried(f"{path}.{member}", line.uuid, f"{count} is beyond what the standard can hold")
    pattern = Element("GPN", dict(sorted(given.items())))
    string = Element("LSG", {"A": _GUIDANCE})
    if allowed("LSG", "C", spacing_mm := millimetres(line.spacing)):
        string.attributes["C"] = str(spacing_mm)
        noticed.rounded("spacing", millimetres_rounding(line.spacing), "mm")
    else:
        noticed.not_carried(f"{path}.spacing", line.uuid, f"{line.spacing} is beyond what the standard can hold")
    string.add(points)
    pattern.add(string)
    for part in line.limit or ():
        pattern.add(write_polygon(part, noticed, kind=_LIMIT))
    return pattern


class LineReader:
    """Reads the guidance lines of one set.

    Args:
        uuids: gives each line its UUID.
        attached: UUID of a line -> what HEADLAND.XML says of it.
        known: is told of the lines.
        reading: is told what is broken, and what the plan has no word for.
    """

    def __init__(
        self, uuids: Uuids, attached: Mapping[UUID, Mapping[str, Any]], known: Known, reading: Reading
    ) -> None:
        self._uuids = uuids
        self._attached = attached
        self._known = known
        self._reading = reading

    def group(
        self, group: Element, *, field: UUID, derived: Callable[[UUID, Element], bool]
    ) -> tuple[GuidanceLine, ...]:
        """The lines of a GGP of a field.

        Args:
            group: the GGP.
            field: the field.
            derived: tells of a field and a pattern whether it follows from the plan, and is no line of it.
        """
        self._reading.beyond_attributes(group, ("A", "B"))
        name = group.get("B")
        limit: list[Part] = []
        for child in group.elements():
            if child.tag == "PLN":
                limit += self._limit(child)
            elif child.tag != "GPN":
                self._reading.beyond_element(child)
        patterns = [pattern for pattern in group.elements("GPN") if not derived(field, pattern)]
        read = [(pattern.get("A"), self._pattern(pattern, name, tuple(limit))) for pattern in patterns]
        lines = [line for _, line in read if line]
        self._known.put_lines(group, [(identifier, line.uuid) for identifier, line in read if line])
        is_of_one = len(patterns) == 1 and len(lines) == 1 and name in (None, lines[0].name)
        # A group of one may have the name of its line; otherwise it only stands round it.
        if is_of_one and self._uuids.linked(group.get("A")) != group_named(field, name or ""):
            return tuple(lines)
        word = group.get("A") or group.tag if name is None else name
        return tuple(line.model_copy(update={"group": word}) for line in lines)

    def string(self, string: Element) -> GuidanceLine | None:
        """The line that a line string directly under a field stands for, as in version 3: straight, or a curve."""
        self._reading.beyond_line(string, ("A", "B", "C", "D", "F"))
        form = STRAIGHT if len(positions(string)) <= 2 else CURVE
        return self._line(string, string, form, string.get("F"), string.get("B"), {})

    def _pattern(self, pattern: Element, group_name: str | None, limit: tuple[Part, ...]) -> GuidanceLine | None:
        form = (pattern.get("C") or "").strip()
        understood = ["A", "B", "C", *_OF_FORM.get(form, "")]
        members: dict[str, Any] = {}
        for member, code, words in _WORDS:
            if word := words.get((pattern.get(code) or "").strip()):
                members[member] = word
                understood.append(code)
        for member, code in _COUNTS.items():
            if (count := read_whole(pattern, code)) is not None:
                members[member] = count
                understood.append(code)
        self._reading.beyond_attributes(pattern, understood)
        string = next(pattern.elements("LSG"), None)
        own: list[Part] = []
        for child in pattern.elements():
            if child.tag == "PLN":
                own += self._limit(child)
            elif child is not string:
                self._reading.beyond_element(child)
        members["limit"] = tuple(own) or limit or None
        if string is None:
            self._reading.left_out(pattern, "it has no line string")
            return None
        self._reading.beyond_line(string, ("A", "C", "D"))
        name = pattern.get("B")
        return self._line(pattern, string, form, pattern.get("A"), group_name if name is None else name, members)

    def _line(
        self,
        owner: Element,
        string: Element,
        form: str,
        identifier: str | None,
        name: str | None,
        members: Mapping[str, Any],
    ) -> GuidanceLine | None:
        try:
            cls, shape = read_form(owner, string, form, self._reading)
        except LookupError:
            self._reading.beyond(f"GPN (guidance pattern of type {form[:9] or 'unknown'})", owner)
            return None
        except ValueError as error:
            self._reading.left_out(owner, str(error), what=identifier)
            return None
        name = identifier or owner.tag if name is None else name
        spacing_mm = read_whole(string, "C")
        if spacing_mm is None:
            self._reading.found(NO_SPACING, string, name=name[:60])
        spacing = length_of_millimetres(spacing_mm or 0)
        uuid = self._uuids.take(owner, identifier)
        return cls(uuid=uuid, name=name, spacing=spacing, **shape, **members, **self._attached.get(uuid, {}))

    def _limit(self, polygon: Element) -> list[Part]:
        self._reading.beyond_attributes(polygon, ("A", "C"))
        parts = read_parts(polygon, self._reading)
        if not parts:
            self._reading.left_out(polygon, "it has no ring that can be read", what="The limit of a guidance pattern")
        return parts
