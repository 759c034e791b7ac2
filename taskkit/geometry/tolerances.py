"""Every number that a comparison on the ground uses, with its unit and its reason."""

from __future__ import annotations

__all__ = [
    "DISTINCT_M",
    "HEADLAND_LINE_M",
    "HEADLAND_PASS_M",
    "LEAST_PIECE_M2",
    "OVERLAP_WIDTH_M",
    "OVERLAY_GRID_M",
    "REPEATED_POINT_M",
    "SIDE_CORNER_M",
    "SPIKE_WIDTH_M",
    "TOUCH_M",
]

REPEATED_POINT_M = 0.0001
"""Neighbouring points nearer than this are the same point: the step of nine decimals of a degree is 0.11 mm."""

DISTINCT_M = 0.0003
"""Neighbouring points of lines that are worked out lie farther apart than this: then they still do not repeat each
other when both were rounded to nine decimals of a degree, which moves each by up to 0.08 mm."""

SPIKE_WIDTH_M = 0.001
"""A ring that runs out and back within this width encloses nothing there; no survey tells two such edges apart."""

TOUCH_M = 0.001
"""Two edges that reach no farther than this through each other touch; more is a crossing."""

OVERLAP_WIDTH_M = 0.001
"""Areas that overlap by a strip narrower than this share an edge; the strip comes from rounding."""

SIDE_CORNER_M = 10.0
"""How far the corner of a side may lie from the corner of the outline that it means: an outline measured anew moves
by a few metres; farther off, another corner or another field is meant."""

HEADLAND_LINE_M = 0.0005
"""A headland line drawn with straight pieces is nowhere farther than this from the true one."""

HEADLAND_PASS_M = 0.005
"""A headland pass drawn with straight pieces is nowhere farther than this from the true one; none is steered finer."""

OVERLAY_GRID_M = 2.0**-27
"""Where ground is cut or joined, points are put on a grid of this step, 7 nm. Without one, the geometry library
silently loses pieces whose edges all but coincide. A power of two, so that putting them there costs no digit."""

LEAST_PIECE_M2 = 0.0001
"""Pieces of ground smaller than this come from rounding."""
