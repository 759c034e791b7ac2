"""Row ends: what the combination does between the end of one pass and the start of the next."""

from __future__ import annotations

import pydantic

from taskkit.plan.base import MachineReference, PlanObject, PlanValue, RowEndReference
from taskkit.plan.quantities import Length, Speed
from taskkit.plan.scalars import Count, Listed, Positive, Text
from taskkit.plan.words import Action, ReferencePoint, TurnShape, TurnSide

__all__ = ["MachineRowEnd", "RowEndPlan", "Step"]

_VALVE_ACTIONS = (Action.REMOTE_VALVE_EXTEND, Action.REMOTE_VALVE_RETRACT, Action.REMOTE_VALVE_FLOAT)
_ARGUMENTS = (("speed", (Action.SPEED,)), ("text", (Action.NOTE,)), ("valve", _VALVE_ACTIONS))


class Step(PlanValue):
    """One thing to do at one place of a row end.

    Raises:
        ValueError: a speed without the action *speed* or the reverse; a text without the action *note* or the
            reverse; a valve without an action of a remote valve or the reverse.
    """

    word = "step"

    action: Action
    at: Length
    """Row-end distance: along the path from where the reference point crosses the headland line; negative before it."""
    reference: ReferencePoint
    """The point of the combination that crosses the line."""
    speed: Speed | None = None
    """The ground speed to take up; only and always with the action *speed*."""
    text: Text | None = None
    """What the driver is told; only and always with the action *note*."""
    valve: Positive | None = None
    """The number of the remote valve; only and always with an action of one."""

    @pydantic.model_validator(mode="after")
    def _argument_fits_action(self) -> Step:
        for name, actions in _ARGUMENTS:
            given = getattr(self, name) is not None
            if self.action in actions and not given:
                raise ValueError(f"the action {self.action.value!r} needs `{name}`")
            if self.action not in actions and given:
                goes = "an action of a remote valve" if len(actions) > 1 else f"the action {actions[0].value!r}"
                raise ValueError(f"`{name}` goes with {goes} only")
        return self


class RowEndPlan(PlanObject):
    """What happens between the end of one pass and the start of the next."""

    word = "row-end plan"

    name: Text
    machine: MachineReference | None = None
    """The combination that it was made for."""
    turn: TurnShape | None = None
    """Shape of the turn."""
    side: TurnSide | None = None
    """Side to which the first turn goes."""
    skip: Count | None = None
    """How many passes are left out between one and the next."""
    working_speed: Speed | None = None
    """Ground speed on the pass."""
    turning_speed: Speed | None = None
    """Ground speed in the turn."""
    leaving: Listed[Step] = ()
    """Steps while leaving the row: from the pass into the headland."""
    entering: Listed[Step] = ()
    """Steps while entering the row: from the headland into the pass."""


class MachineRowEnd(PlanValue):
    """The row-end plan that one machine follows on a field."""

    word = "row end of a machine"

    machine: MachineReference
    row_end: RowEndReference
