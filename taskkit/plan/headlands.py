"""Headlands: how deep they are, along which side and round which island."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Any

import pydantic
from pydantic import PlainSerializer, WithJsonSchema

from taskkit.plan.base import FeatureReference, PlanValue, SideReference
from taskkit.plan.quantities import Length
from taskkit.plan.scalars import Listed, Positive
from taskkit.plan.words import DepthWord

__all__ = ["Depth", "Headland", "IslandHeadland", "Passes", "SideHeadland", "depth_m"]

_PASSES = r"([0-9]{1,3}) ?(pass|passes)"


@dataclass(frozen=True, slots=True)
class Passes:
    """A headland depth as a number of passes round the field, each as wide as the spacing.

    >>> str(Passes(2)), str(Passes(1))
    ('2 passes', '1 pass')
    """

    count: int

    def __str__(self) -> str:
        return f"{self.count} pass{'' if self.count == 1 else 'es'}"


def _depth(value: Any) -> Length | Passes | DepthWord:
    if isinstance(value, Length | Passes | DepthWord):
        return value
    text = str(value)
    if text == DepthWord.AUTO:
        return DepthWord.AUTO
    if text == "none":
        return Length("0 m")
    if found := re.fullmatch(_PASSES, text):
        return Passes(int(found[1]))
    try:
        return Length(text)
    except ValueError as error:
        raise ValueError(f"{error}; or a number of passes, such as 2 passes; or auto, or none") from None


Depth = Annotated[
    Length | Passes | DepthWord,
    pydantic.PlainValidator(_depth),
    PlainSerializer(str, return_type=str),
    WithJsonSchema(
        {
            "type": "string",
            "pattern": f"^(auto|none|{_PASSES}|{Length.pattern.removeprefix('^').removesuffix('$')})$",
            "examples": ["12 m", "2 passes", "auto", "none"],
        }
    ),
]


def depth_m(depth: Length | Passes | DepthWord, *, spacing_m: float) -> float | None:
    """A headland depth in metres; None where it is left to be found (``auto``).

    >>> depth_m(Passes(2), spacing_m=6.0), depth_m(Length("5 m"), spacing_m=6.0), depth_m(DepthWord.AUTO, spacing_m=6.0)
    (12.0, 5.0, None)
    """
    match depth:
        case Length():
            return depth.metres
        case Passes():
            return depth.count * spacing_m
    return None


class SideHeadland(PlanValue):
    """Another depth along one side."""

    word = "headland of a side"

    side: SideReference
    """A side of the field."""
    depth: Depth
    """Distance from that side to the headland line; ``none`` where passes run up to it."""


class IslandHeadland(PlanValue):
    """Another depth round one island.

    Raises:
        ValueError: neither a hole nor a feature is given, or both.
    """

    word = "headland of an island"

    hole: Positive | None = None
    """The hole of the outline that is meant: 1 is the first; counted through all parts."""
    feature: FeatureReference | None = None
    """The feature of the field that is meant."""
    depth: Depth
    """Distance from its edge to the headland line; ``none`` where passes run up to it."""

    @pydantic.model_validator(mode="after")
    def _is_one_island(self) -> IslandHeadland:
        if (self.hole is None) == (self.feature is None):
            raise ValueError("an island is `hole` or `feature`")
        return self


class Headland(PlanValue):
    """The strip along the boundary in which the combination turns."""

    word = "headland"

    depth: Depth
    """Distance from the boundary to the headland line, a number of passes, or ``auto``."""
    sides: Listed[SideHeadland] = ()
    """Sides where the depth is another."""
    islands: Listed[IslandHeadland] = ()
    """Islands where the depth is another."""
