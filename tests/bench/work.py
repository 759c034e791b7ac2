"""The single steps that the bench measures, each run as a process of its own by ``run.py``."""

from __future__ import annotations

import hashlib
import sys
import time
from pathlib import Path

import numpy as np

from taskkit.geometry.geodesy import area_m2
from taskkit.geometry.line import Array, LonLatLine, MetreLine, Part
from taskkit.geometry.plane import LocalPlane
from taskkit.taskdata.document import Element, TaskData
from taskkit.taskdata.writer import DECIMALS, built_points, serialise, write_folder

RINGS = ((1200, 150.0, 0.0), (300, 20.0, -60.0), (300, 20.0, 60.0))
"""Outer ring and two holes of a field: points, radius, and how far east of its middle, metres."""
CURVE = 200
FIELD = CURVE + sum(count for count, _, _ in RINGS)
"""Points of one field."""
LINE = 2000
"""Points of one line when nothing but writing is measured."""
APART_M = 400.0


def make(folder: Path, points: int) -> None:
    """Write a valid set as any export would, the same set in another spelling, and its coordinates as an array."""
    root = Element(
        "ISO11783_TaskData",
        {
            "VersionMajor": "4",
            "VersionMinor": "3",
            "ManagementSoftwareManufacturer": "bench",
            "ManagementSoftwareVersion": "1",
            "DataTransferOrigin": "1",
        },
    )
    root.add(Element("CTR", {"A": "CTR1", "B": "Larkmoor Estate"}))
    root.add(Element("FRM", {"A": "FRM1", "B": "Home Farm", "I": "CTR1"}))
    middle = LocalPlane(9.4, 54.6)
    across = int(np.ceil(np.sqrt(points // FIELD)))
    everything: list[Array] = []
    for number in range(points // FIELD):
        row, column = divmod(number, across)
        origin = middle.to_degrees(MetreLine([(column * APART_M, row * APART_M)]))
        root.add(_field(number + 1, LocalPlane(float(origin.lon_deg[0]), float(origin.lat_deg[0])), everything))
    write_folder(TaskData(root), folder / "canonical")
    np.save(folder / "points.npy", np.concatenate(everything))
    text = (folder / "canonical" / "TASKDATA.XML").read_text("utf-8")
    (folder / "other").mkdir()
    # Single quotes: as good XML as before, but no point is in the form that is taken in bulk.
    lines = (line.replace('"', "'") if line.lstrip().startswith("<PNT ") else line for line in text.splitlines(True))
    (folder / "other" / "TASKDATA.XML").write_text("".join(lines), "utf-8")


def _field(number: int, plane: LocalPlane, everything: list[Array]) -> Element:
    def line(metres: Array, kind: str, types: str | list[str]) -> Element:
        # Rounded here already: halfway cases are no matter of speed, and both writers must give the same bytes.
        degrees = np.round(plane.to_degrees(MetreLine(metres)).points, DECIMALS)
        everything.append(degrees)
        element = Element("LSG", {"A": kind})
        element.add(built_points(types, degrees))
        return element

    circles = [_circle(count, radius, east) for count, radius, east in RINGS]
    rings = [plane.to_degrees(MetreLine(circle[:-1])) for circle in circles]
    area = f"{area_m2([Part(LonLatLine(rings[0]), rings[1:])]):.0f}"
    field = Element("PFD", {"A": f"PFD{number}", "C": f"Field {number}", "D": area, "E": "CTR1", "F": "FRM1"})
    polygon = Element("PLN", {"A": "1", "C": area})
    for ordinal, circle in enumerate(circles):
        polygon.add(line(circle, "1" if ordinal == 0 else "2", "2"))
    field.add(polygon)
    group = Element("GGP", {"A": f"GGP{number}"})
    pattern = Element("GPN", {"A": f"GPN{number}", "C": "3", "E": "1", "F": "1"})
    east = np.linspace(-170, 170, CURVE)
    curve = np.column_stack([east, 5 * np.sin(east / 40)])
    pattern.add(line(curve, "5", ["6", *["9"] * (CURVE - 2), "7"]))
    group.add(pattern)
    field.add(group)
    return field


def _circle(count: int, radius_m: float, east_m: float) -> Array:
    """A closed ring with a gentle wave in it."""
    angle = np.linspace(0, 2 * np.pi, count)
    radius = radius_m * (1 + 0.05 * np.cos(7 * angle))
    ring = np.column_stack([east_m + radius * np.cos(angle), radius * np.sin(angle)])
    ring[-1] = ring[0]
    return ring


def write(points: Path) -> None:
    """Our writer: arrays into the bytes of a file."""
    lonlat = np.load(points)
    begin = time.perf_counter()
    root = Element("root")
    for start in range(0, len(lonlat), LINE):
        line = Element("LSG", {"A": "1"})
        line.add(built_points("2", lonlat[start : start + LINE]))
        root.add(line)
    _tell(begin, serialise(root))


def join(points: Path) -> None:
    """What a script would do: one f-string for each point, joined."""
    lonlat = np.load(points)
    begin = time.perf_counter()
    pieces = ['<?xml version="1.0" encoding="UTF-8"?>\n<root>\n']
    for start in range(0, len(lonlat), LINE):
        pieces.append('  <LSG A="1">\n')
        pieces.append(
            "".join(
                f'    <PNT A="2" C="{lat:.{DECIMALS}f}" D="{lon:.{DECIMALS}f}"/>\n'
                for lon, lat in lonlat[start : start + LINE].tolist()
            )
        )
        pieces.append("  </LSG>\n")
    pieces.append("</root>\n")
    _tell(begin, "".join(pieces).encode())


def idle(points: Path) -> None:
    """The arrays in memory and nothing else: what the peaks of the two above stand on."""
    np.load(points)
    _tell(time.perf_counter(), b"")


def _tell(begin: float, content: bytes) -> None:
    print(f"{time.perf_counter() - begin:.6f} {hashlib.sha256(content).hexdigest()} {len(content)}")


if __name__ == "__main__":
    step, path = sys.argv[1], Path(sys.argv[2])
    if step == "make":
        make(path, int(sys.argv[3]))
    else:
        {"write": write, "join": join, "idle": idle}[step](path)
