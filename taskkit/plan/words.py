"""The words of the plan that come from a closed list."""

from __future__ import annotations

import enum

__all__ = ["Action", "Purpose", "ReferencePoint", "TurnShape", "TurnSide"]


class Purpose(enum.StrEnum):
    """What an outline of a field is meant for; in the order in which one is chosen."""

    WORKED = "worked"
    PHYSICAL = "physical"
    OFFICIAL = "official"


class TurnSide(enum.StrEnum):
    """The side to which a turn goes, seen in the direction of travel."""

    LEFT = "left"
    RIGHT = "right"


class TurnShape(enum.StrEnum):
    """The shape of the path from the end of one pass to the start of the next."""

    FLAT_U = "flat U"
    LOOP = "loop"
    HOOK = "hook"
    CROSSING_LOOP = "crossing loop"
    FISHTAIL = "fishtail"
    THREE_POINT = "three-point"
    STRAIGHT_ON = "straight on"


class Action(enum.StrEnum):
    """What the tractor is told to do in one step of a row end."""

    REAR_HITCH_RAISE = "rear hitch raise"
    REAR_HITCH_LOWER = "rear hitch lower"
    FRONT_WHEEL_DRIVE_ON = "front-wheel drive on"
    FRONT_WHEEL_DRIVE_OFF = "front-wheel drive off"
    DIFFERENTIAL_LOCK_ON = "differential lock on"
    DIFFERENTIAL_LOCK_OFF = "differential lock off"
    REAR_PTO_ON = "rear PTO on"
    REAR_PTO_OFF = "rear PTO off"
    SECTIONS_ON = "sections on"
    SECTIONS_OFF = "sections off"
    SPEED = "speed"
    NOTE = "note"


class ReferencePoint(enum.StrEnum):
    """The point of the combination whose crossing of the headland line counts."""

    REAR_AXLE = "rear axle"
    HITCH = "hitch"
    TOOL = "tool"
