"""GIS files in: what is read, what is refused, and that nothing else is opened, called or left behind."""

from __future__ import annotations

import os
import shutil
import socket
import struct
import subprocess
import sys
import threading
import zipfile
from pathlib import Path

import pytest

from taskkit import api
from taskkit.errors import InputError, TaskkitError, UnsafeInputError
from taskkit.gis.reading import read_areas

# Two squares on UTM zone 32N of ETRS89; written by pyogrio itself, in a process of its own.
MAKE = """
import sys, numpy, pyogrio, struct
path, driver, crs, kind = sys.argv[1:5]

def square(x, y, z=None):
    points = [(x, y), (x + 200, y), (x + 200, y + 100), (x, y + 100), (x, y)]
    code = 3 if z is None else 0x80000003
    body = b"".join(struct.pack("<dd" if z is None else "<ddd", *p, *([] if z is None else [z])) for p in points)
    return struct.pack("<BIII", 1, code, 1, len(points)) + body

shapes = {
    "areas": [square(500000, 6000000), square(500400, 6000000)],
    "high": [square(500000, 6000000, 12.5), square(500400, 6000000, 13.5)],
    "points": [struct.pack("<BIdd", 1, 1, 500000, 6000000)] * 2,
    "none": [square(500000, 6000000), None],
}[kind]
geometry = {"areas": "Polygon", "high": "Polygon Z", "points": "Point", "none": "Polygon"}[kind]
names = numpy.array(["Mere Piece", "Øster Mark"], dtype=object)
codes = numpy.array([7, 12], dtype=numpy.int32)
for layer in sys.argv[5:] or [None]:
    pyogrio.raw.write(
        path, numpy.array(shapes, dtype=object), [names, codes], ["NAME", "CODE"], geometry_type=geometry,
        driver=driver, crs=crs or None, append=bool(layer) and layer != sys.argv[5], layer=layer,
    )
"""


def made(
    path: Path, driver: str = "GPKG", crs: str = "EPSG:25832", kind: str = "areas", layers: tuple[str, ...] = ()
) -> Path:
    subprocess.run(
        [sys.executable, "-W", "ignore", "-c", MAKE, str(path), driver, crs, kind, *layers], check=True, timeout=60
    )
    return path


def virtual(target: object) -> str:
    """A file of GDAL's virtual format, which reads whatever it names."""
    source = f"<SrcDataSource>{target}</SrcDataSource>"
    return f'<OGRVRTDataSource><OGRVRTLayer name="outlines">{source}</OGRVRTLayer></OGRVRTDataSource>'


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A GeoPackage and a Shapefile of the same two areas."""
    place = tmp_path_factory.mktemp("gis")
    made(place / "outlines.gpkg")
    made(place / "outlines.shp", "ESRI Shapefile")
    return place


@pytest.mark.parametrize("name", ["outlines.gpkg", "outlines.shp"])
def test_areas_and_columns_come_in_the_order_of_the_file(folder: Path, name: str) -> None:
    areas = read_areas(folder / name, columns=["CODE", "NAME"])

    assert [dict(row) for row in areas.rows] == [
        {"CODE": "7", "NAME": "Mere Piece"},
        {"CODE": "12", "NAME": "Øster Mark"},
    ]
    assert len(areas.shapes) == 2
    assert areas.notes == ()


@pytest.mark.parametrize("name", ["outlines.gpkg", "outlines.shp"])
def test_zipped_files_are_read_wherever_they_lie_in_the_zip(folder: Path, tmp_path: Path, name: str) -> None:
    with zipfile.ZipFile(tmp_path / "packed.zip", "w") as archive:
        for file in folder.glob(f"{Path(name).stem}.*"):
            if name.endswith(".shp") != (file.suffix == ".gpkg"):
                archive.write(file, f"deep/down/{file.name}")

    packed, plain = read_areas(tmp_path / "packed.zip", columns=["NAME"]), read_areas(folder / name, columns=["NAME"])

    assert (packed.rows, packed.shapes) == (plain.rows, plain.shapes)


def test_the_folder_of_the_user_stays_as_it_was(folder: Path) -> None:
    def snapshot() -> dict[str, tuple[int, int]]:
        return {file.name: (file.stat().st_size, file.stat().st_mtime_ns) for file in folder.iterdir()}

    before = snapshot()
    for name in ("outlines.gpkg", "outlines.shp"):
        read_areas(folder / name)

    assert snapshot() == before


def test_heights_are_left_out_with_a_note(tmp_path: Path) -> None:
    areas = read_areas(made(tmp_path / "high.gpkg", kind="high"))

    assert areas.notes == ("2 of 2 areas have heights; they were left out",)
    assert api.new(tmp_path / "plan", source=tmp_path / "high.gpkg", name_from="NAME").fields == 2


@pytest.mark.parametrize(
    ("kind", "said"), [("points", "feature 1 is a point, not an area"), ("none", "area 2 has no outline")]
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


@pytest.mark.parametrize("name", ["hidden.gpkg", "hidden.shp"])
def test_a_file_that_points_elsewhere_is_refused_before_anybody_follows_it(
    folder: Path, tmp_path: Path, name: str
) -> None:
    target = folder / "outlines.gpkg"
    (tmp_path / name).write_text(virtual(target), "utf-8")

    with pytest.raises(InputError, match="its content is no"):
        read_areas(tmp_path / name)


def test_nobody_is_called(tmp_path: Path) -> None:
    calls: list[object] = []
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.2)
        port = server.getsockname()[1]

        def listen() -> None:
            try:
                calls.append(server.accept())
            except TimeoutError:
                return

        listener = threading.Thread(target=listen)
        listener.start()
        for name in (f"http://127.0.0.1:{port}/x.gpkg", f"/vsicurl/http://127.0.0.1:{port}/x.gpkg"):
            with pytest.raises(InputError, match="no such file"):
                read_areas(name)
        (tmp_path / "x.gpkg").write_text(virtual(f"/vsicurl/http://127.0.0.1:{port}/x"), "utf-8")
        with pytest.raises(InputError):
            read_areas(tmp_path / "x.gpkg")
        listener.join()
    assert calls == []


def test_the_child_loads_no_other_driver() -> None:
    from taskkit.gis.reading import _environment

    done = subprocess.run(
        [sys.executable, "-c", "import pyogrio; print(sorted(pyogrio.list_drivers()))"],
        capture_output=True,
        text=True,
        env={**os.environ, **_environment("/nowhere")},
        check=True,
        timeout=60,
    )
    assert done.stdout.strip() == "['ESRI Shapefile', 'GPKG']"


def test_zips_that_leave_their_folder_or_blow_up_are_refused(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "up.zip", "w") as archive:
        archive.writestr("../areas.gpkg", b"SQLite format 3\0")
    with zipfile.ZipFile(tmp_path / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("areas.gpkg", b"\0" * (64 << 20))

    with pytest.raises(UnsafeInputError, match="leave its folder"):
        read_areas(tmp_path / "up.zip")
    with pytest.raises(UnsafeInputError, match="times its size"):
        read_areas(tmp_path / "bomb.zip")


@pytest.mark.parametrize("cut", [16, 100, 4096, 40_000])
def test_cut_files_end_in_an_error_on_purpose(folder: Path, tmp_path: Path, cut: int) -> None:
    for suffix in (".gpkg", ".shp"):
        (tmp_path / f"cut{suffix}").write_bytes((folder / f"outlines{suffix}").read_bytes()[:cut])

    with pytest.raises(TaskkitError):
        read_areas(tmp_path / "cut.gpkg")
    with pytest.raises(TaskkitError):
        read_areas(tmp_path / "cut.shp")


def test_lying_counts_do_not_fill_memory(folder: Path, tmp_path: Path) -> None:
    for suffix in (".shp", ".shx", ".dbf", ".prj"):
        shutil.copy(folder / f"outlines{suffix}", tmp_path / f"lie{suffix}")
    data = bytearray((tmp_path / "lie.shp").read_bytes())
    # The number of points of the first record: file header 100, record header 8, type 4, box 32, parts 4.
    struct.pack_into("<i", data, 100 + 8 + 4 + 32 + 4, 0x7FFFFFFF)
    (tmp_path / "lie.shp").write_bytes(data)

    with pytest.raises(TaskkitError):
        read_areas(tmp_path / "lie.shp")


def test_other_formats_and_frames_are_refused_with_what_is_taken(tmp_path: Path, shared_data: Path) -> None:
    (tmp_path / "outlines.geojson").write_text("{}", "utf-8")

    with pytest.raises(InputError, match="GeoPackage"):
        read_areas(tmp_path / "outlines.geojson")
    # Crop parcels of the Netherlands 2023 (CC0 1.0, RVO / PDOK), on the grid EPSG:28992, another datum.
    with pytest.raises(InputError, match="not on ETRS89"):
        api.new(tmp_path / "plan", source=shared_data / "nl.gpkg", name_from="gewas")
    assert not (tmp_path / "plan").exists()
