"""Real outlines made bad by program: ``new`` keeps or refuses them by name, ``check`` tells defect and place."""

from __future__ import annotations

import json
import subprocess
import sys
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from pyproj import Proj

from taskkit import api
from taskkit.errors import InputError, RefusedError
from taskkit.geometry.wkb import read_areas as areas_from_wkb
from taskkit.gis.reading import read_areas
from taskkit.mapping import write_plan
from taskkit.plan.files import load_plan
from taskkit.plan.identity import Identity
from taskkit.plan.model import Origin
from taskkit.plan.quantities import Length
from taskkit.taskdata.writer import write_folder

UTM32 = Proj("EPSG:25832")
Ring = list[list[float]]


@pytest.fixture(scope="module")
def outline(shared_data: Path) -> Ring:
    """A real field of Denmark (field parcels 2026, CC0 1.0, Danish Agricultural Agency), closed, metres."""
    read = read_areas(shared_data / "dk.zip")
    rings = [areas_from_wkb([shape]).xy for shape in read.shapes[:20]]
    ring: Ring = max((ring for ring in rings if len(ring) < 60), key=len).tolist()
    return ring


def written(folder: Path, *geometries: Any, name: str = "bad.geojson") -> Path:
    features = [
        {"type": "Feature", "properties": {"NAME": f"Field {n}"}, "geometry": one} for n, one in enumerate(geometries)
    ]
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::25832"}}
    path = folder / name
    path.write_text(json.dumps({"type": "FeatureCollection", "crs": crs, "features": features}), "utf-8")
    return path


def polygon(*rings: Ring) -> dict[str, Any]:
    return {"type": "Polygon", "coordinates": list(rings)}


def square(x: float, y: float, side: float) -> Ring:
    return [[x, y], [x + side, y], [x + side, y + side], [x, y + side], [x, y]]


def middle(ring: Ring) -> list[float]:
    """A place inside: the middle of the longest stretch of a level line through the ring."""
    ys = sorted(y for _, y in ring)
    y = (ys[len(ys) // 2 - 1] + ys[len(ys) // 2]) / 2 + 0.011
    cuts = sorted(
        a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]) for a, b in pairwise(ring) if (a[1] - y) * (b[1] - y) < 0
    )
    west, east = max(zip(cuts[::2], cuts[1::2], strict=True), key=lambda cut: cut[1] - cut[0])
    return [(west + east) / 2, y]


def crossed(ring: Ring) -> tuple[dict[str, Any], list[float] | None]:
    # A bow-tie: half of the corners are taken the other way round.
    first, last = len(ring) // 4, 3 * len(ring) // 4
    return polygon([*ring[:first], *ring[first:last][::-1], *ring[last:]]), None


def keyhole(ring: Ring) -> tuple[dict[str, Any], list[float] | None]:
    x, y = middle(ring)
    island = square(x, y, 1)[::-1]
    return polygon([*ring[:-1], ring[0], *island, ring[0]]), None


def spike(ring: Ring) -> tuple[dict[str, Any], list[float] | None]:
    # 2 cm out and back on itself, from the middle of the first edge.
    (ax, ay), (bx, by) = ring[0], ring[1]
    length = ((bx - ax) ** 2 + (by - ay) ** 2) ** 0.5
    foot = [(ax + bx) / 2, (ay + by) / 2]
    tip = [foot[0] + 0.02 * (by - ay) / length, foot[1] - 0.02 * (bx - ax) / length]
    return polygon([ring[0], foot, tip, foot, *ring[1:]]), tip


def hole_outside(ring: Ring) -> tuple[dict[str, Any], list[float] | None]:
    x = max(x for x, _ in ring) + 50
    return polygon(ring, square(x, ring[0][1], 10)), None


def repeated(ring: Ring) -> tuple[dict[str, Any], list[float] | None]:
    return polygon([*ring[:3], ring[2], *ring[3:]]), ring[2]


BAD = {
    "ring-crosses-itself": crossed,
    "ring-touches-itself": keyhole,
    "ring-spike": spike,
    "hole-outside-outer-ring": hole_outside,
    "ring-point-repeated": repeated,
}


@pytest.mark.parametrize("rule", BAD)
def test_a_bad_outline_is_kept_and_the_check_names_the_defect_and_its_place(
    tmp_path: Path, outline: Ring, rule: str
) -> None:
    geometry, place = BAD[rule](outline)
    api.new(tmp_path / "plan", source=written(tmp_path, geometry), name_from="NAME")
    # Past the gate of export, which would refuse some of these: the check must see them in anybody's set.
    write_folder(write_plan(load_plan(tmp_path / "plan"), Identity()).data, tmp_path / "TASKDATA")
    report = api.check(tmp_path / "TASKDATA").report

    found = [one for one in report if one.kind.name == rule]

    assert found, [one.kind.name for one in report]
    east, north = UTM32(found[0].facts["lon_deg"], found[0].facts["lat_deg"])
    wanted = [place] if place else [*outline, geometry["coordinates"][-1][0], middle(outline)]
    near = min(((east - x) ** 2 + (north - y) ** 2) ** 0.5 for x, y in wanted)
    assert near <= (0.05 if place else 500)
    assert str(found[0].facts["lat_deg"]) in found[0].message


@pytest.mark.parametrize("rule", ["ring-crosses-itself", "hole-outside-outer-ring"])
def test_an_outline_that_is_no_area_does_not_go_out_and_its_place_is_named(
    tmp_path: Path, outline: Ring, rule: str
) -> None:
    geometry, _ = BAD[rule](outline)
    sound = polygon(square(outline[0][0] + 5000, outline[0][1], 100))
    api.new(tmp_path / "plan", source=written(tmp_path, geometry, sound), name_from="NAME")

    with pytest.raises(RefusedError, match=r"field Field 0: .*vertex \d+, latitude 5\d\.\d+, longitude 1?\d\.\d+"):
        api.export(tmp_path / "plan", tmp_path / "stick")
    assert not (tmp_path / "stick").exists()
    assert api.export(tmp_path / "plan", tmp_path / "stick", leave_out_unfit=True).plan.fields[0].name == "Field 1"


@pytest.mark.parametrize(
    ("geometry", "said"),
    [
        (None, "feature 2 has no shape"),
        ({"type": "Polygon", "coordinates": []}, "is empty"),
        ({"type": "MultiPolygon", "coordinates": []}, "is empty"),
        ({"type": "Point", "coordinates": [500000, 6000000]}, "feature 2 is a point, not an area"),
        ({"type": "GeometryCollection", "geometries": []}, "feature 2 is of mixed or unusual shape, not an area"),
    ],
)
def test_what_is_no_outline_is_refused_by_the_number_of_its_feature(
    tmp_path: Path, geometry: dict[str, Any] | None, said: str
) -> None:
    path = written(tmp_path, polygon(square(500000, 6000000, 100)), geometry)

    with pytest.raises(InputError, match=said) as caught:
        api.new(tmp_path / "plan", source=path)
    assert "2" in caught.value.message
    assert not (tmp_path / "plan").exists()


def test_a_ring_that_is_not_closed_is_refused_by_the_number_of_its_feature(tmp_path: Path) -> None:
    path = written(tmp_path, polygon(square(500000, 6000000, 100)), polygon(square(500200, 6000000, 100)[:-1]))

    with pytest.raises(InputError, match="area 2 has a ring that is not closed"):
        api.new(tmp_path / "plan", source=path)


def test_a_ring_without_extent_is_kept_and_does_not_go_out(tmp_path: Path) -> None:
    path = written(tmp_path, polygon([[500000, 6000000], [500100, 6000000], [500000, 6000000]]))

    api.new(tmp_path / "plan", source=path)

    with pytest.raises(RefusedError, match="the outer ring has fewer than three points"):
        api.export(tmp_path / "plan", tmp_path / "stick")


def test_heights_go_with_a_note(tmp_path: Path) -> None:
    high = [[*point, 12.5] for point in square(500000, 6000000, 100)]

    made = api.new(tmp_path / "plan", source=written(tmp_path, polygon(high)))

    assert "1 of 1 areas have heights; they were left out" in made.notes


def test_an_empty_layer_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="it has no areas"):
        api.new(tmp_path / "plan", source=written(tmp_path))


def test_points_that_cannot_be_in_the_system_are_told_with_their_place(tmp_path: Path) -> None:
    # Degrees in a file that says metres: a field beside the equator; and the reverse: nowhere.
    degrees = written(tmp_path, polygon([[9, 54], [9.1, 54], [9.1, 54.1], [9, 54]]))
    made = api.new(tmp_path / "plan", source=degrees)
    assert "is it the right system" in " ".join(made.notes)

    nowhere = degrees.read_text("utf-8").replace("25832", "4258").replace("[9.1, 54]", "[500000, 6000000]")
    (tmp_path / "nowhere.geojson").write_text(nowhere, "utf-8")
    with pytest.raises(InputError, match=r"the point 500000, 6000000 cannot be in ETRS89"):
        api.new(tmp_path / "other", source=tmp_path / "nowhere.geojson")


def test_farms_and_customers_are_made_from_columns(tmp_path: Path) -> None:
    rows = [("North", "Home Farm", "Larkmoor"), ("South", "Home Farm", "Larkmoor"), ("East", "Home Farm", "Thornby"),
            (None, "  ", None)]  # fmt: skip
    features = [
        {"type": "Feature", "properties": {"NAME": name, "FARM": farm, "WHO": who, "CODE": f"00{n}"},
         "geometry": polygon(square(9 + n / 100, 54, 0.001))}
        for n, (name, farm, who) in enumerate(rows)
    ]  # fmt: skip
    path = tmp_path / "farms.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), "utf-8")

    done = subprocess.run(
        [sys.executable, "-m", "taskkit", "new", str(tmp_path / "plan"), "--from", str(path), "--name-from", "NAME",
         "--code-from", "CODE", "--farm-from", "FARM", "--customer-from", "WHO", "--frame", "etrs89"],
        capture_output=True, text=True, check=False, timeout=120, cwd=Path(__file__).parents[2],
    )  # fmt: skip

    assert done.returncode == 0, done.stderr
    assert "said to be in ETRS89, not known; accuracy unknown" in " ".join(done.stdout.split())
    assert "1 of 4 areas have no NAME; they were numbered instead" in " ".join(done.stdout.split())
    plan = load_plan(tmp_path / "plan")
    assert plan.steering_frame == "ETRS89"
    assert [customer.name for customer in plan.customers] == ["Larkmoor", "Thornby"]
    assert [farm.name for farm in plan.farms] == ["Home Farm", "Home Farm"]
    assert [farm.customer for farm in plan.farms] == [customer.uuid for customer in plan.customers]
    first, second = (farm.uuid for farm in plan.farms)
    assert [field.farm for field in plan.fields] == [first, first, second, None]
    assert [(field.name, field.code) for field in plan.fields] == [
        ("North", "000"), ("South", "001"), ("East", "002"), ("Field 4", "003"),
    ]  # fmt: skip


def test_each_boundary_keeps_where_it_came_from_and_what_was_done(tmp_path: Path) -> None:
    text = written(tmp_path, polygon(square(155000, 463000, 100))).read_text("utf-8").replace("25832", "28992")
    (tmp_path / "rd.geojson").write_text(text, "utf-8")

    made = api.new(tmp_path / "plan", source=tmp_path / "rd.geojson")

    outline = load_plan(tmp_path / "plan").fields[0].boundary()
    assert outline is not None
    assert (outline.source, outline.method) == ("rd.geojson", None)
    assert outline.origin == Origin(
        crs="EPSG:28992", frame="Amersfoort", operation="Amersfoort to ETRS89 (8)", operation_accuracy=Length("0.25 m")
    )
    done = "Amersfoort to ETRS89 (8); stated accuracy 0.25 m"
    assert made.notes[0] == f"coordinates came in Amersfoort / RD New (EPSG:28992): {done}"
    text = text.replace("28992", "27700")
    (tmp_path / "os.geojson").write_text(text, "utf-8")
    with pytest.raises(InputError, match="lacks the grid uk_os"):
        api.new(tmp_path / "other", source=tmp_path / "os.geojson", accept_accuracy=True)


def test_an_empty_plan_can_name_its_frame(tmp_path: Path) -> None:
    assert api.new(tmp_path / "plan", frame="gda2020").frame == "GDA2020"
    assert load_plan(tmp_path / "plan").steering_crs == "EPSG:7844"
    assert api.new(tmp_path / "none", frame="Unknown").frame == "unknown"
    assert load_plan(tmp_path / "none").steering_crs is None
    with pytest.raises(InputError, match="no steering frame 'Bessel'"):
        api.new(tmp_path / "other", frame="Bessel")
