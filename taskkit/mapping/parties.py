"""Customers, farms and workers."""

from __future__ import annotations

from collections.abc import Iterator

from taskkit.mapping.identity import CUSTOMER, FARM, WORKER, Ids, Uuids
from taskkit.mapping.known import Known
from taskkit.mapping.ledger import Noticed
from taskkit.mapping.reading import Reading
from taskkit.mapping.texts import fitted, read_texts, write_texts
from taskkit.plan.model import Customer, Farm, Plan, Worker
from taskkit.taskdata.document import Element

__all__ = ["read_customer", "read_farm", "read_worker", "write_customers", "write_farms", "write_workers"]

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

_WORKER = {"name": "B", "first_name": "C", "phone": "J", "mobile": "K", "licence": "L", "email": "M"}


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
        customer = {"I": ids.of(CUSTOMER, farm.customer)} if farm.customer else {}
        yield Element("FRM", {"A": ids.of(FARM, farm.uuid), **texts, **customer})


def read_farm(element: Element, uuids: Uuids, known: Known, reading: Reading) -> Farm:
    """The farm that an FRM stands for.

    Args:
        element: the FRM.
        uuids: gives it its UUID.
        known: the set's customers.
        reading: is told what is broken, and what the plan has no word for.
    """
    reading.beyond_attributes(element, ("A", "I", *_FARM.values()))
    reading.beyond_children(element)
    customer = known.meant(element, "I", "CTR", reading)
    return Farm(uuid=uuids.take(element, element.get("A")), customer=customer, **read_texts(element, _FARM))


def write_workers(plan: Plan, ids: Ids, noticed: Noticed) -> Iterator[Element]:
    """One WKR for each worker."""
    for worker, name in zip(plan.workers, fitted(plan.workers, "WKR", "B"), strict=True):
        texts = write_texts(worker, "WKR", _WORKER, path="workers", noticed=noticed, name=name)
        yield Element("WKR", {"A": ids.of(WORKER, worker.uuid), **texts})


def read_worker(element: Element, uuids: Uuids, reading: Reading) -> Worker:
    """The worker that a WKR stands for."""
    reading.beyond_attributes(element, ("A", *_WORKER.values()))
    reading.beyond_children(element)
    return Worker(uuid=uuids.take(element, element.get("A")), **read_texts(element, _WORKER))
