"""The class of each leaf of a plan by its kind: where reading takes it from."""

from __future__ import annotations

import enum
from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["Carried", "ledger_class"]


class Carried(enum.StrEnum):
    """The class of a leaf: where reading takes it from."""

    NATIVE = "native"
    """An element or attribute of the standard carries it, within the format's resolution."""
    APPROXIMATED = "approximated"
    """Carried, but changed beyond the resolution."""
    ATTACHED = "attached"
    """Only HEADLAND.XML carries it."""
    KEPT = "kept"
    """Office knowledge that stays in the plan."""
    NOT_CARRIED = "not carried"
    """The machine needs it and does not get it."""


_ADDRESS = "street po_box postal_code city state country"
_STEP = "action at reference speed text valve"
_ORIGIN = "origin.crs origin.frame origin.epoch origin.operation origin.operation_accuracy"
_HEADLAND = "headland.depth headland.sides.side headland.sides.depth"
_ISLANDS = "headland.islands.hole headland.islands.feature headland.islands.depth"
_PATTERN = "spacing anchor propagation extension passes_left passes_right limit"
_FORM = "a.lon_deg a.lat_deg b.lon_deg b.lat_deg heading_deg path centre.lon_deg centre.lat_deg radius direction"
_SECTOR = "sector.start_heading_deg sector.end_heading_deg"
_TRACTOR = "name turning_radius reversing rear_axle_to_hitch width"
_TOOL = (
    "name attachment hitch_to_axle working_width lengthwise_offset sideways_offset folded_width fold_time "
    "clear_of_soil fully_raised touching_down at_depth sections_on_latency sections_off_latency"
)


def _line(prefix: str) -> tuple[tuple[str, Carried, str], ...]:
    return (
        (prefix, Carried.NATIVE, f"uuid name group kind {_PATTERN} {_FORM} {_SECTOR}"),
        (prefix, Carried.ATTACHED, "tramline.interval tramline.phase"),
        (prefix, Carried.KEPT, f"source {_ORIGIN}"),
        # Of a shift that a job uses; of the others everything is kept.
        (f"{prefix}shifts.", Carried.NATIVE, "across along"),
        (f"{prefix}shifts.", Carried.ATTACHED, "uuid date"),
        (f"{prefix}shifts.", Carried.KEPT, "note"),
    )


_TABLE: tuple[tuple[str, Carried, str], ...] = (
    ("", Carried.NATIVE, "uuid"),
    ("", Carried.KEPT, "name steering_frame steering_crs"),
    ("customers.", Carried.NATIVE, f"uuid name first_name {_ADDRESS} phone mobile fax email"),
    ("farms.", Carried.NATIVE, f"uuid name customer {_ADDRESS}"),
    ("workers.", Carried.NATIVE, "uuid name first_name phone mobile email licence"),
    ("crops.", Carried.NATIVE, "uuid name varieties.uuid varieties.name"),
    ("products.", Carried.NATIVE, "uuid name kind"),
    ("operations.", Carried.NATIVE, "uuid name"),
    # Of a machine that is in use; others stay in the office.
    ("machines.", Carried.ATTACHED, "uuid name code working_speed turning_speed transport_speed row_end"),
    ("machines.tractor.", Carried.ATTACHED, _TRACTOR),
    ("machines.tools.", Carried.ATTACHED, _TOOL),
    ("row_end_plans.", Carried.ATTACHED, "uuid name machine turn side skip working_speed turning_speed"),
    ("row_end_plans.leaving.", Carried.ATTACHED, _STEP),
    ("row_end_plans.entering.", Carried.ATTACHED, _STEP),
    ("fields.", Carried.NATIVE, "uuid name code customer farm crop variety"),
    ("fields.", Carried.KEPT, "official_code declared_area"),
    ("fields.", Carried.ATTACHED, f"{_HEADLAND} {_ISLANDS} row_end row_ends.machine row_ends.row_end"),
    # Of the boundary that is chosen; of the others everything is kept.
    ("fields.boundaries.", Carried.NATIVE, "uuid parts"),
    ("fields.boundaries.", Carried.KEPT, "purpose season source method date accuracy person recorded offset"),
    ("fields.boundaries.", Carried.KEPT, _ORIGIN),
    ("fields.sides.", Carried.ATTACHED, "uuid name kind turning overhang"),
    ("fields.sides.start.", Carried.ATTACHED, "lon_deg lat_deg point"),
    ("fields.sides.end.", Carried.ATTACHED, "lon_deg lat_deg point"),
    ("fields.features.", Carried.NATIVE, "uuid name kind place"),
    ("fields.features.", Carried.ATTACHED, "safety_distance"),
    ("fields.features.", Carried.KEPT, f"source date {_ORIGIN}"),
    *_line("fields.lines."),
    *_line("shared_lines."),
    ("shared_lines.", Carried.ATTACHED, "fields"),
    ("jobs.", Carried.NATIVE, "uuid name field lines.line start end worker operation product"),
    ("jobs.", Carried.ATTACHED, f"machine crop variety boundary.purpose boundary.season {_HEADLAND} {_ISLANDS}"),
    ("jobs.", Carried.ATTACHED, "headland_worked row_end lines.shift"),
)
_CLASSES: Mapping[str, Carried] = MappingProxyType(
    {prefix + member: carried for prefix, carried, row in _TABLE for member in row.split()}
)


def ledger_class(path: str) -> Carried:
    """The class that a leaf of the plan has by its kind, e.g. ``fields.lines.spacing``.

    One leaf of the kind can fare worse: a name that is too long, a boundary that is not chosen.

    Raises:
        LookupError: a plan has no such leaf.
    """
    return _CLASSES[path]
