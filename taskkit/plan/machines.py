"""Machines: combinations of a tractor and its tools, with the measures and times that a turn needs."""

from __future__ import annotations

from taskkit.plan.base import PlanObject, PlanValue, RowEndReference
from taskkit.plan.quantities import Duration, Length, Speed
from taskkit.plan.scalars import Listed, Text, YesNo
from taskkit.plan.words import Attachment

__all__ = ["Machine", "Tool", "Tractor"]


class Tractor(PlanValue):
    """What pulls, carries and steers; also a machine that does so by itself."""

    word = "tractor"

    name: Text | None = None
    turning_radius: Length | None = None
    """The smallest radius that its rear axle drives with the tools on."""
    reversing: YesNo | None = None
    """Whether the combination may be driven backwards in a turn."""
    rear_axle_to_hitch: Length | None = None
    """From the rear axle rearward to the point where the tools hang."""
    width: Length | None = None
    """The widest of it."""


class Tool(PlanValue):
    """One tool of a combination."""

    word = "tool"

    name: Text | None = None
    attachment: Attachment | None = None
    """Whether it is mounted, trailed or steered."""
    hitch_to_axle: Length | None = None
    """Of a trailed or steered tool: from the hitch rearward to its axle."""
    working_width: Length | None = None
    lengthwise_offset: Length | None = None
    """From the hitch to the point where it works: rearward positive."""
    sideways_offset: Length | None = None
    """From the middle of the tractor to the middle of its working width: right positive."""
    folded_width: Length | None = None
    """Its width on the road."""
    fold_time: Duration | None = None
    """How long folding takes."""
    clear_of_soil: Duration | None = None
    """From the order to raise until nothing of it touches the soil."""
    fully_raised: Duration | None = None
    """From the order to raise until it is up."""
    touching_down: Duration | None = None
    """From the order to lower until it touches the soil."""
    at_depth: Duration | None = None
    """From the order to lower until it works at its depth."""
    sections_on_latency: Duration | None = None
    """From the order to switch sections on until the product meets the ground."""
    sections_off_latency: Duration | None = None
    """From the order to switch sections off until no more product meets the ground."""


class Machine(PlanObject):
    """A combination: a tractor and the tools on it."""

    word = "machine"

    name: Text
    code: Text | None = None
    """The office's own short sign for it."""
    tractor: Tractor | None = None
    tools: Listed[Tool] = ()
    """From the tractor rearward; a tool at the front first."""
    working_speed: Speed | None = None
    turning_speed: Speed | None = None
    transport_speed: Speed | None = None
    row_end: RowEndReference | None = None
    """The row-end plan that it follows where a field or a job says nothing else."""
