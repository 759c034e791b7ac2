"""Plan to task data and back, one module a topic, both directions side by side."""

from taskkit.mapping.ledger import Carried, Entry, Ledger, Rounding, ledger_class, stays_in_the_office
from taskkit.mapping.plans import OUR_FILES, ReadBack, Written, is_ours, read_plan, write_plan

__all__ = [
    "OUR_FILES",
    "Carried",
    "Entry",
    "Ledger",
    "ReadBack",
    "Rounding",
    "Written",
    "is_ours",
    "ledger_class",
    "read_plan",
    "stays_in_the_office",
    "write_plan",
]
