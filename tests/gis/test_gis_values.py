"""A plan whose outlines, lines, things and codes stand in GIS files beside it."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import shapely
import yaml
from pyproj import Geod, Proj

from taskkit import api
from taskkit.errors import InputError, UnsafeInputError
from taskkit.geometry.line import LonLatLine
from taskkit.gis.reading import read_shapes
from taskkit.gis.writing import Layer, write_layers
from taskkit.plan.elsewhere import Elsewhere
from taskkit.plan.files import load_plan, save_changes
from taskkit.plan.gis_values import GisValues
from taskkit.plan.leaves import changed, leaves
from taskkit.plan.model import Origin, Plan
from taskkit.plan.quantities import Area, Length
from taskkit.plan.schema import plan_schema
from taskkit.reports import as_json, as_text

PLAN = """\
format: 2
uuid: 7b0a3f4e-9d0f-4a54-8f0e-5b0d6f2f7c11
name: Thornby
steering_frame: ETRS89
fields:
  - name: North Piece
    code: {file: land/farm.gpkg, layer: parcels, where: NAME = North Piece, column: CODE}
    declared_area: {file: land/farm.gpkg, layer: parcels, where: NAME = North Piece, column: HA, unit: ha}
    boundaries:
      - purpose: worked
        area: {file: land/farm.gpkg, layer: parcels, where: NAME = North Piece}
    features:
      - name: Pole 7
        kind: pole
        place: {file: land/farm.gpkg, layer: poles}
    lines:
      - name: Along the ditch
        kind: curve
        path: {file: land/farm.gpkg, layer: ditches, where: ID = 2}
        spacing: 3 m
"""
Run = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A GeoPackage with three layers, in metres of ETRS89 / UTM zone 32N."""
    x, y = 500000, 6000000
    parcels = [
        shapely.box(x, y, x + 200, y + 100),
        shapely.MultiPolygon([shapely.box(x, y - 300, x + 200, y - 200), shapely.box(x, y - 600, x + 200, y - 500)]),
        shapely.box(x + 300, y - 300, x + 400, y - 200),
        shapely.box(x + 300, y, x + 400, y + 100),
    ]
    ditches = [
        shapely.LineString([(x, y + 10), (x + 90, y + 12), (x + 200, y + 10)]),
        shapely.LineString([(x, y), (x, y + 1)]),
    ]
    columns = {"NAME": ["North Piece", "South Piece", "South Piece", None], "CODE": ["007", "12:30", "No", None],
               "HA": [1.95, 2.0, 2.25, 2.5]}  # fmt: skip
    layers = [
        Layer("parcels", "area", dict(columns), [shapely.to_wkb(one) for one in parcels]),
        Layer("ditches", "line", {"ID": [2, 3]}, [shapely.to_wkb(one) for one in ditches]),
        Layer("poles", "point", {"ID": [1]}, [shapely.to_wkb(shapely.Point(x + 50, y + 50))]),
    ]
    return write_layers(tmp_path_factory.mktemp("made") / "farm.gpkg", layers, crs="EPSG:25832").files[0]


@pytest.fixture
def farm(package: Path, tmp_path: Path) -> Path:
    """A plan, and that file beside it."""
    (tmp_path / "farm" / "land").mkdir(parents=True)
    shutil.copy(package, tmp_path / "farm" / "land" / package.name)
    (tmp_path / "farm" / "plan.yaml").write_text(PLAN, "utf-8")
    return tmp_path / "farm"


@pytest.fixture(scope="module")
def values() -> GisValues:
    """Keeps the layers that it read from one test to the next."""
    return GisValues()


def drawn(folder: Path, geometry: dict[str, object], *, crs: str, frame: str = "ETRS89", key: str = "area") -> Path:
    """A plan whose only shape is the only one of a GeoJSON file."""
    folder.mkdir(exist_ok=True)
    named = {"type": "name", "properties": {"name": crs.replace("EPSG:", "urn:ogc:def:crs:EPSG::")}}
    feature = {"type": "Feature", "properties": {}, "geometry": geometry}
    text = json.dumps({"type": "FeatureCollection", "crs": named, "features": [feature]})
    (folder / "drawn.geojson").write_text(text, "utf-8")
    head = PLAN.partition("    code:")[0].replace("ETRS89", frame)
    keys = {
        "area": "boundaries:\n      - area",
        "path": "lines:\n      - name: x\n        spacing: 3 m\n        kind: curve\n        path",
    }
    (folder / "plan.yaml").write_text(f"{head}    {keys[key]}: {{file: drawn.geojson}}\n", "utf-8")
    return folder


def square(x: float, y: float, size: float = 100) -> dict[str, object]:
    return {"type": "Polygon", "coordinates": [[[x, y], [x + size, y], [x + size, y + size], [x, y + size], [x, y]]]}


def loaded(folder: Path) -> Plan:
    return load_plan(folder, resolve=GisValues())


def origin(folder: Path) -> Origin:
    found = loaded(folder).fields[0].boundaries[0].origin
    assert found is not None
    return found


def test_outlines_lines_things_and_cells_come_from_the_file_in_the_steering_frame(
    farm: Path, values: GisValues
) -> None:
    plan = load_plan(farm, resolve=values)

    field = plan.fields[0]
    outline = field.boundaries[0]
    assert (field.code, field.declared_area) == ("007", Area("1.95 ha"))
    # ETRS89 / UTM zone 32N: the projection alone is undone; pyproj's own Proj has no datum in it at all.
    lon, lat = Proj("EPSG:25832")([500200, 500200, 500000, 500000], [6000000, 6000100, 6000100, 6000000], inverse=True)
    assert np.abs(outline.parts[0].outer.points - np.column_stack((lon, lat))).max() <= 0.5000001e-9
    assert outline.source == "farm.gpkg"
    assert outline.origin is not None
    assert outline.origin.model_dump(exclude_none=True) == {
        "crs": "EPSG:25832", "frame": "ETRS89", "operation": "projection undone (UTM zone 32N), datum unchanged",
        "operation_accuracy": "0 m",
    }  # fmt: skip
    pole, line = field.features[0], field.lines[0]
    assert (pole.place.form, pole.source, pole.origin) == ("point", "farm.gpkg", outline.origin)
    assert (len(line.path), line.source, line.origin) == (3, "farm.gpkg", outline.origin)  # type: ignore[union-attr]


def test_a_national_datum_is_transformed_and_its_accuracy_goes_into_plan_and_report(tmp_path: Path) -> None:
    drawn(tmp_path / "plan", square(155000, 463000), crs="EPSG:28992")

    exported = api.export(tmp_path / "plan", tmp_path / "stick")

    (outline,) = exported.origins
    assert (outline.name, outline.plain) == ("North Piece", False)
    assert (outline.origin.crs, outline.origin.frame) == ("EPSG:28992", "Amersfoort")
    assert outline.origin.operation_accuracy == Length("0.25 m")
    # RD's central point in ETRS89: 52.155172897 N, 5.387203657 E (NSGI, from memory).
    lon, lat = exported.plan.fields[0].boundaries[0].parts[0].outer.points[0]
    assert Geod(ellps="GRS80").inv(lon, lat, 5.387203657, 52.155172897)[2] <= 0.25
    assert exported.comparison.equal
    assert "steering frame: ETRS89; brought there: 1 outline from Amersfoort, to 0.25 m" in as_text.export(exported)
    facts = json.loads(as_json.export(exported))
    assert facts["steering_frame"] == "ETRS89"
    assert facts["outlines"] == [
        {"field": str(outline.field), "name": "North Piece", "boundary": str(outline.boundary), "crs": "EPSG:28992",
         "frame": "Amersfoort", "epoch": None, "operation": outline.origin.operation, "accuracy_m": 0.25,
         "plain": False}
    ]  # fmt: skip


def test_every_command_that_takes_a_plan_takes_such_a_plan(taskkit: Run, farm: Path, tmp_path: Path) -> None:
    done = taskkit("export", farm, "--out", tmp_path / "stick")

    assert (done.returncode, done.stderr) == (0, "")
    assert "  steering frame: ETRS89\n" in done.stdout
    assert api.compare(farm, tmp_path / "stick").comparison.equal
    assert sum(count for _, count in api.gis(farm, tmp_path / "farm.csv").layers) == 4
    assert len(api.ready(farm).fields) == 1
    # What is moved no longer stands in the file, but where it came from is kept; all else still does.
    api.edit(farm, "007", shift_outline="1 m")
    text = (farm / "plan.yaml").read_text("utf-8")
    assert text.count("{file:") == PLAN.count("{file:") - 1
    assert 'crs: "EPSG:25832"' in text


def test_a_change_elsewhere_in_the_plan_leaves_the_notation(farm: Path, values: GisValues) -> None:
    plan = load_plan(farm, resolve=values)
    name = next(leaf for leaf in leaves(plan) if leaf.path == "fields.features.name")

    save_changes(plan, changed(plan, name, "Pole 8"), farm, resolve=values)

    # The pole, which had its UUID from its name, keeps it.
    text = re.sub(r"uuid: [-0-9a-f]{36}\n +(?=name: Pole)", "", (farm / "plan.yaml").read_text("utf-8"))
    assert text == PLAN.replace("Pole 7", "Pole 8")


def test_a_layer_is_read_once_for_all_fields(package: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    read: list[tuple[str, ...]] = []

    def counting(path: Path, *, columns: tuple[str, ...], layer: str | None) -> object:
        read.append(columns)
        return read_shapes(path, columns=columns, layer=layer)

    monkeypatch.setattr("taskkit.plan.gis_values.read_shapes", counting)
    values = GisValues()
    north = ("NAME", "North Piece")
    first = values(Elsewhere(package, "parcels", north, "CODE", "ETRS89"))
    shapes = [values(Elsewhere(package, "parcels", north, None, "ETRS89")).text for _ in range(3)]
    again = values(Elsewhere(package, "parcels", ("CODE", "007"), "HA", "ETRS89"))

    assert (first.text, again.text, len(set(shapes))) == ("007", "1.95", 1)
    assert read == [("NAME", "CODE"), ("NAME", "CODE", "HA")]


def test_layers_are_let_go_where_too_much_would_be_kept(package: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("taskkit.plan.gis_values._MOST_BYTES", 0)
    values = GisValues()

    for layer in ("poles", "ditches", "poles"):
        values(Elsewhere(package, layer, ("ID", "1" if layer == "poles" else "3"), None, "ETRS89"))
        assert len(values._layers) == 1


def test_a_shape_that_is_none_is_told_by_its_number(tmp_path: Path) -> None:
    open_ring = {"type": "Polygon", "coordinates": [[[9, 54], [9.1, 54], [9.1, 54.1], [9, 54.1]]]}

    with pytest.raises(InputError, match=r"`area` cannot be taken from drawn\.geojson: feature 1 has a ring"):
        loaded(drawn(tmp_path, open_ring, crs="EPSG:4258"))


@pytest.mark.parametrize(
    ("layer", "where", "column", "said", "remedy"),
    [
        ("parcels", ("NAME", "North Peice"), None, "no row has 'North Peice'", "Did you mean 'North Piece'"),
        ("parcels", ("NAME", "Mill"), None, "no row has 'Mill' in the column NAME", None),
        ("parcels", ("NAME", "South Piece"), "CODE", "2 rows have 'South Piece'", "tells them apart"),
        ("parcels", ("NAMES", "Mill"), None, "no column 'NAMES'; it has NAME, CODE, HA", "Name one of these"),
        ("parcels", ("CODE", "No"), "CODES", "no column 'CODES'", "Name one of these"),
        ("parcels", ("HA", "2.5"), "CODE", "that row has nothing in the column CODE", "leave the key out"),
        ("ditches", None, None, "it has 2 rows, and one is wanted", "`where: COLUMN = value`"),
        ("posts", None, None, "it has no layer 'posts'; it has parcels, ditches, poles", "Name one of these"),
        (None, None, None, "it has several layers: parcels, ditches, poles", "Name one with `layer`"),
    ],
)
def test_what_cannot_be_found_in_the_file_is_told_with_the_remedy(
    package: Path,
    values: GisValues,
    layer: str | None,
    where: tuple[str, str] | None,
    column: str | None,
    said: str,
    remedy: str | None,
) -> None:
    with pytest.raises(InputError) as caught:
        values(Elsewhere(package, layer, where, column, "ETRS89"))

    assert said in caught.value.message
    assert caught.value.path == str(package)
    assert remedy is None or remedy in str(caught.value.remedy)


def test_what_cannot_be_found_is_told_where_the_plan_asks_for_it(farm: Path, values: GisValues) -> None:
    text = PLAN.replace("farm.gpkg, layer: poles", "farms.gpkg, layer: poles")
    (farm / "plan.yaml").write_text(text, "utf-8")

    with pytest.raises(InputError) as caught:
        load_plan(farm, resolve=values)
    assert (caught.value.line, caught.value.column) == (15, 16)
    assert caught.value.message == "`place` cannot be taken from farms.gpkg: there is no such file"

    (farm / "plan.yaml").write_text(PLAN.replace("layer: ditches, where: ID = 2", "layer: poles"), "utf-8")
    with pytest.raises(InputError, match=r"plan\.yaml:19:15: `path` cannot be taken: LINESTRING expected"):
        load_plan(farm, resolve=values)


def test_several_lines_in_one_row_are_not_one_line(tmp_path: Path) -> None:
    lines = {"type": "MultiLineString", "coordinates": [[[9, 54], [9.1, 54]], [[9, 54.1], [9.1, 54.1]]]}

    with pytest.raises(InputError, match="that row has 2 lines, and one is wanted"):
        loaded(drawn(tmp_path, lines, crs="EPSG:4258", key="path"))

    lines["coordinates"] = lines["coordinates"][:1]
    line = loaded(drawn(tmp_path, lines, crs="EPSG:4258", key="path")).fields[0].lines[0]
    assert line.path == LonLatLine([(9, 54), (9.1, 54)])  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("crs", "x", "y", "frame", "said", "remedy"),
    [
        # OSGB36 by its grid only, which PROJ does not come with.
        ("EPSG:27700", 400000, 300000, "ETRS89", "lacks the grid uk_os", "put the grid into"),
        # S-JTSK by a shift of the datum, which is stated to be 1 m off.
        ("EPSG:5514", -700000, -1050000, "ETRS89", "more than 0.3 m", "ring the file to ETRS89 first"),
        ("EPSG:25832", 500000, 6000000, "unknown", "come in ETRS89, and the plan does not say", "_frame: ETRS89`"),
        ("EPSG:28992", 155000, 463000, "", "come in Amersfoort, and the plan does not say", "_frame: ETRS89`"),
        ("EPSG:25832", 500000, 6000000, "Old town grid", "there is no steering frame 'Old town grid'", "ETRS89"),
    ],
)  # fmt: skip
def test_what_cannot_be_brought_to_the_steering_frame_is_refused(
    tmp_path: Path, crs: str, x: float, y: float, frame: str, said: str, remedy: str
) -> None:
    with pytest.raises(InputError) as caught:
        loaded(drawn(tmp_path, square(x, y), crs=crs, frame=frame))

    assert said in caught.value.message
    assert remedy in str(caught.value.remedy).replace("Put", "put")
    # Nothing in a plan accepts a bad transformation, so nothing offers to.
    assert "--" not in str(caught.value.remedy)


def test_plain_wgs84_is_taken_as_the_frame_that_the_plan_says_and_told_so(tmp_path: Path) -> None:
    said = origin(drawn(tmp_path, square(9, 54, 0.001), crs="EPSG:4326", frame="etrs89"))
    assert said == Origin(
        crs="EPSG:4326", frame="unknown", operation="carried as it is; said to be in ETRS89, not known"
    )
    exported = api.export(tmp_path, tmp_path / "stick")
    assert "brought there: 1 outline from unknown, nobody knows how exactly" in " ".join(
        as_text.export(exported).split()
    )

    unsaid = origin(drawn(tmp_path, square(9, 54, 0.001), crs="EPSG:4326", frame="unknown"))
    assert unsaid == Origin(
        crs="EPSG:4326", frame="unknown", operation="carried as it is", operation_accuracy=Length("0 m")
    )


def test_what_was_remarkable_in_a_file_is_told_with_its_name(tmp_path: Path) -> None:
    high = {"type": "Polygon", "coordinates": [[[9, 54, 1], [9.001, 54, 1], [9.001, 54.001, 1], [9, 54, 1]]]}
    folder = drawn(tmp_path / "plan", high, crs="EPSG:4258")

    exported = api.export(folder, tmp_path / "stick")
    as_layers = api.gis(folder, tmp_path / "farm.csv")

    assert exported.notes == as_layers.notes == ("drawn.geojson: 1 of 1 shapes have heights; they were left out",)
    assert "  - drawn.geojson: 1 of 1 shapes have heights" in as_text.export(exported)


def test_a_file_beside_it_that_leads_to_another_folder_is_not_read(tmp_path: Path) -> None:
    layer = Layer("poles", "point", {"ID": [1]}, [shapely.to_wkb(shapely.Point(9, 54))])
    written = write_layers(tmp_path / "farm" / "land.shp", [layer], crs="EPSG:4258")
    shape = next(file for file in written.files if file.suffix == ".shp")
    assert GisValues()(Elsewhere(shape, frame="ETRS89")).text == "POINT (9 54)"

    table = shape.with_suffix(".dbf")
    table.rename(tmp_path / "secret.dbf")
    table.symlink_to(tmp_path / "secret.dbf")

    with pytest.raises(UnsafeInputError, match=r"\.dbf beside it leads to another folder"):
        GisValues()(Elsewhere(shape, frame="ETRS89"))


def test_a_plan_folder_that_cannot_be_listed_is_an_error_of_input(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="its folder cannot be read"):
        GisValues()(Elsewhere(tmp_path / "none" / "farm.gpkg"))


def test_the_schema_for_editors_takes_such_a_plan() -> None:
    jsonschema.validate(yaml.safe_load(PLAN), json.loads(plan_schema()))
