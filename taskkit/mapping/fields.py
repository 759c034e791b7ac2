"""Fields and the boundary that was chosen: one polygon for each part, its outer ring and its holes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from taskkit.geometry.geodesy import area_m2
from taskkit.mapping.features import is_feature, read_features, write_features
from taskkit.mapping.guidance import LineReader, write_groups
from taskkit.mapping.headland_file import Attached
from taskkit.mapping.headlands import Headlands, Recogniser
from taskkit.mapping.identity import CROP, CUSTOMER, FARM, FIELD, PART, TAGS, VARIETY, Ids, Uuids, chosen, part_of
from taskkit.mapping.known import Known
from taskkit.mapping.ledger import Noticed
from taskkit.mapping.polygons import area_text, first_parts, read_parts, write_polygon
from taskkit.mapping.reading import Reading
from taskkit.mapping.texts import fitted, read_texts, write_texts
from taskkit.plan.model import Boundary, BoundaryChoice, Field, GuidanceLine, Plan
from taskkit.taskdata.document import Element, Points

__all__ = ["read_field", "write_fields"]

_TEXTS = {"code": "B", "name": "C"}
_REFERENCES = {"customer": ("E", CUSTOMER), "farm": ("F", FARM), "crop": ("G", CROP), "variety": ("H", VARIETY)}
"""Member of a field -> the attribute that names an object, and the kind of that object."""
_BOUNDARY = "1"
_GUIDANCE = "5"


def write_fields(
    plan: Plan, ids: Ids, noticed: Noticed, *, headlands: Headlands, boundary: BoundaryChoice | None = None
) -> Iterator[Element]:
    """One PFD for each field: its boundary, what lies on it, its guidance lines, what follows from its headland."""
    for field, name in zip(plan.fields, fitted(plan.fields, "PFD", "C"), strict=True):
        element = Element("PFD", {"A": ids.of(FIELD, field.uuid)})
        element.attributes |= write_texts(field, "PFD", _TEXTS, path="fields", noticed=noticed, name=name)
        outline = chosen(field, boundary)
        parts = outline.parts if outline else ()
        areas_m2 = [area_m2([part]) for part in parts]
        element.attributes["D"] = area_text(sum(areas_m2), "PFD", "D", noticed) or "0"
        for member, (code, sort) in _REFERENCES.items():
            if target := getattr(field, member):
                element.attributes[code] = ids.of(sort, target)
        for ordinal, (part, part_area_m2) in enumerate(zip(parts, areas_m2, strict=True)):
            assert outline
            identifier = ids.of(PART, part_of(outline, ordinal))
            area = area_text(part_area_m2, "PLN", "C", noticed)
            element.add(write_polygon(part, noticed, kind=_BOUNDARY, area=area, identifier=identifier))
        things = (*write_features(field, ids, noticed), *write_groups(plan, field, ids, noticed))
        for thing in (*things, *headlands.write(field, ids)):
            element.add(thing)
        yield element


def read_field(
    element: Element,
    uuids: Uuids,
    known: Known,
    attached: Attached,
    lines: LineReader,
    derived: Recogniser,
    reading: Reading,
) -> Field:
    """The field that a PFD stands for.

    Args:
        element: the PFD.
        uuids: gives the field and what it holds their UUIDs.
        known: the set's customers, farms, crops and varieties.
        attached: what HEADLAND.XML says of fields.
        lines: reads its guidance lines.
        derived: tells what follows from its headland, and is passed over.
        reading: is told what is broken, and what the plan has no word for.
    """
    reading.beyond_attributes(element, ("A", "D", *(code for code, _ in _REFERENCES.values()), *_TEXTS.values()))
    uuid = uuids.take(element, element.get("A"))
    polygons: list[Element] = []
    things: list[Element] = []
    guidance: list[GuidanceLine] = []
    for child in _children(element):
        if derived(uuid, child):
            continue
        if is_feature(child):
            things.append(child)
        elif child.tag == "PLN" and _kind(child) == _BOUNDARY:
            polygons.append(child)
        elif child.tag == "GGP":
            guidance += lines.group(child, field=uuid, derived=derived)
        elif child.tag == "LSG" and _kind(child) == _GUIDANCE:
            guidance += filter(None, [lines.string(child)])
        else:
            reading.beyond_element(child)
    outline = _read_boundary(polygons, uuids, reading)
    references = {
        member: known.meant(element, code, TAGS[sort], reading) for member, (code, sort) in _REFERENCES.items()
    }
    return Field(
        uuid=uuid,
        boundaries=(outline,) if outline else (),
        lines=tuple(guidance),
        features=read_features(things, uuids, attached.features, reading),
        **references,
        **attached.fields.get(uuid, {}),
        **read_texts(element, _TEXTS),
    )


def _children(element: Element) -> Iterator[Element]:
    """The elements that one holds, points among them."""
    for child in element.children:
        if isinstance(child, Points):
            yield from child.elements()
        elif isinstance(child, Element):
            yield child


def _read_boundary(polygons: Sequence[Element], uuids: Uuids, reading: Reading) -> Boundary | None:
    """One boundary from all polygons of its type, however they share out parts and holes."""
    parts = [part for polygon in polygons for part in read_parts(polygon, reading)]
    for polygon in polygons:
        reading.beyond_attributes(polygon, ("A", "C", "E"))
    if not parts:
        return None
    # The first part goes by the boundary's own UUID; a terminal may have put the parts in another order.
    numbers = first_parts(polygons, uuids)
    linked = [n for n, polygon in enumerate(polygons) if uuids.linked(polygon.get("E"))]
    first = polygons[next((n for n in linked if numbers[n] == n), 0)]
    return Boundary(uuid=uuids.take(first, first.get("E")), parts=tuple(parts))


def _kind(element: Element) -> str:
    return (element.get("A") or "").strip()
