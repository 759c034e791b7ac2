"""Sets in memory that show a rule: short XML, made from places in metres, and the files around it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from taskkit.taskdata.document import TASK_FILE
from taskkit.taskdata.store import Store
from taskkit.taskdata.writer import FOLDER

__all__ = ["Example", "MemoryStore", "ab_pattern", "field_with", "hole", "outer", "points", "polygon"]

_LON_DEG, _LAT_DEG = 9.5, 54.0
_METRES_PER_DEGREE = 111_320.0
"""Of latitude, roughly; an example needs no more."""

_FRAME = """<?xml version="1.0" encoding="UTF-8"?>
<ISO11783_TaskData VersionMajor="{0}" VersionMinor="{1}" ManagementSoftwareManufacturer="example"
 ManagementSoftwareVersion="1" DataTransferOrigin="1">
{2}
</ISO11783_TaskData>
"""


@dataclass(frozen=True, slots=True)
class Example:
    """A set that shows a rule.

    Attributes:
        body: what stands inside the root of its task file.
        version: the version that the task file declares.
        name: the name of the task file.
        folder: the folder it lies in.
        beside: name -> content of other files in that folder.
        elsewhere: name with folders -> content of files in other folders.
    """

    body: str = ""
    version: str = "4.3"
    name: str = TASK_FILE
    folder: str = FOLDER
    beside: Mapping[str, bytes] = field(default_factory=dict)
    elsewhere: Mapping[str, bytes] = field(default_factory=dict)

    def files(self) -> dict[str, bytes]:
        """Name with folders -> bytes of every file, sorted."""
        home = f"{self.folder}/" if self.folder else ""
        major, _, minor = self.version.partition(".")
        files = {home + self.name: _FRAME.format(major, minor, self.body).encode()}
        files |= {home + name: content for name, content in self.beside.items()}
        return dict(sorted({**files, **self.elsewhere}.items()))

    def store(self) -> Store:
        """The set, ready to be read."""
        return MemoryStore(self.files(), folder=self.folder)


class MemoryStore:
    """The files of one set in memory.

    Args:
        files: name with folders -> bytes.
        folder: the folder in which the set lies; empty for the top.
    """

    def __init__(self, files: Mapping[str, bytes], *, folder: str = FOLDER) -> None:
        self.path = Path("memory")
        self.folder = folder
        homes = {name: str(PurePosixPath(name).parent).removeprefix(".") for name in sorted(files)}
        self._files = {PurePosixPath(name).name: files[name] for name, home in homes.items() if home == folder}
        self.names = tuple(self._files)
        self.elsewhere = tuple(name for name, home in homes.items() if home != folder)

    def read(self, name: str) -> bytes:
        """The bytes of one of ``names``."""
        return self._files[name]


def points(places: str, *, types: str = "2") -> str:
    """One PNT for each place.

    Args:
        places: metres east and north of a place in the north of Europe, e.g. ``0,0 100,0 100,50``.
        types: the point type of all of them, or a digit for each.

    >>> points("0,0 0,100", types="67")
    '<PNT A="6" C="54.000000000" D="9.500000000"/><PNT A="7" C="54.000898311" D="9.500000000"/>'
    """
    pairs = [[float(number) for number in place.split(",")] for place in places.split()]
    kinds = types if len(types) == len(pairs) else types * len(pairs)
    per_degree_east = _METRES_PER_DEGREE * math.cos(math.radians(_LAT_DEG))
    return "".join(
        f'<PNT A="{kind}" C="{_LAT_DEG + north / _METRES_PER_DEGREE:.9f}" D="{_LON_DEG + east / per_degree_east:.9f}"/>'
        for kind, (east, north) in zip(kinds, pairs, strict=True)
    )


def outer(places: str) -> str:
    """An outer ring; the closing point is written out by whoever wants one."""
    return f'<LSG A="1">{points(places)}</LSG>'


def hole(places: str) -> str:
    """A hole."""
    return f'<LSG A="2">{points(places)}</LSG>'


def polygon(*rings: str, attributes: str = "") -> str:
    """A PLN of the type *field boundary*."""
    return "\n  ".join([f'<PLN A="1"{attributes and " " + attributes}>', *rings]) + "\n</PLN>"


def field_with(*children: str, area_m2: int = 0) -> str:
    """A PFD; an area of 0 means that it is not known."""
    return "\n".join([f'<PFD A="PFD1" C="Long Acre" D="{area_m2}">', *children, "</PFD>"])


def ab_pattern(places: str, *, types: str = "67", attributes: str = "") -> str:
    """A GGP with one GPN through A and B."""
    line = f'<LSG A="5" C="3000">{points(places, types=types)}</LSG>'
    extra = attributes and " " + attributes
    return f'<GGP A="GGP1"><GPN A="GPN1" B="Along the lane" C="1"{extra}>\n  {line}\n</GPN></GGP>'
