"""The words of the plan that come from a closed list."""

from __future__ import annotations

import enum

__all__ = [
    "Action",
    "Anchor",
    "Attachment",
    "DepthWord",
    "Extension",
    "FeatureKind",
    "LineKind",
    "Order",
    "Propagation",
    "Purpose",
    "Recorded",
    "ReferencePoint",
    "Rotation",
    "SideKind",
    "TurnShape",
    "TurnSide",
]


class Purpose(enum.StrEnum):
    """What an outline of a field is meant for; in the order in which one is chosen."""

    WORKED = "worked"
    PHYSICAL = "physical"
    OFFICIAL = "official"


class Recorded(enum.StrEnum):
    """What was led along the outline when it was recorded."""

    ANTENNA = "antenna"
    TOOL_EDGE = "tool edge"
    MAP = "map"


class SideKind(enum.StrEnum):
    """What lies beyond a side of a field."""

    ROAD = "road"
    DITCH = "ditch"
    FENCE = "fence"
    HEDGE = "hedge"
    NEIGHBOUR = "neighbour"
    OTHER = "other"


class FeatureKind(enum.StrEnum):
    """What a thing on the ground is to whoever drives there."""

    OBSTACLE = "obstacle"
    POLE = "pole"
    WATER = "water"
    BUILDING = "building"
    ROAD = "road"
    FENCE = "fence"
    DRAINAGE = "drainage"
    WINDBREAK = "windbreak"
    BUFFER = "buffer"
    STORAGE = "storage"
    ACCESS = "access"


class LineKind(enum.StrEnum):
    """The form of a guidance line."""

    STRAIGHT = "straight"
    HEADING = "A + heading"
    CURVE = "curve"
    PIVOT = "pivot"
    SPIRAL = "spiral"


class Anchor(enum.StrEnum):
    """What the line as it is drawn stands for."""

    CENTRE = "centre of a pass"
    EDGE = "edge of a pass"


class Propagation(enum.StrEnum):
    """On which sides of the line passes lie, seen from A to B."""

    BOTH = "both"
    LEFT = "left"
    RIGHT = "right"
    NONE = "none"


class Extension(enum.StrEnum):
    """Beyond which of its ends the line goes on."""

    BOTH = "both"
    FROM_A = "from A"
    FROM_B = "from B"
    NONE = "none"


class Rotation(enum.StrEnum):
    """The way round a centre, seen from above."""

    CLOCKWISE = "clockwise"
    ANTICLOCKWISE = "anticlockwise"


class Attachment(enum.StrEnum):
    """How a tool hangs on what pulls or carries it."""

    MOUNTED = "mounted"
    TRAILED = "trailed"
    STEERED = "steered"


class DepthWord(enum.StrEnum):
    """A headland depth that is no measure yet."""

    AUTO = "auto"


class Order(enum.StrEnum):
    """When the headland is worked: before the main field or after it."""

    BEFORE = "before"
    AFTER = "after"


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
    REMOTE_VALVE_EXTEND = "remote valve extend"
    REMOTE_VALVE_RETRACT = "remote valve retract"
    REMOTE_VALVE_FLOAT = "remote valve float"
    SECTIONS_ON = "sections on"
    SECTIONS_OFF = "sections off"
    SPEED = "speed"
    NOTE = "note"


class ReferencePoint(enum.StrEnum):
    """The point of the combination whose crossing of the headland line counts."""

    REAR_AXLE = "rear axle"
    HITCH = "hitch"
    TOOL = "tool"
