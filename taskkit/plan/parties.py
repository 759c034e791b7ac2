"""People and names in the office's lists: customers, farms, workers, crops, products, operations."""

from __future__ import annotations

from taskkit.plan.base import CustomerReference, PlanObject
from taskkit.plan.scalars import Listed, Text

__all__ = ["Crop", "Customer", "Farm", "Operation", "Product", "Variety", "Worker"]


class _Address(PlanObject):
    name: Text
    street: Text | None = None
    po_box: Text | None = None
    postal_code: Text | None = None
    city: Text | None = None
    state: Text | None = None
    country: Text | None = None


class Customer(_Address):
    """Whoever the work is done for."""

    word = "customer"

    name: Text
    """Last name of a person, or the name of an organisation."""
    first_name: Text | None = None
    phone: Text | None = None
    mobile: Text | None = None
    fax: Text | None = None
    email: Text | None = None


class Farm(_Address):
    """A farm: fields that are managed together."""

    word = "farm"

    customer: CustomerReference | None = None
    """Whose farm it is."""


class Worker(PlanObject):
    """Whoever drives."""

    word = "worker"

    name: Text
    """Last name."""
    first_name: Text | None = None
    phone: Text | None = None
    mobile: Text | None = None
    email: Text | None = None
    licence: Text | None = None
    """Number of the licence that the work asks for."""


class Variety(PlanObject):
    """A variety of a crop."""

    word = "variety"

    name: Text


class Crop(PlanObject):
    """What grows, or is to grow, on a field."""

    word = "crop"

    name: Text
    varieties: Listed[Variety] = ()


class Product(PlanObject):
    """What is brought onto a field or taken off it."""

    word = "product"

    name: Text
    kind: Text | None = None
    """What it is: seed, fertiliser, spray."""


class Operation(PlanObject):
    """What is done on a field: sowing, spraying, rolling."""

    word = "operation"

    name: Text
