"""The plan, and all classes of values and objects in it in one place."""

from __future__ import annotations

from typing import Annotated

from pydantic import FailFast

from taskkit.plan.base import Origin, PlanObject, PlanValue, Position
from taskkit.plan.boundaries import Boundary, Corner, Side
from taskkit.plan.features import Feature
from taskkit.plan.fields import Field
from taskkit.plan.guidance import (
    CurvedLine,
    GuidanceLine,
    HeadingLine,
    PivotLine,
    Sector,
    SharedCurvedLine,
    SharedGuidanceLine,
    SharedHeadingLine,
    SharedPivotLine,
    SharedSpiralLine,
    SharedStraightLine,
    Shift,
    SpiralLine,
    StraightLine,
    Tramline,
)
from taskkit.plan.headlands import Depth, Headland, IslandHeadland, Passes, SideHeadland
from taskkit.plan.jobs import BoundaryChoice, Job, JobLine
from taskkit.plan.machines import Machine, Tool, Tractor
from taskkit.plan.parties import Crop, Customer, Farm, Operation, Product, Variety, Worker
from taskkit.plan.places import Place
from taskkit.plan.row_ends import MachineRowEnd, RowEndPlan, Step
from taskkit.plan.scalars import FromSheet, Listed, Text
from taskkit.plan.words import (
    Action,
    Anchor,
    Attachment,
    DepthWord,
    Extension,
    FeatureKind,
    LineKind,
    Order,
    Propagation,
    Purpose,
    Recorded,
    ReferencePoint,
    Rotation,
    SideKind,
    TurnShape,
    TurnSide,
)

__all__ = [
    "FORMAT",
    "Action",
    "Anchor",
    "Attachment",
    "Boundary",
    "BoundaryChoice",
    "Corner",
    "Crop",
    "CurvedLine",
    "Customer",
    "Depth",
    "DepthWord",
    "Extension",
    "Farm",
    "Feature",
    "FeatureKind",
    "Field",
    "GuidanceLine",
    "HeadingLine",
    "Headland",
    "IslandHeadland",
    "Job",
    "JobLine",
    "LineKind",
    "Machine",
    "MachineRowEnd",
    "Operation",
    "Order",
    "Origin",
    "Passes",
    "PivotLine",
    "Place",
    "Plan",
    "PlanObject",
    "PlanValue",
    "Position",
    "Product",
    "Propagation",
    "Purpose",
    "Recorded",
    "ReferencePoint",
    "Rotation",
    "RowEndPlan",
    "Sector",
    "SharedCurvedLine",
    "SharedGuidanceLine",
    "SharedHeadingLine",
    "SharedPivotLine",
    "SharedSpiralLine",
    "SharedStraightLine",
    "Shift",
    "Side",
    "SideHeadland",
    "SideKind",
    "SpiralLine",
    "Step",
    "StraightLine",
    "Tool",
    "Tractor",
    "Tramline",
    "TurnShape",
    "TurnSide",
    "Variety",
    "Worker",
]

FORMAT = 2
"""The form of plan.yaml that this program writes; older ones are read and brought up."""


class Plan(PlanObject):
    """Everything that the office plans together."""

    word = "plan"

    name: Text
    steering_frame: Text = "unknown"
    """The frame of the correction service that the machines steer by, e.g. ETRS89; all degrees are in it."""
    steering_crs: Text | None = None
    """The same frame for programs, as authority and code of its geographic system, e.g. EPSG:4258."""
    customers: Listed[Customer] = ()
    farms: Listed[Farm] = ()
    workers: Listed[Worker] = ()
    crops: Listed[Crop] = ()
    products: Listed[Product] = ()
    operations: Listed[Operation] = ()
    machines: Annotated[tuple[Machine, ...], FailFast(), FromSheet()] = ()
    """Combinations of a tractor and tools."""
    row_end_plans: Listed[RowEndPlan] = ()
    fields: Listed[Field] = ()
    shared_lines: Listed[SharedGuidanceLine] = ()
    """Guidance lines that several fields share."""
    jobs: Listed[Job] = ()
