"""Lasting identity: numbers and UUIDs of the plan, identifiers and the link list of the set."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Iterator
from uuid import UUID, uuid5

from taskkit.findings import Severity, kind
from taskkit.mapping.reading import Reading
from taskkit.plan.choices import lines_of
from taskkit.plan.identity import Identified, Identity, derived
from taskkit.plan.model import Boundary, BoundaryChoice, Feature, Field, GuidanceLine, Plan
from taskkit.taskdata.dictionary import LINK_ROOT
from taskkit.taskdata.document import Element

__all__ = [
    "Ids",
    "Uuids",
    "chosen",
    "group_named",
    "group_of",
    "link_list",
    "linked_plan",
    "numbered",
    "part_of",
    "product_kind",
    "read_links",
    "set_uuid",
]

CUSTOMER, FARM, WORKER, FIELD, JOB = "customer", "farm", "worker", "field", "job"
CROP, VARIETY, OPERATION, PRODUCT, PRODUCT_KIND = "crop", "variety", "operation", "product", "product kind"
GROUP, LINE = "guidance group", "guidance line"
FEATURE_POINT, FEATURE_LINE = "feature point", "feature line"
# What follows from the depth of a headland; the words are its roles too, from which its UUIDs are derived.
MAIN_FIELD, HEADLAND, HEADLAND_PASSES, HEADLAND_PASS = "main field", "headland", "headland passes", "headland pass"
# Areas are of one kind with the parts of boundaries: both are polygons.
PART = "boundary part"
FEATURE_AREA = PART
TAGS = {
    CUSTOMER: "CTR",
    FARM: "FRM",
    WORKER: "WKR",
    CROP: "CTP",
    VARIETY: "CVT",
    OPERATION: "CPC",
    PRODUCT_KIND: "PGP",
    PRODUCT: "PDT",
    FIELD: "PFD",
    PART: "PLN",
    MAIN_FIELD: "PLN",
    HEADLAND: "PLN",
    FEATURE_LINE: "LSG",
    FEATURE_POINT: "PNT",
    GROUP: "GGP",
    HEADLAND_PASSES: "GGP",
    LINE: "GPN",
    HEADLAND_PASS: "GPN",
    JOB: "TSK",
}
"""What has a number in the plan's own list of numbers, and the element whose identifiers have that number.

Kinds of one element count together: their identifiers must differ.
"""
_FORMS = {"point": FEATURE_POINT, "line": FEATURE_LINE, "area": FEATURE_AREA}

LINK = kind(
    "link-unusable",
    Severity.WARNING,
    "The link of {id} to {value} is passed over: {reason}.",
    hint="Ask the program that wrote the link list for one UUID for each object.",
    why="Without a lasting identity of its own, the object will not be recognised when the set comes back.",
    source="ISO 11783-10, link list (recalled)",
)

_UUIDS = "1"
_PLAN = "urn:uuid:"
_SETS = UUID("b2b0a4ad-6c44-4f0c-9a5b-6a0f0a1de0c7")
"""The namespace of our own for the UUIDs of sets that bring none."""
_UUID = re.compile(r"\{?([0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12})\}?")
_ID = re.compile(r"([A-Z]{3})([1-9][0-9]{0,8})")


def chosen(field: Field, boundary: BoundaryChoice | None = None) -> Boundary | None:
    """The outline of a field that is written: the usual one, or that of a choice for the whole set."""
    return field.boundary(boundary.purpose, season=boundary.season) if boundary else field.boundary()


def part_of(thing: Boundary | Feature, ordinal: int) -> UUID:
    """The UUID of a part of an area; the first part goes by that of the whole, so that it comes back."""
    return derived(thing.uuid, PART, ordinal) if ordinal else thing.uuid


def group_of(field: Field, line: GuidanceLine) -> UUID:
    """The UUID of the group that a guidance line is in on a field; a line outside of any has one of its own."""
    return derived(line.uuid, GROUP) if line.group is None else group_named(field.uuid, line.group)


def group_named(field: UUID, name: str) -> UUID:
    """The UUID of the group of a name on a field."""
    return derived(field, f"{GROUP} {name}")


def product_kind(plan: Plan, kind: str) -> UUID:
    """The UUID of what products of one kind have in common."""
    return derived(plan.uuid, f"{PRODUCT_KIND} {kind}")


def numbered(plan: Plan, *, boundary: BoundaryChoice | None = None) -> Iterator[Identified]:
    """Every object that has an element with an identifier, in the order of the set, and no object twice.

    Args:
        plan: the whole.
        boundary: the outline of each field that is written, where it is not the usual one.
    """
    for sort, objects in (
        (CUSTOMER, plan.customers),
        (FARM, plan.farms),
        (WORKER, plan.workers),
        (OPERATION, plan.operations),
    ):
        yield from (Identified(sort, one.uuid, one.name) for one in objects)
    for word in dict.fromkeys(product.kind for product in plan.products if product.kind is not None):
        yield Identified(PRODUCT_KIND, product_kind(plan, word), word)
    yield from (Identified(PRODUCT, product.uuid, product.name) for product in plan.products)
    for crop in plan.crops:
        yield Identified(CROP, crop.uuid, crop.name)
        yield from (Identified(VARIETY, one.uuid, f"{crop.name}, {one.name}") for one in crop.varieties)
    for field in plan.fields:
        yield Identified(FIELD, field.uuid, field.name)
        outline = chosen(field, boundary)
        for ordinal in range(len(outline.parts) if outline else 0):
            assert outline
            yield Identified(PART, part_of(outline, ordinal), f"{field.name}, part {ordinal + 1}")
        yield from _on_the_ground(field)
        yield from _guidance(field, lines_of(plan, field))
    yield from (Identified(JOB, job.uuid, job.name) for job in plan.jobs)


def _on_the_ground(field: Field) -> Iterator[Identified]:
    for feature in field.features:
        for ordinal in range(len(feature.place.parts) or 1):
            uuid = part_of(feature, ordinal)
            yield Identified(_FORMS[feature.place.form], uuid, f"{field.name}, {feature.name}")


def _guidance(field: Field, lines: tuple[GuidanceLine, ...]) -> Iterator[Identified]:
    groups = set()
    for line in lines:
        if (group := group_of(field, line)) not in groups:
            groups.add(group)
            name = line.name if line.group is None else line.group
            yield Identified(GROUP, group, f"{field.name}, {name}")
        yield Identified(LINE, line.uuid, f"{field.name}, {line.name}")


class Ids:
    """The identifiers of one set, from the numbers that the plan's objects keep for good."""

    def __init__(self, identity: Identity) -> None:
        self._identity = identity

    def of(self, kind: str, uuid: UUID) -> str:
        """The identifier of an object, e.g. ``PFD7``; raises LookupError where it has none."""
        return f"{TAGS[kind]}{self._identity.number(kind, uuid)}"


def link_list(plan: Plan, objects: Iterable[Identified], ids: Ids, head: dict[str, str]) -> Element:
    """The root of LINKLIST.XML: one group of UUIDs, in the namespace of the plan.

    The plan has no element; its UUID is the namespace of the group, as a URN (RFC 4122, section 3).

    Args:
        plan: the whole.
        objects: what is named in it.
        ids: gives them their identifiers.
        head: the attributes of the root.
    """
    root = Element(LINK_ROOT, head)
    group = Element("LGP", {"A": "LGP1", "B": _UUIDS, "D": f"{_PLAN}{plan.uuid}"})
    root.add(group)
    for one in objects:
        group.add(Element("LNK", {"A": ids.of(one.kind, one.uuid), "B": str(one.uuid)}))
    return root


def linked_plan(links: Element | None) -> UUID | None:
    """The UUID of the plan that a set was written from, None where it does not tell."""
    for group in _groups(links):
        if found := _uuid((group.get("D") or "").strip().lower().removeprefix(_PLAN)):
            return found
    return None


def read_links(links: Element | None, reading: Reading) -> dict[str, UUID]:
    """Identifier -> UUID for every usable link of every group of UUIDs; the first link of an identifier counts."""
    found: dict[str, UUID] = {}
    seen: set[UUID] = set()
    for group in _groups(links):
        for link in group.elements("LNK"):
            target, value = (link.get("A") or "").strip(), link.get("B") or ""
            uuid = _uuid(value.strip().lower().removeprefix(_PLAN))
            if uuid is not None and uuid in seen and found.get(target) != uuid:
                reading.found(LINK, link, id=target[:14], value=value[:80], reason="another object has this UUID")
            elif uuid is None:
                reading.found(LINK, link, id=target[:14], value=value[:80], reason="it is no UUID")
            elif target not in found:
                found[target] = uuid
                seen.add(uuid)
    return found


def set_uuid(main: Element) -> UUID:
    """A UUID for a set that brings none, from its customers, farms and fields: their identifiers and names.

    Geometry does not count, so that a set keeps it when a terminal moved a boundary.
    """
    digest = hashlib.sha256((main.get("ManagementSoftwareManufacturer") or "").encode())
    for element in main.elements():
        if element.tag in ("CTR", "FRM", "PFD"):
            texts = (element.tag, *(f"{code}={element.get(code)}" for code in "ABC"))
            digest.update("\x1f".join(("", *texts)).encode())
    return uuid5(_SETS, digest.hexdigest())


class Uuids:
    """Gives every object that is read a UUID, and no UUID twice.

    Args:
        links: identifier -> UUID, of the link list.
        identity: numbers that a plan keeps, for objects without a link.
        base: the parent of UUIDs for objects that neither of them knows.
        taken: UUIDs that are in use.
    """

    def __init__(self, links: dict[str, UUID], identity: Identity, *, base: UUID, taken: set[UUID]) -> None:
        self._links = links
        self._reserved = set(links.values())
        self._identity = identity
        self._base = base
        self._taken = taken

    def knows(self, kind: str, uuid: UUID) -> bool:
        """Whether an object is named in the link list, or has a number of a kind in the plan's own."""
        return uuid in self._reserved or self._identity.has(kind, uuid)

    def linked(self, identifier: str | None) -> UUID | None:
        """The UUID that stands for an identifier, in the link list or else in the plan's own numbers."""
        if not identifier:
            return None
        match = _ID.fullmatch(identifier)
        own = (
            (self._identity.uuid(kind, int(match[2])) for kind, tag in TAGS.items() if tag == match[1]) if match else ()
        )
        return self._links.get(identifier) or next(filter(None, own), None)

    def take(self, element: Element, identifier: str | None) -> UUID:
        """The UUID of an object; one of our own from the element's identifier, or its place, where none is known."""
        for uuid in (self.linked(identifier), identifier and uuid5(self._base, identifier)):
            if uuid and uuid not in self._taken:
                return self._take(uuid)
        return self._take(uuid5(self._base, element.path()))

    def free(self, uuid: UUID) -> bool:
        """Take a UUID that something else than an element brings; False where it belongs to an object already."""
        if uuid in self._taken or uuid in self._reserved:
            return False
        self._take(uuid)
        return True

    def _take(self, uuid: UUID) -> UUID:
        self._taken.add(uuid)
        return uuid


def _groups(links: Element | None) -> Iterator[Element]:
    """The groups of a link list that hold UUIDs."""
    if links is not None:
        yield from (group for group in links.elements("LGP") if (group.get("B") or "").strip() == _UUIDS)


def _uuid(text: str) -> UUID | None:
    match = _UUID.fullmatch(text)
    return UUID(match[1]) if match else None
