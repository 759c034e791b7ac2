"""The frames that machines steer by: where each is in use, and which datums are realisations of it."""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from taskkit.errors import InputError
from taskkit.shipped import schema_file

__all__ = [
    "UNKNOWN",
    "Bounds",
    "Realisation",
    "SteeringFrame",
    "frame_named",
    "frames_at",
    "realisation",
    "steering_frames",
]

UNKNOWN = "unknown"
"""The frame of coordinates that are in WGS 84 and nobody knows which correction service."""
_WGS84 = "EPSG:4326"


@dataclass(frozen=True, slots=True)
class Bounds:
    """A rectangle of degrees; it lies across 180 degrees of longitude where west is larger than east."""

    west_deg: float
    south_deg: float
    east_deg: float
    north_deg: float

    def holds(self, other: Bounds, *, margin_deg: float = 0.0) -> bool:
        """Whether the other rectangle lies in this one, or over its edge by no more than a margin.

        >>> Bounds(160, -56, -171, -25).holds(Bounds(-177, -44, -176, -43))
        True
        """
        west, east = self.west_deg - margin_deg, self._east_beyond_west() + margin_deg
        inside = any(
            west <= other.west_deg + turn and other._east_beyond_west() + turn <= east for turn in (-360, 0, 360)
        )
        low, high = self.south_deg - margin_deg, self.north_deg + margin_deg
        return inside and low <= other.south_deg and other.north_deg <= high

    def _east_beyond_west(self) -> float:
        return self.east_deg + (360 if self.east_deg < self.west_deg else 0)

    def __str__(self) -> str:
        lat = f"latitude {self.south_deg:.6g} to {self.north_deg:.6g}"
        return f"{lat}, longitude {self.west_deg:.6g} to {self.east_deg:.6g}"


@dataclass(frozen=True, slots=True)
class Realisation:
    """A datum whose coordinates are carried as they are.

    Attributes:
        frame: the name of the frame that it realises.
        apart_m: how far it may lie from the frame's other realisations, metres.
    """

    frame: str
    apart_m: float


@dataclass(frozen=True, slots=True)
class SteeringFrame:
    """A frame that correction services work in.

    Attributes:
        name: its name, e.g. ``ETRS89``.
        written_as: the system in which GIS files of this frame are written, e.g. ``EPSG:4258``.
        places: where it is in use, and the code of the realisation to transform to there.
    """

    name: str
    written_as: str
    places: tuple[tuple[Bounds, str], ...]

    def code_at(self, place: Bounds) -> str:
        """The realisation to transform to at a place: that of the first area that holds it, else of the first."""
        return next((code for area, code in self.places if area.holds(place)), self.places[0][1])


@functools.cache
def steering_frames() -> Mapping[str, SteeringFrame]:
    """All frames by name, in the order of ``schemas/frames/steering_frames.tsv``."""
    frames: dict[str, SteeringFrame] = {}
    for row in _rows("steering_frames.tsv"):
        bounds = Bounds(*(float(row[f"{side}_deg"]) for side in ("west", "south", "east", "north")))
        known = frames.get(row["frame"])
        places = (*(known.places if known else ()), (bounds, row["code"]))
        frames[row["frame"]] = SteeringFrame(row["frame"], row["written_as"], places)
    return MappingProxyType(frames)


def frame_named(name: str) -> SteeringFrame:
    """The frame of a name, in capitals or not, with spaces or without; ``unknown`` is written in WGS 84.

    Raises:
        InputError: there is no such frame; all are named.

    >>> frame_named("sirgas2000").name, frame_named("unknown").written_as
    ('SIRGAS 2000', 'EPSG:4326')
    """
    wanted = _plain(name)
    if wanted == UNKNOWN:
        return SteeringFrame(UNKNOWN, _WGS84, ())
    for frame in steering_frames().values():
        if _plain(frame.name) == wanted:
            return frame
    raise InputError(
        f"there is no steering frame {name[:40]!r} here", remedy=f"Name one of {', '.join(steering_frames())}"
    )


def frames_at(place: Bounds, *, system_area: Bounds | None = None) -> tuple[SteeringFrame, ...]:
    """The frames in use at a place, the likeliest first: those whose area holds the whole area of the data's system.

    >>> [frame.name for frame in frames_at(Bounds(5, 52, 5.1, 52.1))]
    ['ETRS89']
    """
    found = [(frame, area) for frame in steering_frames().values() for area, _ in frame.places if area.holds(place)]
    found.sort(key=lambda one: not (system_area and one[1].holds(system_area)))
    return tuple(dict.fromkeys(frame for frame, _ in found))


def realisation(datum: str) -> Realisation | None:
    """The frame that a datum, by its EPSG name, is a realisation of; None where it is of none.

    >>> realisation("European Terrestrial Reference Frame 2000")
    Realisation(frame='ETRS89', apart_m=0.1)
    """
    name = datum.casefold()
    for row in _realisations():
        pattern = row["datum"].casefold()
        if name == pattern or (pattern.endswith("*") and name.startswith(pattern[:-1])):
            return Realisation(row["frame"], float(row["apart_m"]))
    return None


@functools.cache
def _realisations() -> tuple[Mapping[str, str], ...]:
    return tuple(_rows("realisations.tsv"))


def _rows(table: str) -> Iterator[Mapping[str, str]]:
    header, *lines = schema_file("frames", table).read_text("utf-8").splitlines()
    names = header.split("\t")
    return (dict(zip(names, line.split("\t"), strict=True)) for line in lines)


def _plain(name: str) -> str:
    return name.casefold().replace(" ", "")
