"""Which values of a plan can hardly be meant: measures, times and speeds beyond what farms have."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from taskkit.plan.leaves import Leaf, leaves
from taskkit.plan.model import Plan
from taskkit.plan.quantities import Area, Duration, Length, Speed

__all__ = ["SENSIBLE", "Outlier", "outliers"]

# Common practice, no source: wide enough that whatever lies beyond is a slip of the pen or of the unit.
_WIDTH = (Length("0.1 m"), Length("60 m"))
_REACH = (Length("0 m"), Length("30 m"))
_ASIDE = (Length("-30 m"), Length("30 m"))
_TIME = (Duration("0 s"), Duration("60 s"))
_LATENCY = (Duration("0 s"), Duration("10 s"))
_SPEED = (Speed("0.1 km/h"), Speed("40 km/h"))

_Limits = tuple[Length, Length] | tuple[Duration, Duration] | tuple[Speed, Speed] | tuple[Area, Area]

SENSIBLE: Mapping[str, _Limits] = MappingProxyType(
    {
        "spacing": _WIDTH,
        "working_width": _WIDTH,
        "folded_width": (Length("0.1 m"), Length("12 m")),
        "tractor.width": (Length("0.5 m"), Length("12 m")),
        "turning_radius": (Length("1 m"), Length("40 m")),
        "rear_axle_to_hitch": _REACH,
        "hitch_to_axle": _REACH,
        "lengthwise_offset": _ASIDE,
        "sideways_offset": _ASIDE,
        "accuracy": (Length("0 m"), Length("50 m")),
        "offset": (Length("-30 m"), Length("30 m")),
        "overhang": _REACH,
        "safety_distance": (Length("0 m"), Length("200 m")),
        "depth": (Length("0 m"), Length("200 m")),
        "radius": (Length("1 m"), Length("2000 m")),
        "at": (Length("-100 m"), Length("100 m")),
        "across": (Length("-60 m"), Length("60 m")),
        "along": (Length("-500 m"), Length("500 m")),
        "clear_of_soil": _TIME,
        "fully_raised": _TIME,
        "touching_down": _TIME,
        "at_depth": _TIME,
        "fold_time": (Duration("0 s"), Duration("30 min")),
        "sections_on_latency": _LATENCY,
        "sections_off_latency": _LATENCY,
        "speed": _SPEED,
        "working_speed": _SPEED,
        "turning_speed": _SPEED,
        "transport_speed": (Speed("1 km/h"), Speed("80 km/h")),
        "declared_area": (Area("1 m2"), Area("10000 ha")),
    }
)
"""Least and greatest sensible value by the last words of a leaf's path."""


@dataclass(frozen=True, slots=True)
class Outlier:
    """A value that lies beyond what is sensible; ``least`` and ``most`` say what is."""

    leaf: Leaf
    least: str
    most: str


def outliers(plan: Plan) -> Iterator[Outlier]:
    """The values of a plan that can hardly be meant. Nothing is wrong with a plan for them: they are worth a look."""
    for leaf in leaves(plan):
        if not isinstance(leaf.value, Length | Duration | Speed | Area):
            continue
        names = leaf.path.split(".")
        limits = SENSIBLE.get(".".join(names[-2:])) or SENSIBLE.get(names[-1])
        if limits and not limits[0] <= leaf.value <= limits[1]:  # type: ignore[operator]
            yield Outlier(leaf, limits[0].text, limits[1].text)
