"""What the driver will miss, because no element of the standard carries it: a few lines in plain words."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from uuid import UUID

from taskkit.plan.headlands import Headland
from taskkit.plan.model import Field, Job, Plan, RowEndPlan

__all__ = ["missed"]

_NAMED = 3
"""Things of one sort that are named in a line; the others are counted."""


def missed(plan: Plan, in_use: Collection[UUID], lost: Sequence[str]) -> tuple[str, ...]:
    """What the driver has to know or to key in, at most ten lines.

    Args:
        plan: the plan that is written.
        in_use: UUIDs of the machines that the set tells of.
        lost: what is not in the set at all, in words.
    """
    names = {one.uuid: one.name for one in plan.machines} | {one.uuid: one.name for one in plan.row_end_plans}
    lines = [
        _line("headland: ", _headlands(plan)),
        _line("row ends: ", (_row_end(one) for one in plan.row_end_plans)),
        _line("row end to follow: ", _uses(plan, names)),
        _line("", (_job(job, names) for job in plan.jobs)),
        _line("", (said for field in plan.fields for said in _sides(field))),
        _line("keep away: ", _distances(plan)),
        _line("tramlines: ", _tramlines(plan)),
        _line("machine measures: ", (f"{one.name!r}" for one in plan.machines if one.uuid in in_use)),
    ]
    said = [line for line in lines if line]
    if said:
        said.append("All this is attached as HEADLAND.XML, which a terminal may drop: key it in")
    return (*said, *filter(None, [_line("not in the set: ", lost)]))


def _line(opening: str, items: Iterable[str]) -> str:
    """Some things in one line, empty where there is none."""
    every = [item for item in items if item]
    more = f"; and {len(every) - _NAMED} more" if len(every) > _NAMED else ""
    return opening + "; ".join(every[:_NAMED]) + more if every else ""


def _headlands(plan: Plan) -> Iterator[str]:
    fields = {field.uuid: field for field in plan.fields}
    for field in plan.fields:
        if field.headland:
            yield f"{field.name!r} {_headland(field.headland, field)}"
    for job in plan.jobs:
        if job.headland and job.field in fields:
            yield f"job {job.name!r} {_headland(job.headland, fields[job.field])}"


def _headland(headland: Headland, field: Field) -> str:
    names = {one.uuid: one.name for one in field.sides} | {one.uuid: one.name for one in field.features}
    others = [f"{one.depth} along {names.get(one.side, '?')!r}" for one in headland.sides]
    for island in headland.islands:
        what = f"hole {island.hole}" if island.feature is None else repr(names.get(island.feature, "?"))
        others.append(f"{island.depth} round {what}")
    return f"{headland.depth}" + (f" ({', '.join(others)})" if others else "")


def _row_end(one: RowEndPlan) -> str:
    turn = " ".join(str(word) for word in (one.turn, one.side and f"to the {one.side}") if word)
    said = [turn] if turn else []
    said += [f"skip {one.skip}"] if one.skip is not None else []
    said += [f"{len(one.leaving)} steps leaving the row"] if one.leaving else []
    said += [f"{len(one.entering)} steps entering it"] if one.entering else []
    speeds = (("on the pass", one.working_speed), ("in the turn", one.turning_speed))
    said += [f"{speed} {where}" for where, speed in speeds if speed]
    return f"{one.name!r}" + (f" ({', '.join(said)})" if said else "")


def _uses(plan: Plan, names: dict[UUID, str]) -> Iterator[str]:
    for field in plan.fields:
        if field.row_end in names:
            yield f"{names[field.row_end]!r} on {field.name!r}"
        for one in field.row_ends:
            if one.machine in names and one.row_end in names:
                yield f"{names[one.row_end]!r} on {field.name!r} with {names[one.machine]!r}"


def _job(job: Job, names: dict[UUID, str]) -> str:
    said = [f"with {names[job.machine]!r}"] if job.machine in names else []
    said += [f"row end {names[job.row_end]!r}"] if job.row_end in names else []
    said += [f"headland {job.headland_worked} the main field"] if job.headland_worked else []
    if job.boundary and (job.boundary.purpose or job.boundary.season):
        said.append(" ".join(word for word in (job.boundary.purpose, "boundary", job.boundary.season) if word))
    return f"job {job.name!r}: {', '.join(said)}" if said else ""


def _sides(field: Field) -> Iterator[str]:
    for side in field.sides:
        said = [] if side.turning is None else ["turning allowed" if side.turning else "no turning"]
        said += [f"at most {side.overhang} beyond it"] if side.overhang else []
        what = f" ({side.kind})" if side.kind else ""
        if said or side.kind:
            yield f"side {side.name!r} of {field.name!r}{what}" + (f": {', '.join(said)}" if said else "")


def _distances(plan: Plan) -> Iterator[str]:
    for field in plan.fields:
        for one in field.features:
            if one.safety_distance:
                yield f"{one.safety_distance} from {one.name!r} on {field.name!r}"


def _tramlines(plan: Plan) -> Iterator[str]:
    for line in (*(line for field in plan.fields for line in field.lines), *plan.shared_lines):
        if line.tramline:
            start = line.tramline.phase or 0
            yield f"every {line.tramline.interval} passes, pass {start} among them, along {line.name!r}"
