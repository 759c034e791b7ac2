"""Another valid value for each leaf of a plan, near enough that nothing else of the plan has to change with it."""

from __future__ import annotations

import datetime
import enum
from uuid import UUID

from taskkit.geometry.line import LonLatLine, Part
from taskkit.plan.leaves import Leaf
from taskkit.plan.members import objects_in
from taskkit.plan.model import Action, DepthWord, FeatureKind, LineKind, Passes, Place, Plan, Purpose
from taskkit.plan.quantities import Area, Duration, Length, Speed

WITH_ARGUMENT = (Action.SPEED, Action.NOTE, *(action for action in Action if action.startswith("remote valve")))


def another(plan: Plan, leaf: Leaf):
    """A value for a leaf that has one; raises LookupError where there is none."""
    value, member = leaf.value, leaf.path.rpartition(".")[2]
    if member == "uuid":
        return UUID(int=value.int + 10**12)
    if isinstance(value, UUID):
        return next(uuid for uuid in _meant(plan, leaf) if uuid != value)
    for cls, other in _OTHERS:
        if isinstance(value, cls):
            return other(value, leaf)
    raise LookupError(f"no other value is known for {leaf.label}")


def _meant(plan: Plan, leaf: Leaf):
    """The UUIDs that a reference may have instead."""
    owner = next(one for one in objects_in(plan) if one.uuid == leaf.owner)
    field = next((f for f in plan.fields if f.uuid in (leaf.owner, getattr(owner, "field", None))), None)
    field = field or next((f for f in plan.fields if leaf.owner in {one.uuid for one in objects_in(f)}), None)
    member = leaf.path.rpartition(".")[2]
    lines = [*(line for one in plan.fields for line in one.lines), *plan.shared_lines]
    match member:
        case "row_end":
            found = plan.row_end_plans
        case "variety":
            found = next(crop.varieties for crop in plan.crops if crop.uuid == owner.crop)
        case "side":
            found = field.sides
        case "feature":
            found = field.features
        case "point":
            found = [one for one in field.features if one.place.form == "point"]
        case "line":
            used = {one.line for one in owner.lines}
            shared = [line for line in plan.shared_lines if field.uuid in line.fields]
            found = [line for line in (*field.lines, *shared) if line.uuid not in used]
        case "shift":
            found = next(line.shifts for line in lines if leaf.value in {one.uuid for one in line.shifts})
        case _:
            found = getattr(plan, f"{member}s")
    return [one.uuid for one in found]


def _enum(value, leaf):
    if isinstance(value, Purpose):
        # Which outline is chosen must not change.
        return Purpose.PHYSICAL
    if isinstance(value, FeatureKind):
        return FeatureKind.FENCE if value is FeatureKind.POLE else FeatureKind.OBSTACLE
    if isinstance(value, LineKind):
        twins = {LineKind.CURVE: LineKind.SPIRAL, LineKind.SPIRAL: LineKind.CURVE}
        if value not in twins:
            raise LookupError("another kind needs other values")
        return twins[value]
    if isinstance(value, Action):
        if value in WITH_ARGUMENT:
            raise LookupError("its argument would have to change too")
        return Action.SECTIONS_ON if value is not Action.SECTIONS_ON else Action.SECTIONS_OFF
    every = list(type(value))
    return every[(every.index(value) + 1) % len(every)]


def _line(line: LonLatLine) -> LonLatLine:
    points = line.points.copy()
    points[-1] += 1e-7
    return LonLatLine(points)


def _parts(parts):
    if isinstance(parts[0], UUID):
        return parts[::-1]
    return (Part(_line(parts[0].outer), parts[0].holes), *parts[1:])


def _place(place: Place) -> Place:
    return Place(_parts(place.parts) if place.parts else _line(place.line))


_OTHERS = (
    (bool, lambda value, _: not value),
    (DepthWord, lambda value, _: Length("77 m")),
    (enum.Enum, _enum),
    (Passes, lambda value, _: Passes(value.count + 1)),
    (Length, lambda value, _: Length.of(value.metres + 0.25)),
    (Speed, lambda value, _: Speed.of(value.metres_per_second + 1)),
    (Duration, lambda value, _: Duration.of(value.seconds + 1)),
    (Area, lambda value, _: Area("7 ha")),
    (datetime.date, lambda value, _: value + datetime.timedelta(days=1)),
    (int, lambda value, _: value + 1),
    (float, lambda value, leaf: value + (0.1 if "heading" in leaf.path else 1e-6)),
    (LonLatLine, lambda value, _: _line(value)),
    (Place, lambda value, _: _place(value)),
    (tuple, lambda value, _: _parts(value)),
    (str, lambda value, _: f"~{value}"[:9]),
)
