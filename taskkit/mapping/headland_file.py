"""HEADLAND.XML, the attached file for what the standard has no element for: headland depths and row ends.

It holds nothing that the set says itself: fields go by their UUIDs, which LINKLIST.XML gives to their
identifiers. Its form is ``schemas/xsd/headland/HEADLAND.xsd``; lengths are metres, speeds metres a second.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any
from uuid import UUID

import pydantic

from taskkit.errors import RefusedError, TaskkitError
from taskkit.findings import Severity, kind
from taskkit.mapping.identity import Uuids
from taskkit.mapping.ledger import Noticed
from taskkit.mapping.reading import Reading
from taskkit.plan.model import Headland, Plan, RowEndPlan, Step
from taskkit.plan.quantities import Length, Speed
from taskkit.taskdata.document import Element
from taskkit.taskdata.reader import decode, parse
from taskkit.taskdata.writer import serialise

__all__ = ["FORM", "HEADLAND_FILE", "Attached", "read_headland_file", "write_headland_file"]

HEADLAND_FILE = "HEADLAND.XML"
FORM = "1"
"""The newest form of the file that this program knows."""
_MOST_BYTES = 16 << 20

UNUSABLE = kind(
    "headland-file-unusable",
    Severity.WARNING,
    "The attached file with headlands and row ends cannot be used: {reason}.",
    hint="Take the file from the set as it was exported; was the copy complete?",
    why="No headland depth and no row-end plan comes back with the set.",
    source="taskkit's own attached file",
)

_DECIMAL = re.compile(r"-?[0-9]{1,12}(\.[0-9]{1,30})?")
_ROW_END = {"uuid", "name", "turn", "side", "skip"}
_STEP: Mapping[str, tuple[str, Callable[[str], Any]]] = {
    "action": ("action", str),
    "at_m": ("at", lambda text: _length(text)),
    "reference": ("reference", str),
    "speed_m_per_s": ("speed", lambda text: _speed(text)),
    "text": ("text", str),
}


@dataclass(frozen=True, slots=True)
class Attached:
    """What HEADLAND.XML says.

    Attributes:
        row_end_plans: the row-end plans.
        headlands: UUID of a field -> its headland.
        row_ends: UUID of a field -> UUID of the row-end plan that holds on it.
    """

    row_end_plans: tuple[RowEndPlan, ...] = ()
    headlands: Mapping[UUID, Headland] = field(default_factory=dict)
    row_ends: Mapping[UUID, UUID] = field(default_factory=dict)


def write_headland_file(plan: Plan, noticed: Noticed) -> bytes | None:
    """The bytes of the file, None where there is nothing to say in it.

    Raises:
        RefusedError: a length is beyond all measure.
    """
    root = Element("headland", {"form": FORM})
    for row_end in plan.row_end_plans:
        root.add(_row_end(row_end))
    held = {row_end.uuid for row_end in plan.row_end_plans}
    for one in plan.fields:
        said: dict[str, str] = {}
        if one.headland:
            said["depth_m"] = _measured(one.headland.depth.metres, one.headland.depth, one.title)
        if one.row_end in held:
            said["row_end_plan"] = str(one.row_end)
        elif one.row_end:
            noticed.not_carried("fields.row_end", one.uuid, f"the plan holds no row-end plan {one.row_end}")
        if said:
            root.add(Element("field", {"uuid": str(one.uuid), **said}))
    return serialise(root) if root.children else None


def read_headland_file(read: Callable[[], bytes], uuids: Uuids, reading: Reading) -> Attached:
    """What the file says, as far as it can be understood.

    A row-end plan of which one step cannot be understood is left out as a whole: a sequence with a gap is worse
    than none.

    Args:
        read: gives the bytes of the file.
        uuids: the objects of the set go before those of this file.
        reading: is told what is left out, and why.
    """
    root = _root(read, reading)
    if root is None:
        return Attached()
    row_ends: list[RowEndPlan] = []
    headlands: dict[UUID, Headland] = {}
    uses: dict[UUID, UUID] = {}
    for element in root.elements():
        try:
            if element.tag == "row_end_plan":
                row_ends.append(_read_row_end(element, uuids))
            elif element.tag == "field":
                uuid, headland, row_end = _read_field(element)
                headlands |= {uuid: headland} if headland else {}
                uses |= {uuid: row_end} if row_end else {}
            else:
                raise ValueError("nothing of this name is known here")
        except ValueError as error:
            name = element.get("name") or element.get("uuid") or ""
            reading.left_out(element, _reason(error), what=f"The {element.tag.replace('_', ' ')} {name}".strip())
    held = {one.uuid for one in row_ends}
    for uuid in [uuid for uuid, row_end in uses.items() if row_end not in held]:
        reading.left_out(root, "the file holds no such plan", what=f"The row-end plan {uses.pop(uuid)} of a field")
    return Attached(tuple(row_ends), headlands, uses)


def _row_end(row_end: RowEndPlan) -> Element:
    said = {
        "uuid": row_end.uuid,
        "name": row_end.name,
        "turn": row_end.turn,
        "side": row_end.side,
        "skip": row_end.skip,
    }
    element = Element("row_end_plan", {name: str(value) for name, value in said.items() if value is not None})
    for tag, steps in (("leaving", row_end.leaving), ("entering", row_end.entering)):
        sequence = Element(tag)
        for step in steps:
            sequence.add(_step(step, row_end.title))
        if steps:
            element.add(sequence)
    return element


def _step(step: Step, title: str) -> Element:
    said = {
        "action": str(step.action),
        "at_m": _measured(step.at.metres, step.at, title),
        "reference": str(step.reference),
    }
    if step.speed is not None:
        said["speed_m_per_s"] = _measured(step.speed.metres_per_second, step.speed, title)
    if step.text is not None:
        said["text"] = step.text
    return Element("step", said)


def _measured(magnitude: float, quantity: Length | Speed, title: str) -> str:
    """The shortest decimal, without an exponent, that gives this float."""
    text = f"{Decimal(repr(magnitude)).normalize() + 0:f}"
    if not _DECIMAL.fullmatch(text):
        raise RefusedError(f"{title}: {quantity} is too great or too small to be meant; nothing was written")
    return text


def _root(read: Callable[[], bytes], reading: Reading) -> Element | None:
    """The root of a file that can be used; a finding where it cannot."""
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
        if root.get("form") != FORM:
            raise ValueError(f"its form {(root.get('form') or '')[:9]!r} is not known, only {FORM}")
    except (ValueError, TaskkitError) as error:
        reading.found_in(UNUSABLE, HEADLAND_FILE, reason=_reason(error))
        return None
    return root


def _read_row_end(element: Element, uuids: Uuids) -> RowEndPlan:
    _nothing_else(element, _ROW_END)
    sequences: dict[str, tuple[Step, ...]] = {}
    for child in element.elements():
        if child.tag not in ("leaving", "entering") or child.tag in sequences:
            raise ValueError(f"{child.tag[:40]!r} does not belong there")
        _nothing_else(child, ())
        sequences[child.tag] = tuple(_read_step(step) for step in child.elements())
    row_end = RowEndPlan.model_validate({**element.attributes, **sequences})
    if not uuids.free(row_end.uuid):
        raise ValueError("its UUID belongs to another object")
    return row_end


def _read_step(element: Element) -> Step:
    if element.tag != "step":
        raise ValueError(f"{element.tag[:40]!r} is no step")
    _nothing_else(element, _STEP)
    known = ((*_STEP[name], text) for name, text in element.attributes.items())
    return Step.model_validate({member: read(text) for member, read, text in known})


def _read_field(element: Element) -> tuple[UUID, Headland | None, UUID | None]:
    _nothing_else(element, ("uuid", "depth_m", "row_end_plan"))
    depth, row_end = element.get("depth_m"), element.get("row_end_plan")
    headland = None if depth is None else Headland(depth=_length(depth))
    return UUID(element.get("uuid") or ""), headland, None if row_end is None else UUID(row_end)


def _nothing_else(element: Element, known: Collection[str]) -> None:
    if strange := sorted(element.attributes.keys() - set(known)):
        raise ValueError(f"the attribute {strange[0][:40]!r} is not known here")


def _length(text: str) -> Length:
    return Length.of(_number(text))


def _speed(text: str) -> Speed:
    return Speed.of(_number(text))


def _number(text: str) -> float:
    if not _DECIMAL.fullmatch(text):
        raise ValueError(f"{text[:40]!r} is no decimal number")
    return float(text)


def _reason(error: Exception) -> str:
    if isinstance(error, pydantic.ValidationError):
        first = error.errors()[0]
        place = ".".join(map(str, first["loc"]))
        return f"{place}: {first['msg']}" if place else str(first["msg"])
    return str(error).rstrip(".")
