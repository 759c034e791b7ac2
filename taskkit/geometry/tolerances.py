"""Every number that a comparison on the ground uses, with its unit and its reason."""

from __future__ import annotations

__all__ = ["OVERLAP_WIDTH_M", "REPEATED_POINT_M", "SPIKE_WIDTH_M", "TOUCH_M"]

REPEATED_POINT_M = 0.0001
"""Neighbouring points nearer than this are the same point: the step of nine decimals of a degree is 0.11 mm."""

SPIKE_WIDTH_M = 0.001
"""A ring that runs out and back within this width encloses nothing there; no survey tells two such edges apart."""

TOUCH_M = 0.001
"""Two edges that reach no farther than this through each other touch; more is a crossing."""

OVERLAP_WIDTH_M = 0.001
"""Areas that overlap by a strip narrower than this share an edge; the strip comes from rounding."""
