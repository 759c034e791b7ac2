"""HEADLAND.XML, the attached file for what the standard has no element for: headlands, row ends, sides, machines.

It holds nothing that the set says itself: objects of the set go by their UUIDs, which LINKLIST.XML gives to their
identifiers. Its form is ``schemas/xsd/headland/HEADLAND.xsd``; lengths are metres, speeds metres a second, times
seconds.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any
from uuid import UUID

from taskkit.errors import RefusedError, TaskkitError
from taskkit.findings import Severity, kind
from taskkit.mapping.features import word_beside
from taskkit.mapping.identity import Uuids, group_of
from taskkit.mapping.ledger import Noticed, in_use
from taskkit.mapping.loose_references import Loose, without_loose_references
from taskkit.mapping.own_elements import element_of, reason, value_members, value_of
from taskkit.mapping.reading import Reading
from taskkit.plan.base import (
    CropReference,
    FieldReference,
    MachineReference,
    PlanObject,
    PlanValue,
    RowEndReference,
    VarietyReference,
)
from taskkit.plan.choices import line_on, lines_of
from taskkit.plan.members import objects_in
from taskkit.plan.model import (
    BoundaryChoice,
    FeatureKind,
    Field,
    Headland,
    Job,
    JobLine,
    Machine,
    MachineRowEnd,
    Order,
    Plan,
    RowEndPlan,
    Side,
    Tramline,
)
from taskkit.plan.quantities import Length
from taskkit.plan.scalars import Date, Listed
from taskkit.taskdata.document import Element
from taskkit.taskdata.reader import decode, parse
from taskkit.taskdata.writer import serialise

__all__ = ["FORM", "HEADLAND_FILE", "Attached", "read_headland_file", "settled", "write_headland_file"]

HEADLAND_FILE = "HEADLAND.XML"
FORM = "2"
"""The newest form of the file that this program knows."""
_FORMS = ("1", FORM)
_MOST_BYTES = 16 << 20

UNUSABLE = kind(
    "headland-file-unusable",
    Severity.WARNING,
    "The attached file with headlands and row ends cannot be used: {reason}.",
    hint="Take the file from the set as it was exported; was the copy complete?",
    why="No headland depth and no row-end plan comes back with the set.",
    source="taskkit's own attached file",
)


class _OfField(PlanValue):
    """What no element says of a field."""

    word = "field"

    row_end: RowEndReference | None = None
    headland: Headland | None = None
    row_ends: Listed[MachineRowEnd] = ()
    sides: Listed[Side] = ()


class _OfFeature(PlanValue):
    """What no element says of a thing on the ground."""

    word = "feature"

    kind: FeatureKind | None = None
    """What it is, where the type of its element is a wider word."""
    safety_distance: Length | None = None


class _OfLine(PlanValue):
    """What no element says of a guidance line; it goes by the UUID that it has on the first of its fields."""

    word = "line"

    fields: Listed[FieldReference] = ()
    """The fields that share it."""
    tramline: Tramline | None = None


class _OfShift(PlanValue):
    """What no element says of a shift."""

    word = "shift"

    date: Date | None = None


class _OfJob(PlanValue):
    """What no element says of a job."""

    word = "job"

    machine: MachineReference | None = None
    row_end: RowEndReference | None = None
    headland_worked: Order | None = None
    crop: CropReference | None = None
    variety: VarietyReference | None = None
    boundary: BoundaryChoice | None = None
    headland: Headland | None = None
    lines: Listed[JobLine] = ()
    """Its lines and shifts, where the groups that its task names do not tell them."""


_WHOLE: Mapping[str, type[Machine] | type[RowEndPlan]] = MappingProxyType(
    {"machine": Machine, "row_end_plan": RowEndPlan}
)
_BESIDE: Mapping[str, type[PlanValue]] = MappingProxyType(
    {"field": _OfField, "feature": _OfFeature, "line": _OfLine, "shift": _OfShift, "job": _OfJob}
)

_Members = Mapping[UUID, Mapping[str, Any]]


@dataclass(frozen=True, slots=True)
class Attached:
    """What HEADLAND.XML says.

    Each mapping goes from the UUID of an object that the set itself holds to further members of it, by name, ready to
    make the object with: ``Field(..., **attached.fields.get(uuid, {}))``.

    Attributes:
        machines: the machines.
        row_end_plans: the row-end plans.
        fields: ``row_end``, ``headland``, ``row_ends``, ``sides``.
        features: ``kind`` (the type of the element is a wider word then), ``safety_distance``.
        lines: ``tramline``.
        shared: UUID of a line -> the fields that share it, the first being the one whose copy keeps that UUID.
        shifts: ``date``.
        jobs: ``machine``, ``row_end``, ``headland_worked``, ``crop``, ``variety``, ``boundary``, ``headland``;
            ``lines`` where the groups that the task names do not tell them.
    """

    machines: tuple[Machine, ...] = ()
    row_end_plans: tuple[RowEndPlan, ...] = ()
    fields: _Members = dataclasses.field(default_factory=dict)
    features: _Members = dataclasses.field(default_factory=dict)
    lines: _Members = dataclasses.field(default_factory=dict)
    shared: Mapping[UUID, tuple[UUID, ...]] = dataclasses.field(default_factory=dict)
    shifts: _Members = dataclasses.field(default_factory=dict)
    jobs: _Members = dataclasses.field(default_factory=dict)


def write_headland_file(plan: Plan, noticed: Noticed) -> bytes | None:
    """The bytes of the file, None where there is nothing to say in it.

    Args:
        plan: a plan without references that lead nowhere.
        noticed: is told which jobs have their lines in it.

    Raises:
        RefusedError: a quantity is beyond all measure.
    """
    root = Element("headland", {"form": FORM})
    for owner, tag, value in _said(plan):
        try:
            element = element_of(value, tag)
        except RefusedError as error:
            raise RefusedError(f"{owner.title}: {error}") from None
        element.attributes = {"uuid": str(owner.uuid), **element.attributes}
        root.add(element)
        if isinstance(value, _OfJob) and value.lines:
            noticed.attached("jobs.lines.line", owner.uuid)
    return serialise(root) if root.children else None


def read_headland_file(read: Callable[[], bytes], uuids: Uuids, reading: Reading) -> Attached:
    """What the file says, as far as it can be understood.

    A row-end plan of which one step cannot be understood is left out as a whole: a sequence with a gap is worse
    than none; so is a machine.

    Args:
        read: gives the bytes of the file.
        uuids: the objects of the set go before those of this file.
        reading: is told what is left out, and why.
    """
    root = _root(read, reading)
    if root is None:
        return Attached()
    whole: dict[str, list[Any]] = {tag: [] for tag in _WHOLE}
    beside: dict[str, dict[UUID, dict[str, Any]]] = {tag: {} for tag in _BESIDE}
    for element in root.elements():
        given = element.get("name") or element.get("uuid") or ""
        name = f"{element.tag.replace('_', ' ')} {given}".strip()
        try:
            if element.tag in _WHOLE:
                one = value_of(element, _WHOLE[element.tag])
                if not uuids.free(one.uuid):
                    raise ValueError("its UUID belongs to another object")
                whole[element.tag].append(one)
            elif element.tag in _BESIDE:
                uuid = UUID(element.attributes.pop("uuid", ""))
                if uuid in beside[element.tag]:
                    raise ValueError("it stands there twice")
                found, wrong = value_members(element, _BESIDE[element.tag])
                found["sides"] = tuple(_sides(found.get("sides", ()), uuids, wrong))
                beside[element.tag][uuid] = {name: value for name, value in found.items() if value not in (None, ())}
                for problem in wrong:
                    reading.left_out(element, problem, what=f"Something of the {name}")
            else:
                raise ValueError("nothing of this name is known here")
        except ValueError as error:
            reading.left_out(element, reason(error), what=f"The {name}")
    shared = {uuid: said.pop("fields") for uuid, said in beside["line"].items() if "fields" in said}
    members = {f"{tag}s": {uuid: said for uuid, said in found.items() if said} for tag, found in beside.items()}
    return Attached(tuple(whole["machine"]), tuple(whole["row_end_plan"]), shared=shared, **members)


def settled(plan: Plan, attached: Attached, main: Element, reading: Reading) -> Plan:
    """A plan that was read, without references that lead nowhere; what the set has no object for is told.

    Args:
        plan: the plan, with everything attached in its place.
        attached: what HEADLAND.XML says.
        main: the root of the set, for the place of a finding.
        reading: is told what is left out.
    """
    known = {(one.word, one.uuid) for one in objects_in(plan)}
    said = {tag: getattr(attached, f"{tag}s") for tag in _BESIDE}
    for tag, uuid in ((tag, uuid) for tag, members in said.items() for uuid in sorted(members)):
        if (tag, uuid) not in known:
            reading.left_out(main, f"the set holds no such {tag}", what=f"What is attached to {uuid}")

    def tell(loose: Loose) -> None:
        whose = f"The {loose.name} of {loose.owner.title}"
        reading.left_out(main, f"there is no such thing among its {loose.collection.replace('_', ' ')}", what=whose)

    return without_loose_references(plan, tell)


def _said(plan: Plan) -> Iterator[tuple[PlanObject, str, PlanValue]]:
    """What the file tells of, the element for it, and what is said, in the order of the file."""
    used = in_use(plan)
    yield from ((one, "machine", one) for one in plan.machines if one.uuid in used)
    yield from ((one, "row_end_plan", one) for one in plan.row_end_plans)
    for owner, tag, value in _beside(plan):
        if any(getattr(value, name) not in (None, ()) for name in type(value).model_fields):
            yield owner, tag, value


def _beside(plan: Plan) -> Iterator[tuple[PlanObject, str, PlanValue]]:
    """What no element says, object by object."""
    for one in plan.fields:
        yield one, "field", _OfField(**_given(one, _OfField))
    for one in plan.fields:
        for feature in one.features:
            safety = feature.safety_distance
            yield feature, "feature", _OfFeature(kind=word_beside(feature), safety_distance=safety)
    for one in plan.fields:
        for line in one.lines:
            yield line, "line", _OfLine(tramline=line.tramline)
    for shared in plan.shared_lines:
        if shared.fields:
            yield shared, "line", _OfLine(fields=shared.fields, tramline=shared.tramline)
    used = in_use(plan)
    for line in (*(line for one in plan.fields for line in one.lines), *plan.shared_lines):
        for shift in line.shifts:
            if shift.uuid in used:
                yield shift, "shift", _OfShift(date=shift.date)
    fields = {one.uuid: one for one in plan.fields}
    for job in plan.jobs:
        lines = job.lines if _needs_lines(plan, fields[job.field], job) else ()
        yield job, "job", _OfJob(**{**_given(job, _OfJob), "lines": lines})


def _given(node: PlanObject, cls: type[PlanValue]) -> dict[str, Any]:
    return {name: getattr(node, name) for name in cls.model_fields}


def _needs_lines(plan: Plan, field: Field, job: Job) -> bool:
    """Whether the groups that the task of a job names do not tell its lines, in order and unmoved."""
    if any(one.shift for one in job.lines):
        return True
    groups: dict[UUID, list[UUID]] = {}
    where: dict[UUID, UUID] = {}
    for line in lines_of(plan, field):
        where[line.uuid] = group_of(field, line)
        groups.setdefault(where[line.uuid], []).append(line.uuid)
    named = [line_on(plan, one.line, field.uuid) for one in job.lines]
    return [line for group in dict.fromkeys(where[line] for line in named) for line in groups[group]] != named


def _sides(sides: Iterable[Side], uuids: Uuids, wrong: list[str]) -> Iterator[Side]:
    """The sides whose UUID nothing else has."""
    for side in sides:
        if uuids.free(side.uuid):
            yield side
        else:
            wrong.append(f"the UUID of {side.title} belongs to another object")


def _root(read: Callable[[], bytes], reading: Reading) -> Element | None:
    """The root of a file that can be used, in the newest form; a finding where it cannot."""
    try:
        data = read()
        if len(data) > _MOST_BYTES:
            raise ValueError(f"it is larger than {_MOST_BYTES >> 20} MiB")
        source, problem = decode(HEADLAND_FILE, data)
        result = parse(source)
        if stopped := problem or result.stopped:
            raise ValueError(stopped.message.rstrip("."))
        root = result.root
        if root is None or root.tag != "headland":
            raise ValueError("its root is no headland")
        if root.get("form") not in _FORMS:
            raise ValueError(f"its form {(root.get('form') or '')[:9]!r} is not known, only {' and '.join(_FORMS)}")
    except (ValueError, TaskkitError) as error:
        reading.found_in(UNUSABLE, HEADLAND_FILE, reason=reason(error))
        return None
    if root.get("form") == "1":
        _bring_up(root)
    return root


def _bring_up(root: Element) -> None:
    """Form 1 to form 2: the depth of a field's headland was an attribute, and its row end had a longer name."""
    for one in root.elements("field"):
        depth, row_end = one.attributes.pop("depth_m", None), one.attributes.pop("row_end_plan", None)
        if depth is not None:
            one.add(Element("headland", {"depth": f"{depth} m"}))
        if row_end is not None:
            one.attributes["row_end"] = row_end
