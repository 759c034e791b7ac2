"""Main field and headland by the plain construction: what is so far from every side and island, and the rest."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from taskkit.geometry.depths import EdgeDepths
from taskkit.geometry.line import Array
from taskkit.geometry.polygons import MetrePart
from taskkit.geometry.strips import left_over, metre_parts, without
from taskkit.geometry.tolerances import HEADLAND_LINE_M

__all__ = ["headland", "main_field", "passes_asked", "passes_that_fit"]

_WHOLE = 1e-6
"""A depth that is a whole number of spacings but for so much of one asks for no further pass."""


def main_field(depths: EdgeDepths) -> tuple[MetrePart, ...]:
    """All points of the field at least as far from each edge as its depth: none, one or more parts.

    Corners are round where the outline is reflex; the line is at most ``HEADLAND_LINE_M`` off, and ``DISTINCT_M`` more
    where two of its corners all but coincide. The ground of an island is left out whatever its depth.

    Raises:
        ValueError: the edges lie so that it would take minutes.

    >>> from taskkit.geometry.depths import edge_depths
    >>> from taskkit.geometry.line import MetreLine
    >>> square = (MetreLine([(0, 0), (100, 0), (100, 100), (0, 100)]),)
    >>> [sorted(ring) for (ring,) in main_field(edge_depths([square], depth_m=12))]
    [[(12.0, 12.0), (12.0, 88.0), (88.0, 12.0), (88.0, 88.0)]]
    """
    return metre_parts(left_over(depths, error_m=HEADLAND_LINE_M))


def headland(depths: EdgeDepths, *, main: tuple[MetrePart, ...]) -> tuple[MetrePart, ...]:
    """The outline less the main field: none, one or more parts, with holes where the main field lies.

    Args:
        depths: the outline.
        main: its main field.
    """
    return metre_parts(without(depths.outline, main))


def passes_asked(depth_m: Array, *, spacing_m: float) -> npt.NDArray[np.int64]:
    """How many headland passes each depth asks for: as many as leave no strip of the headland unworked.

    Raises:
        ValueError: the spacing is not positive.

    >>> passes_asked(np.array([0, 5, 6, 12, 13]), spacing_m=6.0).tolist()
    [0, 1, 1, 2, 3]
    """
    if not (math.isfinite(spacing_m) and spacing_m > 0):
        raise ValueError(f"a spacing of {spacing_m:g} m is not positive")
    return np.maximum(np.ceil(depth_m / spacing_m - _WHOLE), 0).astype(np.int64)


def passes_that_fit(depths: EdgeDepths, *, spacing_m: float) -> int:
    """After how many headland passes some main field is still left; at most as many as the depths ask for.

    Where it is fewer, no main field is left after the next one. Edges without a headland stay so.

    Raises:
        ValueError: the spacing is not positive, or the edges lie so that it would take minutes.
    """
    most = int(passes_asked(depths.depth_m, spacing_m=spacing_m).max())
    fit, count, too_many = 0, most, most + 1
    while too_many - fit > 1:
        left = left_over(depths.at(np.minimum(depths.depth_m, count * spacing_m)), error_m=HEADLAND_LINE_M)
        fit, too_many = (count, too_many) if left else (fit, count)
        count = (fit + too_many) // 2
    return fit
