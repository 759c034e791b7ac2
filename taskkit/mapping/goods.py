"""What is grown, brought out and done: crops with their varieties, products and their kinds, operations."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from uuid import UUID

from taskkit.mapping.identity import CROP, OPERATION, PRODUCT, PRODUCT_KIND, VARIETY, Ids, Uuids, product_kind
from taskkit.mapping.known import Known
from taskkit.mapping.ledger import Noticed
from taskkit.mapping.reading import Reading
from taskkit.mapping.texts import became, fitted, read_texts, unique_in, write_texts
from taskkit.plan.model import Crop, Operation, Plan, Product, Variety
from taskkit.taskdata.document import Element

__all__ = [
    "read_crop",
    "read_operation",
    "read_products",
    "write_crops",
    "write_operations",
    "write_products",
]

_NAME = {"name": "B"}
_GROUP_OF_PRODUCTS = "1"


def write_crops(plan: Plan, ids: Ids, noticed: Noticed) -> Iterator[Element]:
    """One CTP for each crop, with a CVT for each of its varieties."""
    for crop, name in zip(plan.crops, fitted(plan.crops, "CTP", "B"), strict=True):
        texts = write_texts(crop, "CTP", _NAME, path="crops", noticed=noticed, name=name)
        element = Element("CTP", {"A": ids.of(CROP, crop.uuid), **texts})
        for variety, short in zip(crop.varieties, fitted(crop.varieties, "CVT", "B"), strict=True):
            texts = write_texts(variety, "CVT", _NAME, path="crops.varieties", noticed=noticed, name=short)
            element.add(Element("CVT", {"A": ids.of(VARIETY, variety.uuid), **texts}))
        yield element


def read_crop(element: Element, uuids: Uuids, known: Known, reading: Reading) -> Crop:
    """The crop that a CTP stands for; its varieties are known afterwards."""
    reading.beyond_attributes(element, ("A", "B"))
    reading.beyond_children(element, "CVT")
    uuid = uuids.take(element, element.get("A"))
    varieties = []
    for child in element.elements("CVT"):
        reading.beyond_attributes(child, ("A", "B"))
        reading.beyond_children(child)
        varieties.append(Variety(uuid=uuids.take(child, child.get("A")), **read_texts(child, _NAME)))
        known.put(child, varieties[-1].uuid)
    return Crop(uuid=uuid, varieties=tuple(varieties), **read_texts(element, _NAME))


def write_products(plan: Plan, ids: Ids, noticed: Noticed) -> Iterator[Element]:
    """One PGP for each kind of product, then one PDT for each product."""
    kinds = list(dict.fromkeys(product.kind for product in plan.products if product.kind is not None))
    words = dict(zip(kinds, unique_in(kinds, "PGP", "B"), strict=True))
    for kind, word in words.items():
        number = ids.of(PRODUCT_KIND, product_kind(plan, kind))
        yield Element("PGP", {"A": number, "B": word, "C": _GROUP_OF_PRODUCTS})
    for product, name in zip(plan.products, fitted(plan.products, "PDT", "B"), strict=True):
        texts = write_texts(product, "PDT", _NAME, path="products", noticed=noticed, name=name)
        element = Element("PDT", {"A": ids.of(PRODUCT, product.uuid), **texts})
        if product.kind is not None:
            element.attributes["C"] = ids.of(PRODUCT_KIND, product_kind(plan, product.kind))
            if (word := words[product.kind]) != product.kind:
                noticed.approximated("products.kind", product.uuid, became(product.kind, word))
        yield element


def read_products(
    groups: Sequence[Element], elements: Sequence[Element], uuids: Uuids, known: Known, reading: Reading
) -> tuple[Product, ...]:
    """The products that the PDT of a set stand for; they are known afterwards.

    Args:
        groups: the PGP of the set: the kinds of product.
        elements: its PDT.
        uuids: gives them their UUIDs.
        known: is told of them.
        reading: is told what is broken, and what the plan has no word for.
    """
    kinds: dict[UUID, str] = {}
    for group in groups:
        usual = ("C",) if (group.get("C") or "").strip() == _GROUP_OF_PRODUCTS else ()
        reading.beyond_attributes(group, ("A", "B", *usual))
        reading.beyond_children(group)
        uuid = uuids.take(group, group.get("A"))
        known.put(group, uuid)
        kinds[uuid] = read_texts(group, _NAME)["name"]
    products = []
    for element in elements:
        reading.beyond_attributes(element, ("A", "B", "C"))
        reading.beyond_children(element)
        sort = known.meant(element, "C", "PGP", reading)
        uuid = uuids.take(element, element.get("A"))
        products.append(Product(uuid=uuid, kind=kinds[sort] if sort else None, **read_texts(element, _NAME)))
        known.put(element, uuid)
    used = {product.kind for product in products}
    for group, word in zip(groups, kinds.values(), strict=True):
        if word not in used:
            reading.beyond("PGP (ProductGroup without a product)", group)
    return tuple(products)


def write_operations(plan: Plan, ids: Ids, noticed: Noticed) -> Iterator[Element]:
    """One CPC for each operation."""
    for operation, name in zip(plan.operations, fitted(plan.operations, "CPC", "B"), strict=True):
        texts = write_texts(operation, "CPC", _NAME, path="operations", noticed=noticed, name=name)
        yield Element("CPC", {"A": ids.of(OPERATION, operation.uuid), **texts})


def read_operation(element: Element, uuids: Uuids, reading: Reading) -> Operation:
    """The operation that a CPC stands for."""
    reading.beyond_attributes(element, ("A", "B"))
    reading.beyond_children(element)
    return Operation(uuid=uuids.take(element, element.get("A")), **read_texts(element, _NAME))
