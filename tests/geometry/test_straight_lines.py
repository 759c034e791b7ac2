"""What README.md says of straight, parallel and pass n, computed again with GeographicLib's own code."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest
from geographiclib.geodesic import Geodesic

README = (Path(__file__).resolve().parents[2] / "README.md").read_text("utf-8")
EARTH = Geodesic.WGS84
KM = 1000.0
LATITUDES = (0.0, 50.0, 65.0)


def apart_mm(a: tuple[float, float], b: tuple[float, float]) -> float:
    return EARTH.Inverse(*a, *b)["s12"] * 1000


def straight(lat: float, heading: float, metres: float, lon: float = 9.0) -> tuple[float, float]:
    end = EARTH.Direct(lat, lon, heading, metres)
    return end["lat2"], end["lon2"]


def constant_heading(lat: float, heading: float, metres: float, lon: float = 9.0) -> tuple[float, float]:
    """The end of a rhumb line: d(lat) = cos(h) ds / M, d(lon) = sin(h) ds / (N cos(lat)); classical Runge-Kutta."""
    e2 = EARTH.f * (2 - EARTH.f)

    def slope(phi: float) -> tuple[float, float]:
        w = 1 - e2 * math.sin(phi) ** 2
        meridian, normal = EARTH.a * (1 - e2) / w**1.5, EARTH.a / math.sqrt(w)
        h = math.radians(heading)
        return math.cos(h) / meridian, math.sin(h) / (normal * math.cos(phi))

    phi, lam, step = math.radians(lat), math.radians(lon), metres / 100
    for _ in range(100):
        k1 = slope(phi)
        k2 = slope(phi + step / 2 * k1[0])
        k4 = slope(phi + step * k2[0])
        phi, lam = phi + step / 6 * (k1[0] + 4 * k2[0] + k4[0]), lam + step / 6 * (k1[1] + 4 * k2[1] + k4[1])
    return math.degrees(phi), math.degrees(lam)


def east_after_a_km(lat: float) -> float:
    return apart_mm(straight(lat, 90, KM), constant_heading(lat, 90, KM))


def north_east_after_a_km(lat: float) -> float:
    return apart_mm(straight(lat, 45, KM), constant_heading(lat, 45, KM))


def middle_of_a_km(lat: float) -> float:
    b = constant_heading(lat, 90, KM)
    between = EARTH.Inverse(lat, 9.0, *b)
    return apart_mm(straight(lat, between["azi1"], between["s12"] / 2), constant_heading(lat, 90, KM / 2))


def turn_of_heading(lat: float) -> float:
    return abs(EARTH.Direct(lat, 9.0, 90, KM)["azi2"] - 90)


def heading_copied(lat: float) -> float:
    beside = EARTH.Direct(lat, 9.0, 90, 100)
    copied = straight(beside["lat2"], 0, KM, beside["lon2"])
    end = EARTH.Direct(lat, 9.0, 0, KM)
    return apart_mm(copied, straight(end["lat2"], end["azi2"] + 90, 100, end["lon2"]))


def parallel_against_straight(lat: float) -> float:
    """Straight through the ends of the parallel to a line of 1 km; how far the parallel bulges in its middle."""
    line = EARTH.Line(lat, 9.0, 30)
    beside = []
    for metres in (0, KM / 2, KM):
        at = line.Position(metres)
        beside.append(straight(at["lat2"], at["azi2"] + 90, 100, at["lon2"]))
    chord = EARTH.Inverse(*beside[0], *beside[2])
    middle = straight(beside[0][0], chord["azi1"], chord["s12"] / 2, beside[0][1])
    return apart_mm(middle, beside[1])


ROWS = {
    "due east: a constant heading leaves the straight line by": (east_after_a_km, "mm", 0.5),
    "north-east: likewise": (north_east_after_a_km, "mm", 0.5),
    "A and B 1 km apart, due east: a constant heading between them runs beside the straight line by": (
        middle_of_a_km, "mm", 0.5),
    "due east: the heading of the straight line turns by": (turn_of_heading, "degrees", 0.0005),
    "northwards: a pass 100 m to the east that copies the heading comes nearer by": (heading_copied, "mm", 0.5),
    "a pass 100 m beside: parallel and straight differ by": (parallel_against_straight, "mm", 0.005),
}  # fmt: skip


@pytest.mark.parametrize("row", ROWS)
def test_the_table_of_straight_lines_holds(row: str) -> None:
    compute, unit, half_a_digit = ROWS[row]
    found = re.search(rf"^\| {re.escape(row)} \| ([^|]+) \| ([^|]+) \| ([^|]+) \|$", README, re.MULTILINE)

    assert found, f"README.md has no row {row!r}"
    for cell, lat in zip(found.groups(), LATITUDES, strict=True):
        number, told = cell.split()
        assert told == unit
        assert float(number) == pytest.approx(compute(lat), abs=half_a_digit * 1.0001)


def test_heights_and_decimals_of_headings_are_told_right() -> None:
    # 500 m up, on the radius of curvature in the meridian at latitude 50; and half a unit of the last decimal.
    e2 = EARTH.f * (2 - EARTH.f)
    meridian = EARTH.a * (1 - e2) / (1 - e2 * math.sin(math.radians(50)) ** 2) ** 1.5
    by_height_mm = 500 / meridian * KM * 1000
    off_mm = [math.radians(0.5 * 10**-decimals) * KM * 1000 for decimals in (2, 7)]

    text = " ".join(README.split())
    assert f"{by_height_mm:.0f} mm longer for each kilometre" in text
    assert f"two decimals of a degree are {off_mm[0]:.0f} mm off" in text
    assert f"seven are {off_mm[1]:.4f} mm off" in text
