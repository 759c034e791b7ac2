"""Lines that several fields share: copies of one line in a set, one line in the plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any
from uuid import UUID

from taskkit.mapping.reading import Reading
from taskkit.plan.choices import copied_to
from taskkit.plan.model import (
    CurvedLine,
    Field,
    GuidanceLine,
    HeadingLine,
    PivotLine,
    SharedCurvedLine,
    SharedGuidanceLine,
    SharedHeadingLine,
    SharedPivotLine,
    SharedSpiralLine,
    SharedStraightLine,
    SpiralLine,
    StraightLine,
)
from taskkit.taskdata.document import Element

__all__ = ["Gathered", "gathered"]

_SHARED: Mapping[type[GuidanceLine], type[SharedGuidanceLine]] = MappingProxyType(
    {
        StraightLine: SharedStraightLine,
        HeadingLine: SharedHeadingLine,
        CurvedLine: SharedCurvedLine,
        PivotLine: SharedPivotLine,
        SpiralLine: SharedSpiralLine,
    }
)
_OF_ONE_COPY = frozenset(["uuid", "name", "group", "tramline", "shifts"])
"""What copies of one line may differ in: names are cut to differ on each field, and the rest goes by the first."""


@dataclass(frozen=True, slots=True)
class Gathered:
    """The lines of a set, those that are copies of one taken together.

    Attributes:
        fields: the fields without copies.
        shared: the lines that they share.
        meant: UUID of a line in the set -> UUID of the line in the plan, where that is another.
    """

    fields: tuple[Field, ...]
    shared: tuple[SharedGuidanceLine, ...]
    meant: Mapping[UUID, UUID]


def gathered(
    fields: Sequence[Field], said: Mapping[UUID, tuple[UUID, ...]], main: Element, reading: Reading
) -> Gathered:
    """The fields of a set, and the lines that they share.

    A copy that is no longer the same as the first stays a line of its field.

    Args:
        fields: the fields, each with all its lines.
        said: UUID of a line -> the fields that share it, the first being the one that has it under this UUID.
        main: the root of the set, for the place of a finding.
        reading: is told of copies that are missing or another line now.
    """
    held = {(field.uuid, line.uuid): line for field in fields for line in field.lines}
    shared: list[SharedGuidanceLine] = []
    meant: dict[UUID, UUID] = {}
    gone: set[tuple[UUID, UUID]] = set()
    for uuid, sharing in said.items():
        base = held.get((sharing[0], uuid))
        if base is None:
            reading.left_out(main, "its first field has no such line", what=f"The sharing of the line {uuid}")
            continue
        mine = [sharing[0]]
        gone.add((sharing[0], uuid))
        for field in dict.fromkeys(sharing[1:]):
            copy = held.get((field, copied_to(uuid, field)))
            if copy is None or not _same(base, copy):
                why = "it is missing" if copy is None else "it is another line now"
                reading.left_out(main, why, what=f"The copy of the line {base.name} on the field {field}"[:80])
                continue
            mine.append(field)
            gone.add((field, copy.uuid))
            meant[copy.uuid] = uuid
        values = {name: getattr(base, name) for name in type(base).model_fields}
        shared.append(_SHARED[type(base)].model_validate({**values, "fields": tuple(mine)}))
    left = tuple(
        field.model_copy(update={"lines": tuple(one for one in field.lines if (field.uuid, one.uuid) not in gone)})
        for field in fields
    )
    return Gathered(left, tuple(shared), meant)


def _same(line: GuidanceLine, other: GuidanceLine) -> bool:
    return type(line) is type(other) and _pattern(line) == _pattern(other)


def _pattern(line: GuidanceLine) -> dict[str, Any]:
    return {name: getattr(line, name) for name in type(line).model_fields if name not in _OF_ONE_COPY}
