"""GIS files in: what is read, what is refused, and that nothing else is opened, called or left behind."""

from __future__ import annotations

import contextlib
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
import pytest
from pyproj import CRS

from taskkit import api
from taskkit.errors import InputError, TaskkitError, UnsafeInputError
from taskkit.geometry.line import LonLatLine
from taskkit.geometry.wkb import read_areas as areas_from_wkb
from taskkit.geometry.wkb import read_shapes as shapes_from_wkb
from taskkit.gis.formats import ALL_DRIVERS
from taskkit.gis.process import environment
from taskkit.gis.reading import read_areas, read_shapes

# Two squares on UTM zone 32N of ETRS89; written by pyogrio itself, in a process of its own.
MAKE = """
import json, sys, numpy, pyogrio, struct

def square(x, y, z=None):
    points = [(x, y), (x + 200, y), (x + 200, y + 100), (x, y + 100), (x, y)]
    code = 3 if z is None else 0x80000003
    body = b"".join(struct.pack("<dd" if z is None else "<ddd", *p, *([] if z is None else [z])) for p in points)
    return struct.pack("<BIII", 1, code, 1, len(points)) + body

def disc(x, y, r):
    points = [(x - r, y), (x, y + r), (x + r, y), (x, y - r), (x - r, y)]
    arc = struct.pack("<BII", 1, 8, 5) + b"".join(struct.pack("<dd", *p) for p in points)
    return struct.pack("<BII", 1, 10, 1) + arc

KINDS = {
    "areas": ("Polygon", [square(500000, 6000000), square(500400, 6000000)]),
    "high": ("Polygon Z", [square(500000, 6000000, 12.5), square(500400, 6000000, 13.5)]),
    "points": ("Point", [struct.pack("<BIdd", 1, 1, 500000, 6000000)] * 2),
    "lines": ("LineString", [struct.pack("<BIIdddd", 1, 2, 2, 500000, 6000000, 500100, 6000000)] * 2),
    "none": ("Polygon", [square(500000, 6000000), None]),
    "arcs": ("Unknown", [square(500000, 6000000), disc(500400, 6000000, 100)]),
    "degrees": ("Polygon", [square(9, 54), square(9, 54)]),
}
names = numpy.array(["Mere Piece", "Øster Mark"], dtype=object)
codes = numpy.array([7, 12], dtype=numpy.int32)
for path, driver, crs, kind, layers, options in json.loads(sys.argv[1]):
    geometry, shapes = KINDS[kind]
    for layer in layers or [None]:
        pyogrio.raw.write(
            path, numpy.array(shapes, dtype=object), [names, codes], ["NAME", "CODE"], geometry_type=geometry,
            driver=driver, crs=crs or None, append=bool(layer) and layer != layers[0], layer=layer, **options,
        )
"""


def made(
    path: Path,
    driver: str = "GPKG",
    crs: str = "EPSG:25832",
    kind: str = "areas",
    layers: tuple[str, ...] = (),
    options: dict[str, str] | None = None,
) -> Path:
    make([(path, driver, crs, kind, layers, options or {})])
    return path


def make(wanted: list[tuple[Path, str, str, str, tuple[str, ...], dict[str, str]]]) -> None:
    asked = json.dumps([(str(path), *rest) for path, *rest in wanted])
    subprocess.run([sys.executable, "-W", "ignore", "-c", MAKE, asked], check=True, timeout=60)


def virtual(target: object) -> str:
    """A file of GDAL's virtual format, which reads whatever it names."""
    source = f"<SrcDataSource>{target}</SrcDataSource>"
    return f'<OGRVRTDataSource><OGRVRTLayer name="outlines">{source}</OGRVRTLayer></OGRVRTDataSource>'


FILES = {
    "outlines.gpkg": "GPKG", "outlines.shp": "ESRI Shapefile", "outlines.geojson": "GeoJSON",
    "outlines.fgb": "FlatGeobuf", "outlines.gml": "GML",
}  # fmt: skip
PLACEMARK = """<Placemark><name>{name}</name><ExtendedData><Data name="CODE"><value>{code}</value></Data></ExtendedData>
<Polygon><outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates></LinearRing></outerBoundaryIs></Polygon>
</Placemark>"""
KML = f"""<?xml version="1.0" encoding="UTF-8"?>
<!-- drawn by hand --><kml xmlns="http://www.opengis.net/kml/2.2"><Document>
{PLACEMARK.format(name="Mere Piece", code="007", ring="9,54,3 9.003,54,3 9.003,54.001,3 9,54,3")}
{PLACEMARK.format(name="Øster Mark", code="12", ring="9.1,54 9.103,54 9.103,54.001 9.1,54")}
</Document></kml>"""
GEOJSON = """{%s"features": [{"type": "Feature", "properties": {"NAME": "Mere Piece"}, "geometry": {"type": "Polygon",
"coordinates": [[[9, 54], [9.003, 54], [9.003, 54.001], [9, 54]]]}}], "type": "FeatureCollection"}"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same two areas in each format."""
    place = tmp_path_factory.mktemp("gis")
    make([(place / name, driver, "EPSG:25832", "areas", (), {}) for name, driver in FILES.items()])
    (place / "outlines.gfs").unlink(missing_ok=True)
    (place / "outlines.xsd").unlink(missing_ok=True)
    return place


@pytest.mark.parametrize("name", FILES)
def test_areas_and_columns_come_in_the_order_of_the_file(folder: Path, name: str) -> None:
    areas = read_areas(folder / name, columns=["CODE", "NAME"])
    xs = [xy[:, 0].min() for xy in (areas_from_wkb([shape]).xy for shape in areas.shapes)]

    rows = [{"CODE": "7", "NAME": "Mere Piece"}, {"CODE": "12", "NAME": "Øster Mark"}]
    # FlatGeobuf has its features in the order of its own index of places.
    order = (0, 1) if xs == sorted(xs) else (1, 0)
    assert [dict(areas.rows[n]) for n in order] == rows
    assert [round(xs[n]) for n in order] == [500000, 500400]
    assert CRS.from_user_input(areas.crs).to_epsg(min_confidence=25) == 25832
    assert areas.notes == ()


def test_kml_is_in_wgs84_longitude_first(tmp_path: Path) -> None:
    (tmp_path / "drawn.kml").write_text(KML, "utf-8")

    areas = read_areas(tmp_path / "drawn.kml", columns=["Name", "code"])

    assert [dict(row) for row in areas.rows] == [
        {"Name": "Mere Piece", "code": "007"},
        {"Name": "Øster Mark", "code": "12"},
    ]
    assert areas.crs == "EPSG:4326"
    assert areas_from_wkb(areas.shapes).xy[0].tolist() == [9, 54]
    assert areas.notes == ("1 of 2 areas have heights; they were left out",)
    made_plan = api.new(tmp_path / "plan", source=tmp_path / "drawn.kml", name_from="Name")
    assert made_plan.frame == "unknown"
    assert made_plan.notes[0].endswith("carried as it is; which frame they are really in, --frame can say")


def test_a_kmz_is_its_doc_kml(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "drawn.kmz", "w") as archive:
        archive.writestr("files/more.kml", "<kml/>")
        archive.writestr("doc.kml", KML)
    with zipfile.ZipFile(tmp_path / "empty.kmz", "w") as archive:
        archive.writestr("picture.png", b"")

    assert len(read_areas(tmp_path / "drawn.kmz").shapes) == 2
    with pytest.raises(InputError, match=r"holds no \.kml file"):
        read_areas(tmp_path / "empty.kmz")


def test_geojson_is_in_wgs84_unless_it_names_its_system(tmp_path: Path) -> None:
    def crs_of(member: str) -> str:
        (tmp_path / "x.geojson").write_text(GEOJSON % member, "utf-8")
        return read_areas(tmp_path / "x.geojson").crs

    named = '"crs": {"type": "name", "properties": {"name": "%s"}}, '
    assert crs_of("") == "EPSG:4326"
    assert crs_of(named % "urn:ogc:def:crs:OGC:1.3:CRS84") == "EPSG:4326"
    assert crs_of(named % "urn:ogc:def:crs:EPSG::4258") == "EPSG:4258"
    # GDAL takes these for WGS 84, and fetches the last.
    for unknown in (named % "Our own grid", '"crs": {"type": "link", "properties": {"href": "http://a.test/x"}}, '):
        with pytest.raises(InputError, match=r"the coordinate system that it names is not understood: .*Save it again"):
            crs_of(unknown)


@pytest.mark.parametrize(("form", "long"), [("GML3", "NO"), ("GML3.2", "YES")])
def test_gml_gives_east_first_whatever_the_order_of_its_axes(tmp_path: Path, form: str, long: str) -> None:
    options = {"FORMAT": form, "GML3_LONGSRS": long}
    make(
        [
            (tmp_path / f"{crs[5:]}.gml", "GML", crs, kind, (), options)
            for crs, kind in (("EPSG:4258", "degrees"), ("EPSG:3035", "areas"), ("EPSG:25832", "areas"))
        ]
    )
    assert (b">54 9 " in (tmp_path / "4258.gml").read_bytes()) == (long == "YES")

    corners = {
        crs: areas_from_wkb(read_areas(tmp_path / f"{crs}.gml").shapes).xy.min(axis=0).tolist()
        for crs in (4258, 3035, 25832)
    }
    assert corners == {4258: [9, 54], 3035: [500000, 6000000], 25832: [500000, 6000000]}


def test_arcs_are_drawn_as_corners_with_a_note_and_within_what_it_says(tmp_path: Path) -> None:
    areas = read_areas(made(tmp_path / "pivot.gpkg", kind="arcs"))
    disc = areas_from_wkb([areas.shapes[1]]).xy - (500400, 6000000)

    drawn = "drawn as corners 0.5 degrees apart, at most 5 mm off where the radius is 500 m"
    assert areas.notes == (f"1 of 2 areas have arcs; they were {drawn}",)
    middles = (disc[:-1] + disc[1:]) / 2
    assert np.hypot(*disc.T) == pytest.approx(100, abs=1e-6)
    assert np.hypot(*middles.T).min() == pytest.approx(100, abs=0.005 * 100 / 500)


def test_lines_and_points_are_read_where_they_are_wanted(tmp_path: Path) -> None:
    read = read_shapes(made(tmp_path / "lines.gpkg", kind="lines"), columns=["NAME"])

    ((line,), _) = shapes_from_wkb(read.shapes).shapes(np.array([(9, 54), (9, 55)] * 2, dtype=float))
    assert line == LonLatLine([(9, 54), (9, 55)])
    assert len(read_shapes(made(tmp_path / "points.gpkg", kind="points"), sorts=["point", "line"]).shapes) == 2
    with pytest.raises(InputError, match="feature 1 is a line, not a point"):
        read_shapes(tmp_path / "lines.gpkg", sorts=["point"])


def test_the_epoch_of_a_geopackage_is_told(tmp_path: Path) -> None:
    path = made(tmp_path / "dated.gpkg", crs="EPSG:7912", kind="degrees")
    with contextlib.closing(sqlite3.connect(path)) as base:
        base.execute("UPDATE gpkg_spatial_ref_sys SET epoch = 2021.5 WHERE organization_coordsys_id = 7912")
        base.commit()

    assert read_areas(path).epoch == 2021.5


def test_tables_without_shapes_are_no_choice(folder: Path, tmp_path: Path) -> None:
    shutil.copy(folder / "outlines.gpkg", tmp_path / "styled.gpkg")
    with contextlib.closing(sqlite3.connect(tmp_path / "styled.gpkg")) as base:
        base.execute("CREATE TABLE styles (id INTEGER PRIMARY KEY, words TEXT)")
        base.execute("INSERT INTO gpkg_contents (table_name, data_type) VALUES ('styles', 'attributes')")
        base.commit()

    assert len(read_areas(tmp_path / "styled.gpkg").shapes) == 2


def test_what_another_program_has_not_put_into_the_file_yet_is_told(folder: Path, tmp_path: Path) -> None:
    shutil.copy(folder / "outlines.gpkg", tmp_path / "open.gpkg")
    (tmp_path / "open.gpkg-wal").write_bytes(b"x")

    assert "another program has the file open" in read_areas(tmp_path / "open.gpkg").notes[0]


@pytest.mark.parametrize("name", FILES)
def test_zipped_files_are_read_wherever_they_lie_in_the_zip(folder: Path, tmp_path: Path, name: str) -> None:
    beside = (".shp", ".shx", ".dbf", ".prj", ".cpg") if name.endswith(".shp") else (Path(name).suffix,)
    with zipfile.ZipFile(tmp_path / "packed.zip", "w") as archive:
        for suffix in beside:
            archive.write(folder / f"outlines{suffix}", f"deep/down/outlines{suffix}")

    packed, plain = read_areas(tmp_path / "packed.zip", columns=["NAME"]), read_areas(folder / name, columns=["NAME"])

    assert (packed.rows, packed.shapes) == (plain.rows, plain.shapes)


def test_a_zip_with_two_files_is_no_choice_of_ours(folder: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "two.zip", "w") as archive:
        archive.write(folder / "outlines.gpkg", "a.gpkg")
        archive.write(folder / "outlines.fgb", "b.fgb")
    with zipfile.ZipFile(tmp_path / "none.zip", "w") as archive:
        archive.writestr("words.txt", b"")

    with pytest.raises(InputError, match=r"it holds 2 of them: a\.gpkg, b\.fgb"):
        read_areas(tmp_path / "two.zip")
    with pytest.raises(InputError, match="it holds none of them"):
        read_areas(tmp_path / "none.zip")


def test_the_folder_of_the_user_stays_as_it_was(folder: Path) -> None:
    def snapshot() -> dict[str, tuple[int, int]]:
        return {file.name: (file.stat().st_size, file.stat().st_mtime_ns) for file in folder.iterdir()}

    before = snapshot()
    for name in FILES:
        read_areas(folder / name)

    assert snapshot() == before


def test_heights_are_left_out_with_a_note(tmp_path: Path) -> None:
    areas = read_areas(made(tmp_path / "high.gpkg", kind="high"))

    assert areas.notes == ("2 of 2 areas have heights; they were left out",)
    assert api.new(tmp_path / "plan", source=tmp_path / "high.gpkg", name_from="NAME").fields == 2


@pytest.mark.parametrize(
    ("kind", "said"), [("points", "feature 1 is a point, not an area"), ("none", "feature 2 has no shape")]
)
def test_what_is_no_area_is_refused_by_its_number(tmp_path: Path, kind: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        read_areas(made(tmp_path / "odd.gpkg", kind=kind))


def test_several_layers_are_named_and_one_can_be_chosen(tmp_path: Path) -> None:
    path = made(tmp_path / "layers.gpkg", layers=("spring", "autumn"))

    with pytest.raises(InputError, match=r"several layers: spring, autumn"):
        read_areas(path)
    with pytest.raises(InputError, match="no layer 'summer'"):
        read_areas(path, layer="summer")
    assert len(read_areas(path, layer="autumn").shapes) == 2


def test_an_unknown_column_is_answered_with_those_there_are(folder: Path) -> None:
    with pytest.raises(InputError, match="no column 'FIELD'; it has NAME, CODE"):
        read_areas(folder / "outlines.gpkg", columns=["FIELD"])


def test_a_shapefile_without_its_projection_is_refused_with_the_remedy(folder: Path, tmp_path: Path) -> None:
    for suffix in (".shp", ".shx", ".dbf"):
        shutil.copy(folder / f"outlines{suffix}", tmp_path)

    with pytest.raises(InputError, match=r"which coordinate system it is in. Put its .prj file beside it"):
        read_areas(tmp_path / "outlines.shp")


def test_the_only_layer_has_the_name_of_its_file(folder: Path) -> None:
    assert len(read_areas(folder / "outlines.shp", layer="outlines").shapes) == 2
    with pytest.raises(InputError, match="no layer 'summer'"):
        read_areas(folder / "outlines.shp", layer="summer")


@pytest.mark.parametrize("name", ["x.gpkg", "x.shp", "x.geojson", "x.kml", "x.fgb", "x.gml"])
def test_a_file_that_points_elsewhere_is_refused_before_anybody_follows_it(
    folder: Path, tmp_path: Path, name: str
) -> None:
    target = folder / "outlines.gpkg"
    (tmp_path / name).write_text(virtual(target), "utf-8")

    with pytest.raises(InputError, match="its content is no"):
        read_areas(tmp_path / name)


@pytest.mark.parametrize("suffix", [".kml", ".gml"])
def test_declarations_and_other_letters_are_refused_before_anybody_expands_them(tmp_path: Path, suffix: str) -> None:
    root = '<kml xmlns="http://www.opengis.net/gml">' if suffix == ".kml" else '<a xmlns="http://www.opengis.net/gml">'
    (tmp_path / f"bomb{suffix}").write_text(f"<?xml version='1.0'?><!-- a -->\n<!DOCTYPE a []>{root}", "utf-8")
    (tmp_path / f"wide{suffix}").write_text(root, "utf-16")
    (tmp_path / f"long{suffix}").write_text("<!---->" * 9000 + "<x>", "utf-8")

    with pytest.raises(UnsafeInputError, match="declares a document type"):
        read_areas(tmp_path / f"bomb{suffix}")
    with pytest.raises(InputError, match="UTF-16"):
        read_areas(tmp_path / f"wide{suffix}")
    with pytest.raises(InputError, match="its content is no"):
        read_areas(tmp_path / f"long{suffix}")


def test_nobody_is_called(tmp_path: Path) -> None:
    calls: list[object] = []
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.2)
        port = server.getsockname()[1]
        finished = threading.Event()

        def listen() -> None:
            while not finished.is_set():
                try:
                    connection, _ = server.accept()
                except TimeoutError:
                    continue
                calls.append(connection.recv(100))
                connection.close()

        listener = threading.Thread(target=listen)
        listener.start()
        try:
            ask_for_trouble(tmp_path, f"http://127.0.0.1:{port}")
        finally:
            finished.set()
            listener.join()
    assert calls == []


def ask_for_trouble(folder: Path, address: str) -> None:
    """Read files that name an address wherever GDAL may look for one."""
    for name in (f"{address}/x.gpkg", f"/vsicurl/{address}/x.gpkg"):
        with pytest.raises(InputError, match="no such file"):
            read_areas(name)
    link = '"crs": {"type": "link", "properties": {"href": "%s/crs", "type": "proj4"}}, '
    texts = {
        "vrt.gpkg": virtual(f"/vsicurl/{address}/x"),
        "link.geojson": GEOJSON % (link % address),
        # Where the member escapes our eye, GDAL's own request must lead nowhere.
        "hidden.geojson": GEOJSON % (link.replace("crs", "c\\u0072s", 1) % address),
        "net.kml": KML.replace("<Document>", f"<Document><NetworkLink><Link><href>{address}/n.kml</href></Link>"
                               f"</NetworkLink><Style id='s'><IconStyle><Icon><href>{address}/i.png</href></Icon>"
                               "</IconStyle></Style>"),
        "net.gml": GML.replace("ADDRESS", address),
    }  # fmt: skip
    for name, text in texts.items():
        (folder / name).write_text(text, "utf-8")
        with contextlib.suppress(InputError):
            read_areas(folder / name)
    assert len(read_areas(folder / "net.kml").shapes) == len(read_areas(folder / "net.gml").shapes) + 1 == 2


GML = """<?xml version="1.0"?><f:FeatureCollection xmlns:f="http://a.test/" xmlns:gml="http://www.opengis.net/gml"
xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" xmlns:xlink="http://www.w3.org/1999/xlink"
xsi:schemaLocation="http://a.test/ ADDRESS/x.xsd http://www.opengis.net/gml ADDRESS/gml.xsd"><gml:featureMember><f:o>
<f:shape xlink:href="ADDRESS/g.xml#p1"><gml:Polygon srsName="EPSG:25832"><gml:outerBoundaryIs><gml:LinearRing>
<gml:coordinates>500000,6000000 500100,6000000 500100,6000100 500000,6000000</gml:coordinates></gml:LinearRing>
</gml:outerBoundaryIs></gml:Polygon></f:shape></f:o></gml:featureMember></f:FeatureCollection>"""


@pytest.mark.parametrize("driver", ["GPKG", "LIBKML", "GML"])
def test_the_child_loads_no_other_driver(driver: str) -> None:
    done = subprocess.run(
        [sys.executable, "-c", "import pyogrio; print(*sorted(pyogrio.list_drivers()), sep='|')"],
        capture_output=True,
        text=True,
        env={**os.environ, **environment("/nowhere", driver)},
        check=True,
        timeout=60,
    )
    assert done.stdout.strip() == driver


def test_a_driver_that_is_not_in_our_list_is_let_go_of(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("taskkit.gis.process.ALL_DRIVERS", tuple(d for d in ALL_DRIVERS if d != "OGR_VRT"))

    assert len(read_areas(folder / "outlines.gpkg").shapes) == 2


def test_zips_that_leave_their_folder_or_blow_up_are_refused(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "up.zip", "w") as archive:
        archive.writestr("../areas.gpkg", b"SQLite format 3\0")
    with zipfile.ZipFile(tmp_path / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("areas.gpkg", b"\0" * (64 << 20))

    with pytest.raises(UnsafeInputError, match="leave its folder"):
        read_areas(tmp_path / "up.zip")
    with pytest.raises(UnsafeInputError, match="times its size"):
        read_areas(tmp_path / "bomb.zip")


@pytest.mark.parametrize("name", FILES)
def test_cut_files_end_in_an_error_on_purpose(folder: Path, tmp_path: Path, name: str) -> None:
    whole = (folder / name).read_bytes()
    for cut in (len(whole) // 3, len(whole) - 3):
        (tmp_path / name).write_bytes(whole[:cut])
        with contextlib.suppress(TaskkitError):
            assert len(read_areas(tmp_path / name).shapes) == 2
    (tmp_path / name).write_bytes(whole[:3])
    with pytest.raises(TaskkitError):
        read_areas(tmp_path / name)


def test_lying_counts_do_not_fill_memory(folder: Path, tmp_path: Path) -> None:
    for suffix in (".shp", ".shx", ".dbf", ".prj"):
        shutil.copy(folder / f"outlines{suffix}", tmp_path / f"lie{suffix}")
    data = bytearray((tmp_path / "lie.shp").read_bytes())
    # The number of points of the first record: file header 100, record header 8, type 4, box 32, parts 4.
    struct.pack_into("<i", data, 100 + 8 + 4 + 32 + 4, 0x7FFFFFFF)
    (tmp_path / "lie.shp").write_bytes(data)

    with pytest.raises(TaskkitError):
        read_areas(tmp_path / "lie.shp")


def test_other_formats_are_refused_with_what_is_read(tmp_path: Path) -> None:
    (tmp_path / "outlines.dxf").write_text("0", "utf-8")

    with pytest.raises(InputError, match=r"GeoPackage \(\.gpkg\), Shapefile .* and GML \(\.gml\) are read"):
        read_areas(tmp_path / "outlines.dxf")
