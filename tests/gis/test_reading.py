import json
import os
import shutil
import socket
import sqlite3
import struct
import subprocess
import sys
import threading
import zipfile
from pathlib import Path

import numpy as np
import pyogrio
import pytest
import shapely
from geographiclib.geodesic import Geodesic

from taskkit.errors import InputError, InternalError, UnsafeInputError
from taskkit.geometry.datum import to_steering_frame
from taskkit.geometry.geodesy import area_m2
from taskkit.geometry.wkb import read_areas as areas_from_wkb
from taskkit.gis import reading
from taskkit.gis.reading import read_areas

ROOT = Path(__file__).resolve().parents[2]
SQUARE = shapely.box(500000, 5983000, 500100, 5983100)
HOLED = SQUARE.difference(shapely.box(500040, 5983040, 500060, 5983060))
FARM = (HOLED, shapely.MultiPolygon([SQUARE, shapely.transform(SQUARE, lambda xy: xy + 300)]), SQUARE)
FIELD_NAMES = ["Long Acre", "Østermark", None]


def written(path, shapes=FARM, **how):
    wkb = np.array(
        [None if shape is None else shapely.to_wkb(shape, output_dimension=4, flavor="iso") for shape in shapes],
        dtype=object,
    )
    count = len(shapes)
    columns = how.pop(
        "columns",
        {
            "NAME": np.array((FIELD_NAMES * 10)[:count], dtype=object),
            "NO": np.array([7, 8, 9] * 10)[:count],
            "HA": np.array([1.0, 2.5, np.nan] * 10)[:count],
        },
    )
    driver = "GPKG" if ".gpkg" in path.name else "ESRI Shapefile"
    pyogrio.raw.write(
        path,
        geometry=wkb,
        field_data=list(columns.values()),
        fields=list(columns),
        **{"crs": "EPSG:25832", "geometry_type": "Unknown" if driver == "GPKG" else "Polygon", "driver": driver, **how},
    )
    return path


def zipped(target, *sources, **renamed):
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for source in sources:
            archive.writestr(zipfile.ZipInfo(renamed.get(source.suffix[1:], source.name)), source.read_bytes())
    return target


def snapshot(folder):
    return {p.name: (p.read_bytes(), p.stat().st_mtime_ns) for p in folder.iterdir() if p.is_file()}


@pytest.fixture
def listener():
    """An address that tells whether anybody called."""
    calls = []
    server = socket.create_server(("127.0.0.1", 0))
    server.settimeout(0.2)
    stop = threading.Event()

    def listen():
        while not stop.is_set():
            try:
                connection, _ = server.accept()
            except TimeoutError:
                continue
            calls.append(connection.recv(1000))
            connection.close()

    thread = threading.Thread(target=listen)
    thread.start()
    yield server.getsockname()[1], calls
    stop.set()
    thread.join()
    server.close()


# --- what is read ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["farm.gpkg", "farm.shp"])
def test_areas_and_columns_come_in_the_order_of_the_file(tmp_path, name):
    areas = read_areas(written(tmp_path / name), columns=["NO", "NAME", "HA", "NO"])
    assert areas.crs == "EPSG:25832"
    assert areas.columns == ("NAME", "NO", "HA")
    assert areas.rows == (
        {"NO": "7", "NAME": "Long Acre", "HA": "1"},
        {"NO": "8", "NAME": "Østermark", "HA": "2.5"},
        {"NO": "9", "NAME": None, "HA": None},
    )
    first, second, third = areas_from_wkb(areas.shapes).parts(np.zeros_like(areas_from_wkb(areas.shapes).xy))
    assert [len(first), len(first[0].holes), len(second), len(third)] == [1, 1, 2, 1]
    assert shapely.from_wkb(areas.shapes[0]).equals(HOLED)
    assert areas.notes == ()


def test_no_columns_are_read_unless_asked_for(tmp_path):
    assert read_areas(written(tmp_path / "farm.gpkg")).rows == ({}, {}, {})


def test_what_a_file_is_goes_by_its_beginning_not_its_name(tmp_path):
    shutil.move(written(tmp_path / "farm.gpkg"), tmp_path / "farm.dat")
    assert len(read_areas(tmp_path / "farm.dat").shapes) == 3


def test_zips_are_read_wherever_the_file_lies_in_them(tmp_path):
    geopackage = written(tmp_path / "farm.gpkg")
    assert len(read_areas(zipped(tmp_path / "a.gpkg.zip", geopackage, gpkg="out/2026/farm.GPKG")).shapes) == 3
    written(tmp_path / "farm.shp")
    files = [tmp_path / f"farm{ending}" for ending in (".shp", ".shx", ".dbf", ".prj", ".cpg")]
    areas = read_areas(
        zipped(
            tmp_path / "b.zip",
            *files,
            shp="FARM/farm.SHP",
            shx="FARM/farm.SHX",
            dbf="FARM/farm.DBF",
            prj="FARM/farm.PRJ",
            cpg="FARM/farm.CPG",
        ),
        columns=["NAME"],
    )
    assert [row["NAME"] for row in areas.rows] == FIELD_NAMES


def test_what_another_program_has_not_yet_written_into_a_geopackage_counts(tmp_path):
    path = written(tmp_path / "farm.gpkg", SPATIAL_INDEX="NO")
    database = sqlite3.connect(path)
    database.execute("PRAGMA journal_mode = WAL")
    database.execute("UPDATE farm SET NAME = 'Renamed' WHERE NO = 7")
    database.commit()
    assert (tmp_path / "farm.gpkg-wal").stat().st_size
    assert read_areas(path, columns=["NAME"]).rows[0] == {"NAME": "Renamed"}
    database.close()


@pytest.mark.parametrize("name", ["farm.gpkg", "farm.shp"])
def test_heights_are_left_out_and_told(tmp_path, name):
    high = shapely.force_3d(HOLED, 31.5)
    areas = read_areas(written(tmp_path / name, [high], geometry_type="Polygon Z"))
    assert shapely.from_wkb(areas.shapes[0]).equals_exact(HOLED, 0) or shapely.from_wkb(areas.shapes[0]).equals(HOLED)
    assert not shapely.has_z(shapely.from_wkb(areas.shapes[0]))
    assert areas.notes == ("heights or measures of points were left out",)


@pytest.mark.parametrize("nothing", [None, shapely.Polygon()])
def test_a_feature_without_a_shape_is_refused_by_number(tmp_path, nothing):
    with pytest.raises(InputError, match=r"feature 2 has no shape\. Draw its outline or remove it"):
        read_areas(written(tmp_path / "farm.gpkg", [SQUARE, nothing, HOLED]))


def test_columns_of_every_kind_become_text(tmp_path):
    path = tmp_path / "farm.gpkg"
    columns = {
        "DAY": np.array(["2026-04-01"], dtype="datetime64[D]"),
        "BIG": np.array([9007199254740993]),
        "REAL": np.array([0.1]),
        "YES": np.array([True]),
    }
    written(path, [SQUARE], columns=columns)
    row = read_areas(path, columns=list(columns)).rows[0]
    assert (row["BIG"], row["REAL"], row["YES"]) == ("9007199254740993", "0.1", "true")
    assert row["DAY"].startswith("2026")


def test_bytes_in_a_column_are_read_as_text(tmp_path):
    path = written(tmp_path / "farm.gpkg", [SQUARE], SPATIAL_INDEX="NO")
    with sqlite3.connect(path) as database:
        database.execute("ALTER TABLE farm ADD COLUMN RAW BLOB")
        database.execute("UPDATE farm SET RAW = ?", ("Mühle".encode(),))
    database.close()
    assert read_areas(path, columns=["RAW"]).rows == ({"RAW": "Mühle"},)


def test_an_integer_that_gaps_would_round_is_refused(tmp_path):
    path = written(
        tmp_path / "farm.gpkg", [SQUARE, SQUARE], columns={"BIG": np.array([9007199254740993, 1])}, SPATIAL_INDEX="NO"
    )
    with sqlite3.connect(path) as database:
        database.execute("UPDATE farm SET BIG = NULL WHERE BIG = 1")
    database.close()
    with pytest.raises(InputError, match="'BIG' has integers too large"):
        read_areas(path, columns=["BIG"])


# --- what is refused, in plain words ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("shape", "word"),
    [
        (shapely.Point(1, 2), "a point"),
        (shapely.LineString([(0, 0), (1, 1)]), "a line"),
        (shapely.GeometryCollection([SQUARE]), "a collection"),
    ],
)
def test_other_shapes_are_refused_by_number(tmp_path, shape, word):
    with pytest.raises(InputError, match=f"feature 2 is {word}, not an area. Keep only areas"):
        read_areas(written(tmp_path / "farm.gpkg", [SQUARE, shape]))


def test_curved_edges_are_refused_rather_than_straightened(tmp_path):
    path = written(tmp_path / "farm.gpkg", [SQUARE, SQUARE], SPATIAL_INDEX="NO")
    # OGC 12-128r18, 2.1.3: head, then a curve polygon (code 10) of one circular string (code 8).
    circle = struct.pack("<BIIBII6d", 1, 10, 1, 1, 8, 3, 0, 0, 10, 0, 0, 0)
    with sqlite3.connect(path) as database:
        database.execute("UPDATE farm SET geom = ? WHERE fid = 2", (b"GP\0\1" + struct.pack("<i", 25832) + circle,))
    database.close()
    with pytest.raises(InputError, match="feature 2 is an area with curved edges"):
        read_areas(path)


@pytest.mark.parametrize(
    ("shape", "kind", "word"),
    [(shapely.Point(1, 2), "Point", "points"), (shapely.LineString([(0, 0), (1, 1)]), "LineString", "lines")],
)
def test_a_shapefile_of_other_shapes_is_refused(tmp_path, shape, kind, word):
    with pytest.raises(InputError, match=f"it holds {word}, not areas"):
        read_areas(written(tmp_path / "farm.shp", [shape], geometry_type=kind))


def test_several_layers_are_named_and_one_can_be_chosen(tmp_path):
    path = written(tmp_path / "farm.gpkg", layer="north")
    written(path, [SQUARE], layer="south", append=True)
    with pytest.raises(InputError, match=r"several layers: 'north', 'south'. Name one of them"):
        read_areas(path)
    assert len(read_areas(path, layer="south").shapes) == 1
    with pytest.raises(InputError, match=r"no layer 'west' with shapes. Choose from 'north', 'south'"):
        read_areas(path, layer="west")


def test_a_table_without_shapes_is_no_layer(tmp_path):
    path = tmp_path / "farm.gpkg"
    pyogrio.raw.write(path, None, [np.array([1])], ["NO"], driver="GPKG", geometry_type=None, crs=None)
    with pytest.raises(InputError, match="no layer with shapes"):
        read_areas(path)


def test_a_column_that_is_not_there_is_told_with_those_that_are(tmp_path):
    with pytest.raises(InputError, match=r"no column 'Name'. Choose from 'NAME', 'NO', 'HA'"):
        read_areas(written(tmp_path / "farm.gpkg"), columns=["Name"])


def test_a_file_that_names_no_system_is_refused(tmp_path):
    with pytest.warns(UserWarning, match="'crs' was not provided"):
        path = written(tmp_path / "farm.gpkg", crs=None)
    with pytest.raises(InputError, match="does not say which coordinate system"):
        read_areas(path)


@pytest.mark.parametrize(("ending", "word"), [(".prj", "coordinate system"), (".shx", "index"), (".dbf", "columns")])
def test_a_companion_that_is_missing_is_named(tmp_path, ending, word):
    path = written(tmp_path / "farm.shp")
    (tmp_path / f"farm{ending}").unlink()
    with pytest.raises(InputError, match=f"the file farm{ending} with its {word} is missing beside farm.shp"):
        read_areas(path)
    packed = zipped(tmp_path / "farm.zip", *(p for p in tmp_path.iterdir() if p.suffix != ".zip"))
    with pytest.raises(InputError, match=f"farm.zip: the file farm{ending} with its {word} is missing"):
        read_areas(packed)


def test_text_that_is_not_in_its_encoding_is_told(tmp_path):
    path = written(tmp_path / "farm.shp")
    table = bytearray((tmp_path / "farm.dbf").read_bytes())
    at = table.index("Østermark".encode())
    table[at : at + 2] = b"\xd8 "
    (tmp_path / "farm.dbf").write_bytes(table)
    with pytest.raises(InputError, match=r"not in the encoding.*\.cpg file|GDAL cannot read it"):
        read_areas(path, columns=["NAME"])


@pytest.mark.parametrize(
    "data",
    [b"", b"{}", b"<?xml version='1.0'?><kml/>", b'{"type": "FeatureCollection", "features": []}', os.urandom(300)],
)
def test_other_formats_are_refused(tmp_path, data):
    (tmp_path / "farm.gpkg").write_bytes(data)
    with pytest.raises(InputError, match="neither a GeoPackage nor a Shapefile"):
        read_areas(tmp_path / "farm.gpkg")


def test_what_is_not_there_or_a_folder_is_refused(tmp_path):
    for path in (tmp_path / "none.gpkg", tmp_path):
        with pytest.raises(InputError, match="cannot be read"):
            read_areas(path)


def test_a_database_that_is_no_geopackage_is_refused(tmp_path):
    with sqlite3.connect(tmp_path / "farm.gpkg") as database:
        database.execute("CREATE TABLE farm (fid INTEGER PRIMARY KEY, geom BLOB)")
    database.close()
    with pytest.raises(InputError, match="GDAL cannot read it") as caught:
        read_areas(tmp_path / "farm.gpkg")
    assert "taskkit-" not in str(caught.value)


@pytest.mark.parametrize("name", ["farm.gpkg", "farm.shp"])
@pytest.mark.parametrize("share", [0.02, 0.7])
def test_a_file_cut_off_is_refused_or_read_but_never_a_crash(tmp_path, name, share):
    path = written(tmp_path / name, [HOLED] * 30)
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * share)])
    try:
        read_areas(path)
    except InputError:
        return
    assert name == "farm.shp"


def test_files_of_several_fields_in_a_zip_are_named_and_one_can_be_chosen(tmp_path):
    first, second = written(tmp_path / "north.gpkg"), written(tmp_path / "south.gpkg", [SQUARE])
    both = zipped(tmp_path / "farm.zip", first, second)
    with pytest.raises(InputError, match=r"several files: north.gpkg, south.gpkg"):
        read_areas(both)
    assert len(read_areas(both, layer="south").shapes) == 1
    with pytest.raises(InputError, match="several files"):
        read_areas(both, layer="west")


def test_a_zip_without_a_known_file_is_refused(tmp_path):
    (tmp_path / "readme.txt").write_text("nothing")
    with pytest.raises(InputError, match="neither a GeoPackage nor a Shapefile"):
        read_areas(zipped(tmp_path / "farm.zip", tmp_path / "readme.txt"))
    (tmp_path / "farm.gpkg").write_text("nothing")
    with pytest.raises(InputError, match=r"farm.gpkg is not what its ending says"):
        read_areas(zipped(tmp_path / "farm.zip", tmp_path / "farm.gpkg"))


def test_a_record_that_lies_about_its_points_is_refused(tmp_path):
    path = written(tmp_path / "farm.shp")
    data = bytearray(path.read_bytes())
    # The number of points of the first record: behind the file's head, its own, type, box and number of parts.
    struct.pack_into("<i", data, 100 + 8 + 4 + 32 + 4, 0x7FFFFFFF)
    path.write_bytes(data)
    with pytest.raises(InputError, match="feature 1 has no shape"):
        read_areas(path)


# --- hostile files ---------------------------------------------------------------------------------------------


def vrt(port):
    """A small file that makes GDAL open other files and call the network, if it is let."""
    return f"""<OGRVRTDataSource><OGRVRTLayer name="farm">
        <SrcDataSource>/vsicurl/http://127.0.0.1:{port}/farm.gpkg</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"""


@pytest.mark.parametrize("name", ["farm.gpkg", "farm.shp"])
def test_a_disguised_redirection_is_refused_and_nobody_is_called(tmp_path, listener, name):
    port, calls = listener
    (tmp_path / name).write_text(vrt(port))
    with pytest.raises(InputError, match="neither a GeoPackage nor a Shapefile"):
        read_areas(tmp_path / name)
    assert calls == []


@pytest.mark.parametrize(("name", "driver"), [("farm.gpkg", "GPKG"), ("farm.shp", "ESRI Shapefile")])
def test_the_child_itself_knows_no_other_format_and_calls_nobody(tmp_path, listener, name, driver):
    port, calls = listener
    (tmp_path / name).write_text(vrt(port))
    for path in (
        str(tmp_path / name),
        f"/vsicurl/http://127.0.0.1:{port}/farm.gpkg",
        f"http://127.0.0.1:{port}/farm.gpkg",
    ):
        head, shapes = reading._answered(tmp_path / name, driver, {"path": path, "layer": None, "columns": []})
        assert head["error"].startswith("GDAL cannot read it")
        assert shapes == []
    assert calls == []


@pytest.mark.parametrize("known", ["child._DRIVERS", "('CSV', 'GML')"], ids=["known", "mostly new"])
def test_the_child_keeps_one_driver_even_of_those_it_does_not_know(known):
    code = (
        "import os, sys; from taskkit.gis import child; show = 'import pyogrio; print(sorted(pyogrio.list_drivers()))';"
        "os.execv = lambda path, argv: os.execve(path, [path, '-c', show], os.environ);"
        f"child._DRIVERS = {known}; child._keep_only('GPKG'); exec(show)"
    )
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    told = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "['GPKG']"


@pytest.mark.parametrize("name", ["farm.gpkg", "farm.shp"])
def test_nothing_is_written_beside_the_file(tmp_path, name):
    path = written(tmp_path / name)
    before = snapshot(tmp_path)
    read_areas(path, columns=["NAME"])
    assert snapshot(tmp_path) == before


def test_a_file_that_a_zip_brings_along_is_not_run(tmp_path):
    written(tmp_path / "farm.gpkg")
    mark = tmp_path / "ran"
    for module in ("numpy.py", "json.py", "pyogrio.py"):
        (tmp_path / module).write_text(f"open({str(mark)!r}, 'w')")
    here = os.getcwd()
    os.chdir(tmp_path)
    try:
        assert len(read_areas("farm.gpkg").shapes) == 3
    finally:
        os.chdir(here)
    assert not mark.exists()


@pytest.mark.parametrize("name", ["../farm.gpkg", "/farm.gpkg", "C:/farm.gpkg", "..\\farm.gpkg"])
def test_a_zip_whose_names_leave_their_folder_is_refused(tmp_path, name):
    with pytest.raises(UnsafeInputError):
        read_areas(zipped(tmp_path / "farm.zip", written(tmp_path / "farm.gpkg"), gpkg=name))


def test_a_zip_that_swells_is_refused(tmp_path):
    with zipfile.ZipFile(tmp_path / "farm.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("farm.gpkg", b"SQLite format 3\0" + bytes(50_000_000))
    with pytest.raises(UnsafeInputError, match="times its size"):
        read_areas(tmp_path / "farm.zip")


def test_a_zip_with_overlapping_entries_is_refused(tmp_path):
    packed = zipped(tmp_path / "farm.zip", written(tmp_path / "farm.gpkg"))
    data = packed.read_bytes()
    begin = data.index(b"PK\x01\x02")
    entry = data[begin : data.index(b"PK\x05\x06")]
    twin = entry.replace(b"farm.gpkg", b"mark.gpkg")
    end = struct.pack("<4s4H2IH", b"PK\x05\x06", 0, 0, 2, 2, len(entry + twin), begin, 0)
    packed.write_bytes(data[:begin] + entry + twin + end)
    with pytest.raises(UnsafeInputError, match="overlaps"):
        read_areas(packed)


def test_a_zip_under_a_password_is_refused(tmp_path):
    packed = zipped(tmp_path / "farm.zip", written(tmp_path / "farm.gpkg"))
    data = bytearray(packed.read_bytes())
    for head, flags in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        data[data.index(head) + flags] |= 1
    packed.write_bytes(data)
    with pytest.raises(InputError, match=r"encrypted.*without a password"):
        read_areas(packed)


def test_a_file_beyond_the_bound_is_not_copied(tmp_path, monkeypatch):
    monkeypatch.setattr(reading, "MAX_FILE_BYTES", 1000)
    with pytest.raises(UnsafeInputError, match="larger than"):
        read_areas(written(tmp_path / "farm.gpkg"))


def test_a_database_that_never_ends_is_stopped(tmp_path, monkeypatch):
    path = written(tmp_path / "farm.gpkg", [SQUARE], SPATIAL_INDEX="NO")
    with sqlite3.connect(path) as database:
        database.execute("ALTER TABLE farm RENAME TO hidden")
        database.execute(
            "CREATE VIEW farm AS WITH RECURSIVE n(fid) AS (SELECT 1 UNION ALL SELECT fid + 1 FROM n)"
            " SELECT n.fid AS fid, hidden.geom AS geom, 'x' AS NAME FROM n, hidden WHERE n.fid < 0"
        )
    database.close()
    monkeypatch.setattr(reading, "_SECONDS", 3)
    with pytest.raises(UnsafeInputError, match="took more than 3 s"):
        read_areas(path)


def test_the_child_has_no_more_memory_than_it_is_given():
    code = "from taskkit.gis import child; child._limit(); bytearray(child.MEMORY_BYTES)"
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    told = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=False)
    assert told.returncode
    assert told.stderr.strip().endswith("MemoryError")


@pytest.mark.parametrize(
    ("code", "error", "words"),
    [
        ("import os, signal; os.kill(os.getpid(), signal.SIGXCPU)", UnsafeInputError, "more time or memory"),
        ("import os; os.abort()", UnsafeInputError, "more time or memory"),
        ("raise MemoryError", UnsafeInputError, "more time or memory"),
        ("import os, signal; os.kill(os.getpid(), signal.SIGSEGV)", InputError, "GDAL broke down on it"),
        ("raise KeyError('ours')", InternalError, "KeyError: 'ours'"),
    ],
)
def test_a_child_that_breaks_off_is_told_as_what_it_is(tmp_path, monkeypatch, code, error, words):
    path = written(tmp_path / "farm.gpkg")
    run = subprocess.run
    limit = "import resource; resource.setrlimit(resource.RLIMIT_CORE, (0, 0)); "
    monkeypatch.setattr(subprocess, "run", lambda command, **how: run([sys.executable, "-c", limit + code], **how))
    with pytest.raises(error, match=words):
        read_areas(path)


def test_the_settings_of_other_programs_do_not_reach_the_child(tmp_path, monkeypatch):
    monkeypatch.setenv("GDAL_SKIP", "GPKG,ESRI Shapefile")
    monkeypatch.setenv("OGR_SKIP", "GPKG")
    assert len(read_areas(written(tmp_path / "farm.gpkg")).shapes) == 3


# --- real land -------------------------------------------------------------------------------------------------


def plane_area_m2(shape):
    return shapely.area(shapely.from_wkb(shape))


def reference_area_m2(parts):
    total = 0.0
    for part in parts:
        for sign, rings in ((1, [part.outer]), (-1, part.holes)):
            for ring in rings:
                polygon = Geodesic.WGS84.Polygon()
                for lon, lat in ring:
                    polygon.AddPoint(lat, lon)
                total += sign * abs(polygon.Compute(False, True)[2])
    return total


def placed(areas):
    raw = areas_from_wkb(areas.shapes)
    return raw.parts(to_steering_frame(areas.crs, raw.xy).lonlat)


@pytest.mark.parametrize(
    ("name", "column", "crs", "unit_m2", "cut"),
    [("dk.zip", "IMK_areal", "EPSG:25832", 10_000, 100), ("de_sh.gpkg.zip", "Flaeche", "EPSG:4647", 10_000, 10_000)],
)
def test_the_stated_area_of_real_fields_is_that_of_their_grid_cut(shared_data, name, column, crs, unit_m2, cut):
    # Measured on the data of the Danish Agricultural Agency and of Land Schleswig-Holstein: the attribute is the
    # area on the grid, hectares cut (not rounded) to 0.01 and to 0.0001; it is not the area on the ground.
    areas = read_areas(shared_data / name, columns=[column])
    assert (areas.crs, len(areas.shapes)) == (crs, 100)
    for row, shape in zip(areas.rows, areas.shapes, strict=True):
        stated = round(float(row[column]) * cut)
        # A field whose grid area is a whole step to the last digit may be cut either way.
        assert stated in {int(plane_area_m2(shape) / unit_m2 * cut + nudge) for nudge in (-1e-6, 0, 1e-6)}


@pytest.mark.parametrize("name", ["dk.zip", "de_sh.gpkg.zip", "se.zip"])
def test_areas_of_real_fields_on_the_ground_are_those_of_the_reference_library(shared_data, name):
    # geographiclib, by the author of the algorithm; it shares no code with PROJ's.
    for parts in placed(read_areas(shared_data / name)):
        # Both sum up areas down to the equator, 10^10 m2 and more: a square centimetre is what doubles leave of them.
        assert area_m2(parts) == pytest.approx(reference_area_m2(parts), rel=1e-9, abs=1e-4)


def test_fields_on_another_datum_are_refused_with_its_name(shared_data):
    areas = read_areas(shared_data / "nl.gpkg", columns=["gewas"])
    assert len(areas.shapes) == 100
    with pytest.raises(InputError, match=r"Amersfoort / RD New \(EPSG:28992\) are not on ETRS89"):
        placed(areas)


def test_the_answer_of_the_child_is_what_its_page_says(tmp_path):
    path = written(tmp_path / "farm.gpkg", [SQUARE])
    request = json.dumps({"path": str(path), "layer": None, "columns": ["NO"]}).encode()
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    told = subprocess.run(
        [sys.executable, "-m", "taskkit.gis.child", "GPKG"], input=request, env=env, capture_output=True, check=True
    )
    (length,) = struct.unpack(">Q", told.stdout[:8])
    head = json.loads(told.stdout[8 : 8 + length])
    assert head == {"crs": "EPSG:25832", "columns": ["NAME", "NO", "HA"], "rows": [["7"]], "sizes": [93], "notes": []}
    assert shapely.from_wkb(told.stdout[8 + length :]).equals(SQUARE)
