"""Jobs: a task for each, with its planned time, its work, its product, and the guidance groups that it uses."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Sequence
from typing import Any
from uuid import UUID

from taskkit.mapping.headland_file import Attached
from taskkit.mapping.identity import (
    CUSTOMER,
    FARM,
    FIELD,
    GROUP,
    JOB,
    LINE,
    OPERATION,
    PRODUCT,
    WORKER,
    Ids,
    Uuids,
    group_of,
)
from taskkit.mapping.known import Known
from taskkit.mapping.ledger import Noticed
from taskkit.mapping.reading import Reading
from taskkit.mapping.sharing import Gathered
from taskkit.mapping.shifts import read_shift, write_shift
from taskkit.mapping.texts import fitted, read_texts, write_texts
from taskkit.plan.choices import line_on, lines_of
from taskkit.plan.identity import derived
from taskkit.plan.model import Field, Job, JobLine, Plan, Shift
from taskkit.taskdata.document import Element

__all__ = ["JobReader", "write_jobs"]

_NAME = {"name": "B"}
_PLANNED_TASK, _TEMPLATE = "1", "5"
_PLANNED = "1"
"""The type of a time, and of an allocation stamp, that lies ahead."""
_FIRST, _LAST = "T00:00:00", "T23:59:59"
_DAY = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})(T.*)?")


def write_jobs(plan: Plan, ids: Ids, noticed: Noticed) -> Iterator[Element]:
    """One TSK for each job, planned."""
    fields = {field.uuid: field for field in plan.fields}
    for job, name in zip(plan.jobs, fitted(plan.jobs, "TSK", "B"), strict=True):
        field = fields[job.field]
        texts = write_texts(job, "TSK", _NAME, path="jobs", noticed=noticed, name=name)
        element = Element("TSK", {"A": ids.of(JOB, job.uuid), **texts})
        of_task = (("C", CUSTOMER, field.customer), ("D", FARM, field.farm), ("E", FIELD, field.uuid))
        for code, sort, target in (*of_task, ("F", WORKER, job.worker)):
            if target:
                element.attributes[code] = ids.of(sort, target)
        element.attributes["G"] = _PLANNED_TASK
        if job.start:
            element.add(Element("TIM", _time(job.start, job.end)))
        elif job.end:
            noticed.not_carried("jobs.end", job.uuid, "a planned time needs its start")
        if job.operation:
            element.add(Element("OTP", {"A": ids.of(OPERATION, job.operation)}))
        if job.product:
            element.add(Element("PAN", {"A": ids.of(PRODUCT, job.product)}))
        for allocation in _write_lines(job, plan, field, ids, noticed):
            element.add(allocation)
        yield element


def _write_lines(job: Job, plan: Plan, field: Field, ids: Ids, noticed: Noticed) -> Iterator[Element]:
    """A GAN for each group that the job uses, stamped where the job has a date, with the shifts of its lines."""
    lines = {line.uuid: line for line in lines_of(plan, field)}
    owners = {line.uuid: line for line in (*field.lines, *plan.shared_lines)}
    shared = {line.uuid for line in plan.shared_lines}
    groups: dict[UUID, Element] = {}
    for use in job.lines:
        line = lines[line_on(plan, use.line, field.uuid)]
        group = group_of(field, line)
        if group not in groups:
            groups[group] = Element("GAN", {"A": ids.of(GROUP, group)})
            if job.start:
                groups[group].add(Element("ASP", _time(job.start, job.end)))
        shift = next((one for one in owners[use.line].shifts if one.uuid == use.shift), None)
        if shift:
            path = f"{'shared_lines' if use.line in shared else 'fields.lines'}.shifts"
            move = write_shift(shift, line, pattern=ids.of(LINE, line.uuid), path=path, noticed=noticed)
            if move is None:
                noticed.not_carried("jobs.lines.shift", job.uuid, f"{shift.title} is not carried")
            else:
                groups[group].add(move)
    yield from groups.values()


class JobReader:
    """Reads the tasks of one set.

    Args:
        uuids: gives each job and each shift its UUID.
        known: everything that a task may name.
        ground: the fields and the lines that they share.
        attached: what HEADLAND.XML says of jobs and shifts.
        reading: is told what is broken, and what the plan has no word for.
    """

    def __init__(self, uuids: Uuids, known: Known, ground: Gathered, attached: Attached, reading: Reading) -> None:
        self._uuids = uuids
        self._known = known
        self._ground = ground
        self._fields = {field.uuid: field for field in ground.fields}
        self._lines = {line.uuid: line for line in (*(x for f in ground.fields for x in f.lines), *ground.shared)}
        self._attached = attached
        self._reading = reading
        self._shifts: dict[UUID, dict[UUID, Shift]] = {}

    def ground(self) -> dict[str, Any]:
        """The fields and the shared lines of the plan, with the shifts that tasks use; to be asked after the tasks."""

        def shifted(line: Any) -> Any:
            found = self._shifts.get(line.uuid)
            return line.model_copy(update={"shifts": tuple(found.values())}) if found else line

        fields = (field.model_copy(update={"lines": tuple(map(shifted, field.lines))}) for field in self._ground.fields)
        return {"fields": tuple(fields), "shared_lines": tuple(map(shifted, self._ground.shared))}

    def task(self, element: Element) -> Job | None:
        """The job that a TSK stands for; None, and a finding, where the plan has no word for such a task."""
        status = (element.get("G") or "").strip()
        field = self._known.meant(element, "E", "PFD", self._reading)
        if status == _TEMPLATE or field is None:
            what = "template" if status == _TEMPLATE else "task without a field"
            self._reading.beyond(f"TSK ({what})", element)
            return None
        self._beyond_attributes(element, self._fields[field], status)
        uuid = self._uuids.take(element, element.get("A"))
        held = _Held(element, self._reading)
        start, end = self._time(held.time) if held.time is not None else (None, None)
        for group in held.groups:
            stamped = self._stamp(group, (start, end))
            if held.time is None and start is None:
                start, end = stamped
        named = dict(self._attached.jobs.get(uuid, {}))
        lines = self._used(element, held.groups, named.pop("lines", ()), start)
        worker = self._known.meant(element, "F", "WKR", self._reading)
        if worker is None and held.worker is not None:
            worker = self._known.meant(held.worker, "A", "WKR", self._reading)
        elif held.worker is not None:
            self._reading.beyond_element(held.worker)
        return Job(
            uuid=uuid,
            field=field,
            lines=lines,
            start=start,
            end=end,
            worker=worker,
            operation=self._named(held.operation, "CPC"),
            product=self._named(held.product, "PDT"),
            **named,
            **read_texts(element, _NAME),
        )

    def _beyond_attributes(self, element: Element, field: Field, status: str) -> None:
        understood = ["A", "B", "E", "F", *(["G"] if status == _PLANNED_TASK else [])]
        for code, tag, own in (("C", "CTR", field.customer), ("D", "FRM", field.farm)):
            named = self._known.meant(element, code, tag, self._reading)
            # The customer and the farm of a job are those of its field.
            if named is None or named == own:
                understood.append(code)
        self._reading.beyond_attributes(element, understood)

    def _named(self, element: Element | None, tag: str) -> UUID | None:
        if element is None:
            return None
        self._reading.beyond_attributes(element, "A")
        self._reading.beyond_children(element)
        return self._known.meant(element, "A", tag, self._reading)

    def _time(self, element: Element) -> tuple[datetime.date | None, datetime.date | None]:
        """The first and the last day of a planned time or stamp."""
        self._reading.beyond_attributes(element, "ABD")
        self._reading.beyond_children(element)
        days: list[datetime.date | None] = []
        for code, usual in (("A", _FIRST), ("B", _LAST)):
            text = (element.get(code) or "").strip()
            found = _DAY.fullmatch(text)
            try:
                day = datetime.date.fromisoformat(found[1]) if found else None
            except ValueError:
                day = None
            if text and not day:
                self._reading.left_out(element, f"{text[:40]!r} is no date", what=f"{element.tag}@{code}")
            elif found and found[2] not in (None, usual):
                self._reading.beyond(f"{element.tag}@{code} (time of day)", element)
            days.append(day)
        start, end = days
        if start and end and end < start:
            self._reading.left_out(element, "it is before the start", what=f"{element.tag}@B")
            end = None
        return start, end

    def _stamp(
        self, group: Element, of_job: tuple[datetime.date | None, datetime.date | None]
    ) -> tuple[datetime.date | None, datetime.date | None]:
        """The days of the stamp on an allocation; what differs from those of the job is told."""
        found: tuple[datetime.date | None, datetime.date | None] = (None, None)
        for number, stamp in enumerate(group.elements("ASP")):
            is_first = not number and (stamp.get("D") or "").strip() == _PLANNED
            days = self._time(stamp) if is_first else (None, None)
            if is_first and of_job in (days, (None, None)):
                found = days
            else:
                self._reading.beyond_element(stamp)
        return found

    def _used(
        self, task: Element, groups: Sequence[Element], named: Sequence[JobLine], start: datetime.date | None
    ) -> tuple[JobLine, ...]:
        """The lines of the groups that a task uses; just those that are attached, if they are still in these groups."""
        members: list[list[UUID]] = []
        moves: dict[UUID, list[Element]] = {}
        for group in groups:
            of_group = [self._plan_line(uuid) for uuid in self._known.lines(group, "A", self._reading)]
            members.append(of_group)
            for move in group.elements("GST"):
                pattern = (move.get("B") or "").strip()
                line = self._known.patterns.get(pattern)
                for uuid in of_group if not pattern else [self._plan_line(line)] if line else []:
                    moves.setdefault(uuid, []).append(move)
                if pattern and line is None:
                    self._reading.left_out(move, f"the set holds no {pattern[:14]}", what="The reference GST@B")
        where = {line: number for number, lines in enumerate(members) for line in lines}
        named_groups = list(dict.fromkeys(where.get(one.line) for one in named))
        uses = [JobLine(line=line) for lines in members for line in lines]
        if named and named_groups == list(range(len(members))):
            uses = list(named)
        elif named:
            self._reading.left_out(task, "the task names other groups now", what="The choice among its lines")
        is_named = uses == list(named)
        used = []
        for use in uses:
            if is_named and use.shift is None:
                used.append(use)
            elif of_line := moves.get(use.line):
                used.append(self._moved(use, of_line.pop(0), start))
            else:
                if use.shift:
                    self._reading.left_out(task, "the task does not move the line", what=f"The shift {use.shift}")
                used.append(JobLine(line=use.line))
        for left in (move for moves_left in moves.values() for move in moves_left):
            self._reading.beyond("GST (further shift of one line)", left)
        return tuple(used)

    def _moved(self, use: JobLine, move: Element, start: datetime.date | None) -> JobLine:
        """The use of a line with the shift that a GST tells of."""
        bare = JobLine(line=use.line)
        read = read_shift(move, self._lines[use.line], self._reading)
        if read is None:
            return bare
        across, along = read
        said = self._attached.shifts.get(use.shift, {}) if use.shift else {}
        date = said.get("date") or self._day(move) or start
        if date is None:
            self._reading.left_out(move, "it has no date, and a shift of the plan has one")
            return bare
        of_line = self._shifts.setdefault(use.line, {})
        uuid = use.shift or derived(use.line, f"shift {date} {across} {along}")
        if uuid not in of_line:
            if not self._uuids.free(uuid):
                self._reading.left_out(move, "its UUID belongs to another object")
                return bare
            of_line[uuid] = Shift(uuid=uuid, date=date, across=across, along=along)
        return JobLine(line=use.line, shift=uuid)

    def _day(self, move: Element) -> datetime.date | None:
        """The day from which a shift holds, as far as its own stamp tells."""
        stamps = list(move.elements("ASP"))
        self._reading.beyond_children(move, "ASP")
        for stamp in stamps[1:]:
            self._reading.beyond_element(stamp)
        return self._time(stamps[0])[0] if stamps else None

    def _plan_line(self, uuid: UUID) -> UUID:
        return self._ground.meant.get(uuid, uuid)


class _Held:
    """What a task holds, as far as the plan has a word for it: one of each, and any number of groups."""

    def __init__(self, task: Element, reading: Reading) -> None:
        self.time: Element | None = None
        self.operation: Element | None = None
        self.product: Element | None = None
        self.worker: Element | None = None
        self.groups: list[Element] = []
        for child in task.elements():
            is_planned = (child.get("D") or "").strip() == _PLANNED
            if child.tag == "GAN":
                reading.beyond_attributes(child, "A")
                for inner in child.elements():
                    if inner.tag not in ("ASP", "GST"):
                        reading.beyond_element(inner)
                self.groups.append(child)
            elif child.tag == "TIM" and is_planned and self.time is None:
                self.time = child
            elif child.tag == "OTP" and self.operation is None:
                self.operation = child
            elif child.tag == "PAN" and self.product is None:
                self.product = child
            elif child.tag == "WAN" and self.worker is None:
                self.worker = child
            else:
                reading.beyond_element(child)


def _time(start: datetime.date, end: datetime.date | None) -> dict[str, str]:
    """The attributes of a planned time or stamp: from the first moment of a day to the last of one."""
    stop = {"B": f"{end.isoformat()}{_LAST}"} if end else {}
    return {"A": f"{start.isoformat()}{_FIRST}", **stop, "D": _PLANNED}
