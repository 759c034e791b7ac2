"""The table of steering frames, held against the EPSG registry as PROJ ships it."""

from __future__ import annotations

import csv
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS
from pyproj.database import query_crs_info

from taskkit.errors import InputError
from taskkit.geometry.frames import Bounds, frame_named, frames_at, realisation, steering_frames
from taskkit.shipped import schema_file


def rows(table: str) -> list[dict[str, str]]:
    with schema_file("frames", table).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE))


def test_codes_of_the_table_are_geographic_systems_that_are_carried_as_that_frame() -> None:
    for row in rows("steering_frames.tsv"):
        for code in (row["written_as"], row["code"]):
            system = CRS.from_user_input(code)
            assert system.is_geographic
            assert system.datum is not None
            found = realisation(system.datum.name)
            assert found is not None
            assert found.frame == row["frame"]


def test_areas_of_the_table_are_those_of_the_registry() -> None:
    known: dict[str, set[tuple[float, ...]]] = {}
    for info in query_crs_info(auth_name="EPSG", allow_deprecated=True):
        if info.area_of_use:
            known.setdefault(info.area_of_use.name.rstrip("."), set()).add(info.area_of_use.bounds)
    for row in rows("steering_frames.tsv"):
        bounds = tuple(float(row[f"{side}_deg"]) for side in ("west", "south", "east", "north"))
        # The registry's listing has long descriptions; the numbers are what counts.
        assert any(bounds in found for found in known.values()), row["area"]


def test_every_realisation_is_a_datum_of_the_registry() -> None:
    datums = set()
    for info in query_crs_info(auth_name="EPSG", pj_types=["GEOGRAPHIC_2D_CRS", "GEOGRAPHIC_3D_CRS"]):
        datum = CRS.from_epsg(int(info.code)).datum
        if datum is not None:
            datums.add(datum.name)
    for row in rows("realisations.tsv"):
        name = row["datum"]
        assert any(d.startswith(name[:-1]) if name.endswith("*") else d == name for d in datums), name


@pytest.mark.parametrize(
    ("place", "frames"),
    [
        (Bounds(5, 52, 5.1, 52.1), ["ETRS89"]),
        (Bounds(-93, 45, -92.9, 45.1), ["NAD83"]),
        (Bounds(145, -37, 145.1, -36.9), ["GDA2020"]),
        (Bounds(-176.6, -44, -176.5, -43.9), ["NZGD2000"]),
        (Bounds(179.9, -40, -179.9, -39), ["NZGD2000"]),
        (Bounds(140, 36, 140.1, 36.1), ["JGD2011"]),
        (Bounds(28, -26, 28.1, -25.9), ["Hartebeesthoek94"]),
        (Bounds(-50, -20, -49.9, -19.9), ["SIRGAS 2000"]),
        (Bounds(78, 20, 78.1, 20.1), []),
        (Bounds(5, 52, 40, 52.1), []),
    ],
)
def test_the_frame_goes_by_the_place(place: Bounds, frames: list[str]) -> None:
    assert [frame.name for frame in frames_at(place)] == frames


def test_where_two_areas_hold_a_place_the_area_of_the_system_decides() -> None:
    tijuana = Bounds(-116.1, 32.2, -116.0, 32.3)
    mexico = Bounds(-122.19, 12.1, -84.64, 32.72)

    assert [frame.name for frame in frames_at(tijuana)] == ["NAD83", "SIRGAS 2000"]
    assert [frame.name for frame in frames_at(tijuana, system_area=mexico)] == ["SIRGAS 2000", "NAD83"]


def test_one_frame_has_its_own_realisation_in_each_country() -> None:
    nad83 = steering_frames()["NAD83"]

    assert nad83.code_at(Bounds(-93, 45, -92.9, 45.1)) == "EPSG:6318"
    assert nad83.code_at(Bounds(-110, 52, -109.9, 52.1)) == "EPSG:4617"
    assert nad83.code_at(Bounds(-156, 20, -155.9, 20.1)) == "EPSG:6322"
    assert nad83.code_at(Bounds(5, 52, 5.1, 52.1)) == "EPSG:6318"


def test_an_unknown_frame_is_answered_with_those_there_are() -> None:
    with pytest.raises(InputError, match=re.escape("no steering frame 'ED50' here. Name one of ETRS89, NAD83,")):
        frame_named("ED50")


@given(west=st.integers(-180, 179), width=st.integers(0, 120), south=st.integers(-80, 40))
def test_a_rectangle_holds_what_lies_in_it_wherever_180_degrees_run(west: int, width: int, south: int) -> None:
    def wrapped(lon: int) -> int:
        return (lon + 180) % 360 - 180

    big = Bounds(wrapped(west), south, wrapped(west + width + 2), south + 10)
    small = Bounds(wrapped(west + 1), south + 1, wrapped(west + width + 1), south + 9)

    assert big.holds(small)
    assert not small.holds(big)
