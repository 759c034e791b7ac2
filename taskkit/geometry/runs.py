"""Two runs of points compared on the ground: what moved, how far and where to, what came and what went."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from taskkit.geometry.geodesy import azimuth_deg, distance_m
from taskkit.geometry.hausdorff import hausdorff_m
from taskkit.geometry.line import Array, LonLatLine
from taskkit.geometry.outlines import Move, RingPlace, on_plane
from taskkit.geometry.plane import LocalPlane
from taskkit.geometry.vertices import counterparts

__all__ = ["RunDifference", "compare_runs"]


@dataclass(frozen=True, slots=True)
class RunDifference:
    """What differs between two runs.

    Attributes:
        turned: the second runs the other way; the rest is told as if it did not.
        matched: how many points have their counterpart.
        removed: how many points only the first has.
        added: how many points only the second has.
        largest_move: the greatest displacement of a matched point; None where no point moved at all.
        hausdorff_mm: the greatest distance from a point of either run, corner or not, to the other run, at most
            0.001 mm too small; None where they are so tangled that it would take minutes.
    """

    turned: bool
    matched: int
    removed: int
    added: int
    largest_move: Move | None
    hausdorff_mm: float | None


def compare_runs(a: LonLatLine, b: LonLatLine) -> RunDifference:
    """Compare two runs of at least one point each, their points matched in order from end to end.

    >>> path = [(9.5, 54), (9.501, 54), (9.501, 54.001)]
    >>> difference = compare_runs(LonLatLine(path), LonLatLine([*path[:2], (9.501, 54.0009)]))
    >>> difference.largest_move.azimuth_deg, round(difference.largest_move.distance_mm)
    (180.0, 11131)
    """
    plane = LocalPlane(*a.points[0].tolist())
    flat_a, flat_b = on_plane(plane, a), on_plane(plane, b)
    turned = _apart(flat_a, flat_b[::-1]) < _apart(flat_a, flat_b)
    points_b = b.points[::-1] if turned else b.points
    flat_b = flat_b[::-1] if turned else flat_b
    if len(a) <= len(b):
        of_a, of_b = np.arange(len(a)), counterparts(flat_a, flat_b)
    else:
        of_a, of_b = counterparts(flat_b, flat_a), np.arange(len(b))
    start, end = a.points[of_a], points_b[of_b]
    moved = np.hypot(*(flat_b[of_b] - flat_a[of_a]).T)
    moved[(start == end).all(axis=1)] = 0
    move = None
    if moved.any():
        n = int(np.argmax(moved))
        (lon_deg, lat_deg), (lon_to, lat_to) = start[n].tolist(), end[n].tolist()
        length_mm = distance_m((lon_deg, lat_deg), end=(lon_to, lat_to)) * 1000
        azimuth = azimuth_deg((lon_deg, lat_deg), end=(lon_to, lat_to))
        # Longitudes 180 and -180 are one place.
        move = Move(length_mm, azimuth, lon_deg, lat_deg, RingPlace(0, 0), int(of_a[n])) if length_mm else None
    same = move is None and len(a) == len(b)
    away = 0.0 if same else hausdorff_m(_edges(flat_a), _edges(flat_b))
    away_mm = None if away is None else away * 1000
    return RunDifference(turned, len(of_a), len(a) - len(of_a), len(b) - len(of_b), move, away_mm)


def _apart(a: Array, b: Array) -> float:
    """How far the ends of two runs are from each other."""
    return float(np.hypot(*(a[0] - b[0])) + np.hypot(*(a[-1] - b[-1])))


def _edges(run: Array) -> Array:
    """The edges of an open run; a point is an edge that ends where it begins."""
    return np.stack((run[:-1], run[1:]), axis=1) if len(run) > 1 else run[np.newaxis].repeat(2, axis=1)
