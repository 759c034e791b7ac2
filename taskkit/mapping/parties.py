"""Customers and farms."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from uuid import UUID

from taskkit.mapping.identity import CUSTOMER, FARM, Ids, Uuids
from taskkit.mapping.ledger import Noticed
from taskkit.mapping.reading import Reading
from taskkit.mapping.texts import fitted, read_texts, write_texts
from taskkit.plan.model import Customer, Farm, Plan
from taskkit.taskdata.document import Element

__all__ = ["read_customer", "read_farm", "read_reference", "reference", "write_customers", "write_farms"]

_CUSTOMER = {
    "name": "B",
    "first_name": "C",
    "street": "D",
    "po_box": "E",
    "postal_code": "F",
    "city": "G",
    "state": "H",
    "country": "I",
    "phone": "J",
    "mobile": "K",
    "fax": "L",
    "email": "M",
}
_FARM = {
    "name": "B",
    "street": "C",
    "po_box": "D",
    "postal_code": "E",
    "city": "F",
    "state": "G",
    "country": "H",
}


def write_customers(plan: Plan, ids: Ids, noticed: Noticed) -> Iterator[Element]:
    """One CTR for each customer."""
    for customer, name in zip(plan.customers, fitted(plan.customers, "CTR", "B"), strict=True):
        texts = write_texts(customer, "CTR", _CUSTOMER, path="customers", noticed=noticed, name=name)
        yield Element("CTR", {"A": ids.of(CUSTOMER, customer.uuid), **texts})


def read_customer(element: Element, uuids: Uuids, reading: Reading) -> Customer:
    """The customer that a CTR stands for."""
    reading.beyond_attributes(element, ("A", *_CUSTOMER.values()))
    reading.beyond_children(element)
    return Customer(uuid=uuids.take(element, element.get("A")), **read_texts(element, _CUSTOMER))


def write_farms(plan: Plan, ids: Ids, noticed: Noticed) -> Iterator[Element]:
    """One FRM for each farm."""
    for farm, name in zip(plan.farms, fitted(plan.farms, "FRM", "B"), strict=True):
        texts = write_texts(farm, "FRM", _FARM, path="farms", noticed=noticed, name=name)
        customer = reference(CUSTOMER, farm.customer, ids, path="farms.customer", owner=farm.uuid, noticed=noticed)
        yield Element("FRM", {"A": ids.of(FARM, farm.uuid), **texts, **({"I": customer} if customer else {})})


def read_farm(element: Element, uuids: Uuids, customers: Mapping[str, UUID], reading: Reading) -> Farm:
    """The farm that an FRM stands for.

    Args:
        element: the FRM.
        uuids: gives it its UUID.
        customers: identifier -> UUID of the set's customers.
        reading: is told what is broken, and what the plan has no word for.
    """
    reading.beyond_attributes(element, ("A", "I", *_FARM.values()))
    reading.beyond_children(element)
    return Farm(
        uuid=uuids.take(element, element.get("A")),
        customer=read_reference(element, "I", customers, reading),
        **read_texts(element, _FARM),
    )


def reference(kind: str, target: UUID | None, ids: Ids, *, path: str, owner: UUID, noticed: Noticed) -> str | None:
    """The identifier of what an object refers to; None, and noticed, where the plan does not hold it."""
    if target is None:
        return None
    try:
        return ids.of(kind, target)
    except LookupError:
        noticed.not_carried(path, owner, f"the plan holds no {kind} {target}")
        return None


def read_reference(element: Element, code: str, targets: Mapping[str, UUID], reading: Reading) -> UUID | None:
    """The UUID of what an attribute refers to; None, and a finding, where the set does not hold it."""
    text = (element.get(code) or "").strip()
    if text and text not in targets:
        reading.left_out(element, f"the set holds no {text[:14]}", what=f"The reference {element.tag}@{code}")
    return targets.get(text)
