"""What follows from the headland of a field: main field, headland and headland passes, written and recognised."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TypeAlias
from uuid import UUID

import numpy as np

from taskkit.errors import InputError, RefusedError
from taskkit.findings import Fact, Finding, Kind, Severity, Where, kind
from taskkit.geometry.geodesy import area_m2
from taskkit.geometry.headland_passes import Change, RingChange
from taskkit.geometry.line import LonLatLine, MetreLine, Part
from taskkit.headland import HeadlandLayout, LaidPass, lay_out
from taskkit.mapping.guidance import write_pattern
from taskkit.mapping.identity import (
    FIELD,
    HEADLAND,
    HEADLAND_PASS,
    HEADLAND_PASSES,
    MAIN_FIELD,
    TAGS,
    Ids,
    Uuids,
    chosen,
)
from taskkit.mapping.ledger import Noticed
from taskkit.mapping.patterns import CURVE
from taskkit.mapping.polygons import area_text, write_polygon
from taskkit.plan.choices import spacing_of
from taskkit.plan.headlands import Depth, Headland, depth_m
from taskkit.plan.identity import Identified, derived
from taskkit.plan.model import BoundaryChoice, CurvedLine, Extension, Field, Plan, Propagation
from taskkit.plan.quantities import Length
from taskkit.taskdata.document import TASK_FILE, Element

__all__ = ["Headlands", "Recogniser", "laid_out", "recogniser"]

NOT_LAID_OUT = kind(
    "headland-not-laid-out",
    Severity.WARNING,
    "The task data has no main field, headland and headland passes of the field {name}: {reason}.",
    hint="{remedy}.",
    why="A terminal that would take them from the set gets none, and builds its own from a depth that is keyed in.",
    source="common practice",
)
NO_MAIN_FIELD = kind(
    "main-field-missing",
    Severity.WARNING,
    "No main field is left of the field {name}{after}.",
    hint="Make its headland shallower, or work the field in headland passes only.",
    why="There is no ground on which a pass could begin or end.",
    source="taskkit's own construction: all points at least as far from each side as its headland is deep",
)
SPLIT = kind(
    "ground-split-by-headland",
    Severity.NOTE,
    "At headland pass {number} of the field {name} the ground falls into {pieces} pieces, near latitude {lat_deg}, "
    "longitude {lon_deg}.",
    hint="See whether the machine can get from one piece to the other.",
    why="From there on each piece has headland passes of its own.",
    source="taskkit's own construction of headland passes",
)
USED_UP = kind(
    "ground-used-up-by-headland",
    Severity.NOTE,
    "A piece of the field {name} has no room for headland pass {number}, near latitude {lat_deg}, longitude {lon_deg}.",
    hint="See whether headland passes alone work that piece.",
    why="The depth asks for more headland passes than there are, and no main field is left there.",
    source="taskkit's own construction of headland passes",
)

Recogniser: TypeAlias = Callable[[UUID, Element], bool]
"""Tells of a field and an element of it whether it follows from the headland, and is nothing of the plan's own."""

_TYPES = {MAIN_FIELD: "9", HEADLAND: "10"}
_TITLES = {MAIN_FIELD: "Main field", HEADLAND: "Headland", HEADLAND_PASSES: "Headland passes"}
_TOLD = {Change.SPLITS: SPLIT, Change.VANISHES: USED_UP}
_GAP = 16
"""So many in a row may be known no more; what comes after is recognised no more either."""
_REMEDY = "Correct the headland or the outline in the plan"


@dataclass(frozen=True, slots=True)
class _Told:
    """A finding that waits for the identifier of its field."""

    kind: Kind
    field: Field
    facts: Mapping[str, Fact]


@dataclass(frozen=True, slots=True)
class Headlands:
    """How the fields of a plan are divided; those whose headland has no depth, or cannot be laid out, are left out.

    The objects are derived: each has a UUID that follows from that of its field, its role and its place among others.
    """

    _layouts: Mapping[UUID, HeadlandLayout] = field(default_factory=dict)
    _spacings: Mapping[UUID, Length | None] = field(default_factory=dict)
    _told: tuple[_Told, ...] = ()

    def numbered(self, plan: Plan) -> Iterator[Identified]:
        """The derived objects, in the order of the set."""
        for one in plan.fields:
            layout = self._layouts.get(one.uuid)
            if layout is None:
                continue
            for role, parts in _areas(layout).items():
                for ordinal, title in enumerate(_titles(role, len(parts))):
                    yield Identified(role, derived(one.uuid, role, ordinal), f"{one.name}, {title}")
            if layout.passes:
                yield Identified(HEADLAND_PASSES, derived(one.uuid, HEADLAND_PASSES), f"{one.name}, headland passes")
            for ordinal, name in enumerate(_names(layout.passes)):
                yield Identified(HEADLAND_PASS, derived(one.uuid, HEADLAND_PASS, ordinal), f"{one.name}, {name}")

    def write(self, one: Field, ids: Ids) -> Iterator[Element]:
        """The derived elements of a field: its polygons, then the group of its headland passes."""
        if one.uuid not in self._layouts:
            return
        layout, spacing = self._layouts[one.uuid], self._spacings[one.uuid]
        # What is rounded here is no leaf of the plan; the ledger does not speak of it.
        noticed = Noticed()
        for role, parts in _areas(layout).items():
            for ordinal, (part, title) in enumerate(zip(parts, _titles(role, len(parts)), strict=True)):
                yield write_polygon(
                    part,
                    noticed,
                    kind=_TYPES[role],
                    name=title,
                    area=area_text(area_m2([part]), "PLN", "C", noticed),
                    identifier=ids.of(role, derived(one.uuid, role, ordinal)),
                )
        if not layout.passes or spacing is None:
            return
        number = ids.of(HEADLAND_PASSES, derived(one.uuid, HEADLAND_PASSES))
        group = Element(TAGS[HEADLAND_PASSES], {"A": number, "B": _TITLES[HEADLAND_PASSES]})
        for ordinal, (laid, name) in enumerate(zip(layout.passes, _names(layout.passes), strict=True)):
            uuid = derived(one.uuid, HEADLAND_PASS, ordinal)
            line = CurvedLine(
                uuid=uuid,
                name=name,
                spacing=spacing,
                path=_path(laid),
                propagation=Propagation.NONE,
                extension=Extension.NONE,
            )
            group.add(write_pattern(line, ids.of(HEADLAND_PASS, uuid), noticed, path="fields.lines", name=name))
        yield group

    def findings(self, ids: Ids) -> tuple[Finding, ...]:
        """What there is to say of them, at the field that it is said of."""
        found = []
        for told in self._told:
            where = Where(TASK_FILE, id=ids.of(FIELD, told.field.uuid))
            found.append(Finding(told.kind, where, told.kind.severity, {"name": told.field.name[:60], **told.facts}))
        return tuple(found)


def laid_out(plan: Plan, *, boundary: BoundaryChoice | None = None, one_line_per_side: bool = False) -> Headlands:
    """Divide each field whose headland has a depth, by the spacing of its first line.

    Args:
        plan: the whole.
        boundary: the outline of each field to go by, where it is not the usual one.
        one_line_per_side: cut the headland passes where they come to run along something else.

    Raises:
        RefusedError: a depth is left open; that of a job too, which no passes come from.
    """
    _refuse_open_depths(plan)
    layouts: dict[UUID, HeadlandLayout] = {}
    spacings: dict[UUID, Length | None] = {}
    told: list[_Told] = []
    for one in plan.fields:
        outline = chosen(one, boundary)
        if outline is None or one.headland is None or not _has_depth(one.headland):
            continue
        spacing = spacing_of(plan, one)
        try:
            layout = lay_out(
                one,
                boundary=outline,
                headland=one.headland,
                spacing_m=spacing.metres if spacing else None,
                one_line_per_side=one_line_per_side,
            )
        except InputError as error:
            reason = error.message.removeprefix(f"{one.title}: ")
            told.append(_Told(NOT_LAID_OUT, one, {"reason": reason, "remedy": error.remedy or _REMEDY}))
            continue
        layouts[one.uuid], spacings[one.uuid] = layout, spacing
        told += _said(one, layout)
    return Headlands(layouts, spacings, tuple(told))


def recogniser(uuids: Uuids, *, by_type: bool) -> Recogniser:
    """What tells derived objects from those of the plan, in one set.

    They go by their identity. Where a set of ours came back without its link list, polygons still go by their type;
    headland passes do not: nothing tells them from the lines of the plan.

    Args:
        uuids: the UUIDs of the set.
        by_type: whether polygons go by their type where they have no identity.
    """
    known: dict[tuple[UUID, str], frozenset[UUID]] = {}

    def derived_of(one: UUID, role: str) -> frozenset[UUID]:
        if (one, role) not in known:
            known[one, role] = frozenset(_known(one, role, uuids))
        return known[one, role]

    def is_derived(one: UUID, element: Element) -> bool:
        shown = (element.get("A") or "").strip()
        for role, polygon_type in _TYPES.items():
            if element.tag == TAGS[role] and shown == polygon_type:
                uuid = uuids.linked(element.get("E"))
                return by_type if uuid is None else uuid in derived_of(one, role)
        if element.tag == TAGS[HEADLAND_PASS] and (element.get("C") or "").strip() == CURVE:
            return uuids.linked(element.get("A")) in derived_of(one, HEADLAND_PASS)
        return False

    return is_derived


def _known(one: UUID, role: str, uuids: Uuids) -> Iterator[UUID]:
    ordinal = missing = 0
    while missing < _GAP:
        uuid = derived(one, role, ordinal)
        is_known = uuids.knows(role, uuid)
        if is_known:
            yield uuid
        ordinal, missing = ordinal + 1, 0 if is_known else missing + 1


def _refuse_open_depths(plan: Plan) -> None:
    held = [(one.title, one.headland) for one in plan.fields] + [(one.title, one.headland) for one in plan.jobs]
    if titles := [title for title, headland in held if headland and None in map(_metres, _depths(headland))]:
        more = f" (and {len(titles) - 3} more)" if len(titles) > 3 else ""
        raise RefusedError(
            f"nothing was written, because a headland depth is left open (auto) and is not worked out yet: "
            f"{', '.join(titles[:3])}{more}. Give a depth such as 12 m or 2 passes."
        )


def _depths(headland: Headland) -> Iterator[Depth]:
    yield headland.depth
    yield from (side.depth for side in headland.sides)
    yield from (island.depth for island in headland.islands)


def _metres(depth: Depth) -> float | None:
    return depth_m(depth, spacing_m=1.0)


def _has_depth(headland: Headland) -> bool:
    """Whether there is a headland anywhere, at whatever spacing."""
    return any(_metres(depth) for depth in _depths(headland))


def _said(one: Field, layout: HeadlandLayout) -> Iterator[_Told]:
    if not layout.main_field:
        after = f" after pass {layout.passes_that_fit + 1}" if layout.passes_asked else ""
        yield _Told(NO_MAIN_FIELD, one, {"after": after})
    for change in layout.changes:
        if change.change in _TOLD:
            yield _Told(_TOLD[change.change], one, _place(change, layout))


def _place(change: RingChange, layout: HeadlandLayout) -> dict[str, Fact]:
    place = layout.plane.to_degrees(MetreLine([(change.east_m, change.north_m)]))
    lon_deg, lat_deg = place.points[0].round(7).tolist()
    return {"number": change.number, "pieces": change.pieces, "lat_deg": lat_deg, "lon_deg": lon_deg}


def _areas(layout: HeadlandLayout) -> dict[str, tuple[Part, ...]]:
    return {MAIN_FIELD: layout.main_field, HEADLAND: layout.headland}


def _titles(role: str, count: int) -> list[str]:
    """What the parts of an area are called; one by itself has no number."""
    return [_TITLES[role] if count == 1 else f"{_TITLES[role]} {number}" for number in range(1, count + 1)]


def _names(passes: tuple[LaidPass, ...]) -> list[str]:
    """What headland passes are called: by their number, and where several lines have it, by their place among them."""
    many = Counter(one.number for one in passes)
    so_far: Counter[int] = Counter()
    names = []
    for one in passes:
        so_far[one.number] += 1
        line = f", line {so_far[one.number]}" if many[one.number] > 1 else ""
        names.append(f"Headland pass {one.number}{line}")
    return names


def _path(one: LaidPass) -> LonLatLine:
    """The points to drive; a closed pass ends where it begins."""
    points = one.line.points
    return LonLatLine(np.concatenate((points, points[:1]))) if one.closed else one.line
