"""What comes of comparing two plans: values that a report renders."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Comparison", "Difference", "LargestMove"]


@dataclass(frozen=True, slots=True)
class Difference:
    """One difference.

    Attributes:
        kind: ``missing`` (A has it, B lacks it), ``added`` (the reverse), ``moved`` (a place), ``points`` (points of
            a ring came or went), ``renamed``, ``identity`` (same name, another UUID) or ``value``.
        what: what differs, in words.
        where: what it is a difference of, in words.
        a: what A has, as text or number; None where it has nothing.
        b: what B has, likewise.
    """

    kind: str
    what: str
    where: str
    a: str | int | float | None = None
    b: str | int | float | None = None


@dataclass(frozen=True, slots=True)
class LargestMove:
    """The greatest displacement of a place that both plans have.

    Attributes:
        distance_mm: how far, millimetres on the ellipsoid.
        azimuth_deg: where to, degrees clockwise from north.
        lon_deg: where it was in A, degrees.
        lat_deg: likewise.
        where: what moved, in words.
    """

    distance_mm: float
    azimuth_deg: float
    lon_deg: float
    lat_deg: float
    where: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two plans held against each other.

    Attributes:
        differences: in the order of plan A; what only B has follows.
        largest_move: the greatest displacement of a boundary point or of an A or B, None where nothing moved at all.
            It is told even where it lies within the tolerance.
        hausdorff_mm: the greatest distance of any boundary's point, corner or not, from its counterpart's outline;
            None where an outline is so tangled that it cannot be told.
        common_shift: a displacement that all places share; not looked for yet.
    """

    differences: tuple[Difference, ...]
    largest_move: LargestMove | None
    hausdorff_mm: float | None
    common_shift: None = None

    @property
    def equal(self) -> bool:
        """Whether nothing differs beyond the tolerance."""
        return not self.differences

    @property
    def largest_move_mm(self) -> float:
        """The length of the largest move, millimetres; 0 where nothing moved."""
        return self.largest_move.distance_mm if self.largest_move else 0.0
