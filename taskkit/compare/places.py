"""Places of two plans held against each other on the ground; the largest move is kept, whatever the tolerance."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from taskkit.compare.comparison import Difference, LargestMove
from taskkit.geometry.geodesy import LonLat, azimuth_deg, destination, distance_m
from taskkit.geometry.line import LonLatLine, Part
from taskkit.geometry.outlines import RingPlace, compare_outlines
from taskkit.geometry.runs import compare_runs

__all__ = ["Ground"]

_WINDS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


class Ground:
    """Compares places and areas, and keeps the largest displacement.

    Args:
        tolerance_mm: moves up to so many millimetres are no difference.

    Attributes:
        largest: the largest move so far.
        hausdorff_mm: the greatest distance between two outlines or lines so far, None once one could not be told.
    """

    def __init__(self, tolerance_mm: float) -> None:
        self._tolerance_mm = tolerance_mm
        self.largest: LargestMove | None = None
        self.hausdorff_mm: float | None = 0.0

    def compare_points(self, a: LonLat, b: LonLat, where: str) -> Iterator[Difference]:
        """Two points that stand for each other: longitude and latitude, degrees."""
        if a != b:
            # Longitudes 180 and -180 are one place: such points are apart by nothing.
            yield from self._moved(distance_m(a, end=b) * 1000, azimuth_deg(a, end=b), a, where, "it")

    def compare_areas(self, a: Sequence[Part], b: Sequence[Part], where: str) -> Iterator[Difference]:
        """Two outlines of one field."""
        if tuple(a) == tuple(b):
            return
        found = compare_outlines(a, b)
        self._farthest(found.hausdorff_mm)
        for ring in found.rings:
            word = _ring(ring.a, a)
            if move := ring.largest_move:
                what = f"point {move.vertex + 1} of the {word}"
                yield from self._moved(
                    move.distance_mm, move.azimuth_deg, (move.lon_deg, move.lat_deg), where, what, many=ring.matched > 1
                )
            yield from _counted(len(ring.removed), len(ring.added), word, where)
        for place in found.only_in_a:
            yield Difference("missing", f"A has the {_ring(place, a)}, B lacks it", where, a=_ring(place, a))
        for place in found.only_in_b:
            yield Difference("added", f"B has the {_ring(place, b)}, A lacks it", where, b=_ring(place, b))

    def compare_lines(self, a: LonLatLine, b: LonLatLine, where: str) -> Iterator[Difference]:
        """Two runs of points that stand for each other, from end to end."""
        if a == b:
            return
        found = compare_runs(a, b)
        self._farthest(found.hausdorff_mm)
        if found.turned:
            yield Difference("value", "B runs the other way", where)
        if move := found.largest_move:
            what = f"point {move.vertex + 1} of the line"
            yield from self._moved(
                move.distance_mm, move.azimuth_deg, (move.lon_deg, move.lat_deg), where, what, many=found.matched > 1
            )
        yield from _counted(found.removed, found.added, "line", where)

    def _farthest(self, told_mm: float | None) -> None:
        if self.hausdorff_mm is not None:
            self.hausdorff_mm = None if told_mm is None else max(self.hausdorff_mm, told_mm)

    def _moved(
        self, distance_mm: float, azimuth: float, start: LonLat, where: str, what: str, *, many: bool = False
    ) -> Iterator[Difference]:
        if distance_mm > self._largest_mm:
            self.largest = LargestMove(distance_mm, azimuth, *start, where)
        if distance_mm > self._tolerance_mm:
            wind = _WINDS[round(azimuth / 45) % 8]
            most = ", no other point of it farther" if many else ""
            moved = f"{what} moved {distance_mm:.1f} mm to the {wind} ({azimuth:.0f} degrees){most}"
            end = destination(start, azimuth_deg=azimuth, distance_m=distance_mm / 1000)
            yield Difference("moved", moved, where, _shown(start), _shown(end))

    @property
    def _largest_mm(self) -> float:
        return self.largest.distance_mm if self.largest else 0.0


def _counted(removed: int, added: int, word: str, where: str) -> Iterator[Difference]:
    """Points that came and went."""
    for count, side in ((removed, "A"), (added, "B")):
        if count:
            counts = (count, 0) if side == "A" else (0, count)
            points = f"{count} point{'s' if count > 1 else ''}"
            yield Difference("points", f"only {side} has {points} of the {word}", where, *counts)


def _shown(place: LonLat) -> str:
    return f"{place[0]:.9f} {place[1]:.9f}"


def _ring(place: RingPlace, parts: Sequence[Part]) -> str:
    ring = f"hole {place.ring}" if place.ring else "outer ring"
    return ring if len(parts) == 1 else f"{ring} of part {place.part + 1}"
