"""A whole plan to a set of task data, and a plan from any set."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar
from uuid import UUID

import taskkit
from taskkit.errors import RefusedError
from taskkit.findings import Finding, Report, Severity, kind
from taskkit.mapping.fields import read_field, write_fields
from taskkit.mapping.goods import (
    read_crop,
    read_operation,
    read_products,
    write_crops,
    write_operations,
    write_products,
)
from taskkit.mapping.guidance import LineReader
from taskkit.mapping.headland_file import (
    FORM,
    HEADLAND_FILE,
    Attached,
    read_headland_file,
    settled,
    write_headland_file,
)
from taskkit.mapping.headlands import Headlands, laid_out, recogniser
from taskkit.mapping.identity import TAGS, Ids, Uuids, link_list, linked_plan, numbered, read_links, set_uuid
from taskkit.mapping.jobs import JobReader, write_jobs
from taskkit.mapping.known import Known
from taskkit.mapping.ledger import Ledger, Noticed, ledger_of
from taskkit.mapping.parties import (
    read_customer,
    read_farm,
    read_worker,
    write_customers,
    write_farms,
    write_workers,
)
from taskkit.mapping.reading import Reading
from taskkit.mapping.sharing import gathered
from taskkit.mapping.writable import writable
from taskkit.plan.identity import Identity
from taskkit.plan.leaves import leaves
from taskkit.plan.model import BoundaryChoice, Plan, PlanObject
from taskkit.taskdata.dictionary import TASK_ROOT
from taskkit.taskdata.document import LINK_FILE, TASK_FILE, Element, TaskData
from taskkit.taskdata.version import Version
from taskkit.taskdata.writer import serialise

__all__ = ["OUR_FILES", "ReadBack", "Written", "is_ours", "read_plan", "write_plan"]

MISSING = kind(
    "headland-file-missing",
    Severity.WARNING,
    "The set names the attached file {file}, and there is none: headland depths and row-end plans are lost.",
    hint="Take them from the plan that the set was written from.",
    why="The standard has no element for them; that file is the only place where the set can hold them.",
    source="taskkit's own attached file",
)
EXTERNAL = kind(
    "external-file-unread",
    Severity.WARNING,
    "What stands in the external file {file} is not taken into the plan.",
    hint="Have the set written as one file, without external ones.",
    why="Customers, farms or fields may be missing from the plan.",
    source="ISO 11783-10, external files (recalled)",
)

OUR_FILES = frozenset([TASK_FILE, LINK_FILE, HEADLAND_FILE])
"""The files that we write into a set."""
_SOFTWARE = "taskkit"
_OFFICE = "1"
_GIVE_BACK = "2"
_LINK_LIST_TYPE = "1"
_HEADLAND_TYPE = "128"
"""The first number of those left to makers; with no maker's number beside it, it says nothing by itself."""
_VERSION = Version.V4_3
_READ = ("CTR", "FRM", "WKR", "CPC", "PGP", "PDT", "CTP", "PFD", "TSK")
"""The elements of the task file that the plan has a word for."""
_Object = TypeVar("_Object", bound=PlanObject)


@dataclass(frozen=True, slots=True)
class Written:
    """A plan as task data.

    Attributes:
        data: the set.
        ledger: what became of each leaf.
        identity: the numbers that the plan's objects have in it, the new ones included.
        findings: what was remarkable in what follows from the plan.
    """

    data: TaskData
    ledger: Ledger
    identity: Identity
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class ReadBack:
    """A plan from a set.

    Attributes:
        plan: the plan.
        findings: what is broken in the set, and what it has that the plan has no word for.
    """

    plan: Plan
    findings: Report


def write_plan(
    plan: Plan,
    identity: Identity,
    *,
    boundary: BoundaryChoice | None = None,
    derived_objects: bool = True,
    one_line_per_side: bool = False,
) -> Written:
    """A plan as a set of version 4.3, with its link list and, where there is something to attach, HEADLAND.XML.

    The same plan and numbers give the same bytes.

    Args:
        plan: the whole.
        identity: the numbers that its objects have so far.
        boundary: the outline of each field to write; a field that has none such is written without. The usual one
            (:meth:`Field.boundary`) where nothing is said.
        derived_objects: write what follows from the depths of headlands too: main fields, headlands and their passes.
        one_line_per_side: write headland passes as a line for each side, none of them closed at a corner.

    Raises:
        RefusedError: one UUID stands for two objects, a length is beyond all measure, or the depth of a headland is
            left open.
        InputError: after a merge, two objects have one number.
    """
    _refuse_shared_uuids(plan)
    noticed = Noticed()
    held = writable(plan, noticed)
    headlands = Headlands()
    if derived_objects:
        headlands = laid_out(held, boundary=boundary, one_line_per_side=one_line_per_side)
    objects = (*numbered(held, boundary=boundary), *headlands.numbered(held))
    identity = identity.assign(objects, together=TAGS)
    ids = Ids(identity)
    links = link_list(held, objects, ids, _head())
    headland = write_headland_file(held, noticed)
    companions = {} if headland is None else {HEADLAND_FILE: headland}
    main = Element(TASK_ROOT, _head())
    main.add(_attached(LINK_FILE, _LINK_LIST_TYPE, serialise(links)))
    if headland is not None:
        main.add(_attached(HEADLAND_FILE, _HEADLAND_TYPE, headland, version=FORM))
    for write in (write_customers, write_farms, write_workers, write_operations, write_products, write_crops):
        for element in write(held, ids, noticed):
            main.add(element)
    fields = write_fields(held, ids, noticed, headlands=headlands, boundary=boundary)
    for element in (*fields, *write_jobs(held, ids, noticed)):
        main.add(element)
    ledger = ledger_of(plan, noticed, boundary=boundary)
    return Written(TaskData(main, links, companions), ledger, identity, headlands.findings(ids))


def read_plan(data: TaskData, *, identity: Identity | None = None, name: str = "Task data") -> ReadBack:
    """The plan that a set holds, whoever wrote it; what is broken is left out, and said.

    UUIDs come from the link list; for an object that it does not name from the numbers of a plan that the set is
    known to belong to; else they are derived from the set's own names and identifiers.

    Args:
        data: the set.
        identity: numbers of that plan.
        name: what the plan is called: a set has no name for it.
    """
    reading = Reading()
    base = set_uuid(data.main)
    uuid = linked_plan(data.links) or base
    uuids = Uuids(read_links(data.links, reading), identity or Identity(), base=base, taken={uuid})
    attached = _read_attached(data, uuids, reading)
    held: dict[str, list[Element]] = {tag: [] for tag in _READ}
    for element in data.main.elements():
        if element.tag in held:
            held[element.tag].append(element)
        elif element.tag == "XFR":
            reading.found(EXTERNAL, element, file=(element.get("A") or "")[:20])
        elif element.tag != "AFE":
            reading.beyond_element(element)
    known = Known()

    def each(tag: str, read: Callable[[Element], _Object]) -> tuple[_Object, ...]:
        found = []
        for element in held[tag]:
            found.append(read(element))
            known.put(element, found[-1].uuid)
        return tuple(found)

    customers = each("CTR", lambda element: read_customer(element, uuids, reading))
    farms = each("FRM", lambda element: read_farm(element, uuids, known, reading))
    workers = each("WKR", lambda element: read_worker(element, uuids, reading))
    operations = each("CPC", lambda element: read_operation(element, uuids, reading))
    products = read_products(held["PGP"], held["PDT"], uuids, known, reading)
    crops = each("CTP", lambda element: read_crop(element, uuids, known, reading))
    lines = LineReader(uuids, attached.lines, known, reading)
    derived = recogniser(uuids, by_type=data.links is None and _is_by_us(data))
    fields = each("PFD", lambda element: read_field(element, uuids, known, attached, lines, derived, reading))
    ground = gathered(fields, attached.shared, data.main, reading)
    tasks = JobReader(uuids, known, ground, attached, reading)
    jobs = filter(None, [tasks.task(element) for element in held["TSK"]])
    plan = Plan(
        uuid=uuid,
        name=name,
        customers=customers,
        farms=farms,
        workers=workers,
        crops=crops,
        products=products,
        operations=operations,
        machines=attached.machines,
        row_end_plans=attached.row_end_plans,
        jobs=tuple(jobs),
        **tasks.ground(),
    )
    return ReadBack(settled(plan, attached, data.main, reading), reading.report())


def is_ours(data: TaskData, plan_uuid: UUID) -> bool:
    """Whether a set was written from a plan by this program, and nobody wrote it since."""
    is_fresh = data.main.get("DataTransferOrigin") == _OFFICE
    return is_fresh and _is_by_us(data) and linked_plan(data.links) == plan_uuid


def _is_by_us(data: TaskData) -> bool:
    return data.main.get("ManagementSoftwareManufacturer") == _SOFTWARE


def _head() -> dict[str, str]:
    return {
        "VersionMajor": str(_VERSION.major),
        "VersionMinor": str(_VERSION.minor),
        "ManagementSoftwareManufacturer": _SOFTWARE,
        "ManagementSoftwareVersion": taskkit.__version__,
        "DataTransferOrigin": _OFFICE,
    }


def _attached(name: str, file_type: str, content: bytes, *, version: str | None = None) -> Element:
    """The entry of an attached file; its maker's number stays empty, the project has none."""
    entry = {"A": name, "B": _GIVE_BACK, "C": "", "D": file_type}
    return Element("AFE", {**entry, **({"E": version} if version else {}), "F": str(len(content))})


def _read_attached(data: TaskData, uuids: Uuids, reading: Reading) -> Attached:
    """What HEADLAND.XML says; every other companion is told as something that the plan has no word for."""
    entries = {(entry.get("A") or "").strip().upper(): entry for entry in data.main.elements("AFE")}
    file = next((name for name in data.companions if name.upper() == HEADLAND_FILE), None)
    for name in data.companions:
        if name != file and name.upper() != LINK_FILE:
            reading.beyond(f"files *.{name.rpartition('.')[2][:9]} beside the task file")
    if file is not None:
        return read_headland_file(lambda: data.companions[file], uuids, reading)
    if HEADLAND_FILE in entries:
        reading.found(MISSING, entries[HEADLAND_FILE], file=HEADLAND_FILE)
    return Attached()


def _refuse_shared_uuids(plan: Plan) -> None:
    seen: dict[UUID, str] = {}
    for leaf in leaves(plan):
        if leaf.path.rpartition(".")[2] != "uuid":
            continue
        if leaf.value in seen:
            both = f"{seen[leaf.value]} and {leaf.label}"
            raise RefusedError(f"{leaf.value} stands for two objects, {both}; nothing was written")
        seen[leaf.value] = leaf.label
