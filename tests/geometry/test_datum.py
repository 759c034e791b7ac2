import math

import numpy as np
import pytest
from pyproj import CRS, Proj

from taskkit.errors import InputError
from taskkit.geometry.datum import to_steering_frame

RGF93_IN = """PROJCS["x",GEOGCS["GCS_RGF_1993",DATUM["D_RGF_1993",SPHEROID["GRS_1980",6378137.0,298.257222101]],
PRIMEM["{meridian}",{longitude}],UNIT["{unit}",{size}]],PROJECTION["Lambert_Conformal_Conic"],
PARAMETER["False_Easting",700000.0],PARAMETER["False_Northing",6600000.0],PARAMETER["Central_Meridian",3.0],
PARAMETER["Standard_Parallel_1",44.0],PARAMETER["Standard_Parallel_2",49.0],PARAMETER["Latitude_Of_Origin",46.5],
UNIT["Meter",1.0]]"""
DEGREE = {"unit": "Degree", "size": 0.0174532925199433}
GREENWICH = {"meridian": "Greenwich", "longitude": 0.0}


def at(*points):
    return np.array(points, dtype=float)


@pytest.mark.parametrize(
    "code",
    [
        "EPSG:25832",
        "EPSG:4647",
        "EPSG:3006",
        "EPSG:3035",
        "EPSG:2154",
        "EPSG:2180",
        "EPSG:3067",
        "EPSG:5972",
        "EPSG:3346",
    ],
)
def test_systems_on_etrs89_and_its_realisations_are_carried_by_undoing_the_projection(code):
    # PROJ's projection alone, without anything that could change a datum.
    system = CRS.from_user_input(code)
    system = system.sub_crs_list[0] if system.is_compound else system
    west, south, east, north = system.area_of_use.bounds
    lon, lat = (west + east) / 2, (south + north) / 2
    placed = to_steering_frame(code, at(Proj(system)(lon, lat)))
    assert placed.lonlat[0] == pytest.approx((lon, lat), abs=5e-9)  # PROJ's series for EPSG:3035: 0.2 mm
    assert (placed.frame, placed.accuracy_m) == ("ETRS89", 0.0)
    assert placed.operation.startswith("projection undone (")
    assert placed.operation.endswith("datum unchanged")
    assert placed.crs_name == system.name


def test_the_published_example_of_the_projection_comes_back():
    # IOGP Guidance Note 7-2, Lambert azimuthal equal area (EPSG method 9820), worked example on EPSG:3035, from memory:
    # 50 N 5 E is east 3962799.45, north 2999718.85.
    (point,) = to_steering_frame("EPSG:3035", at((3962799.45, 2999718.85))).lonlat
    assert point == pytest.approx((5.0, 50.0), abs=1e-7)


def test_degrees_are_carried_bit_for_bit():
    points = at((9.123456789012345, 54.2), (180.0, -90.0))
    for code in ("EPSG:4258", "EPSG:4619", "EPSG:4937", "EPSG:10571"):
        placed = to_steering_frame(code, points)
        assert np.array_equal(placed.lonlat, points)
        assert placed.operation == "carried as it is"


def test_degrees_given_latitude_first_by_the_system_are_still_longitude_first():
    (point,) = to_steering_frame("EPSG:3035", at((4321000.0, 3210000.0))).lonlat
    assert point == pytest.approx((10, 52))


def test_names_written_as_shapefiles_write_them_are_known():
    placed = to_steering_frame(RGF93_IN.format(**GREENWICH, **DEGREE), at((700000, 6600000)))
    assert placed.lonlat[0] == pytest.approx((3, 46.5))
    assert placed.crs_name == "x"


def test_a_transformation_tied_to_the_system_is_not_run():
    bound = CRS.from_wkt(
        CRS("EPSG:25832").to_wkt("WKT1_GDAL").replace('AUTHORITY["EPSG","6258"]]', "TOWGS84[100,0,0,0,0,0,0]]")
    )
    assert bound.is_bound
    (point,) = to_steering_frame(bound.to_wkt(), at((500000, 5983000))).lonlat
    assert point == pytest.approx(to_steering_frame("EPSG:25832", at((500000, 5983000))).lonlat[0], abs=1e-12)


@pytest.mark.parametrize(
    ("code", "name"),
    [
        ("EPSG:28992", r"Amersfoort / RD New \(EPSG:28992\)"),
        ("EPSG:27700", "British National Grid"),
        ("EPSG:5514", "Krovak East North"),
        ("EPSG:4326", r"WGS 84 \(EPSG:4326\)"),
        ("EPSG:32632", "UTM zone 32N"),
        ("EPSG:3857", "Pseudo-Mercator"),
        ("EPSG:4269", "NAD83"),
        ("EPSG:4936", "ETRS89"),
        ("EPSG:5773", "EGM96 height"),
        ('LOCAL_CS["barn"]', "barn"),
    ],
)
def test_other_datums_and_systems_without_a_plane_are_refused_by_name(code, name):
    with pytest.raises(InputError, match=f"{name}.* not on ETRS89.*Bring the file to a system on ETRS89"):
        to_steering_frame(code, at((0, 0)))


def test_a_borrowed_name_on_another_ellipsoid_or_meridian_is_refused():
    sound = RGF93_IN.format(**GREENWICH, **DEGREE)
    for other in (
        sound.replace('"GRS_1980",6378137.0,298.257222101', '"Bessel_1841",6377397.155,299.1528128'),
        RGF93_IN.format(meridian="Paris", longitude=2.33722917, **DEGREE),
    ):
        with pytest.raises(InputError, match="not on ETRS89"):
            to_steering_frame(other, at((700000, 6600000)))


def test_angles_in_grads_are_refused():
    with pytest.raises(InputError, match="not in degrees"):
        to_steering_frame(RGF93_IN.format(**GREENWICH, unit="Grad", size=math.pi / 200), at((700000, 6600000)))


@pytest.mark.parametrize("text", ["", "EPSG:99999", "field grid", "X" * 500])
def test_an_unknown_system_is_told(text):
    with pytest.raises(InputError, match=r"is not known.*Give the data a system"):
        to_steering_frame(text, at((0, 0)))


@pytest.mark.parametrize(
    ("code", "point"),
    [
        ("EPSG:25832", (1e300, 0)),
        ("EPSG:4258", (54, 99)),
        ("EPSG:4258", (math.nan, 1)),
        ("EPSG:4258", (500000, 5983000)),
    ],
)
def test_a_point_that_cannot_be_in_the_system_is_told(code, point):
    with pytest.raises(InputError, match="cannot be in ETRS89"):
        to_steering_frame(code, at((9, 54), point))


def test_no_points_are_no_trouble():
    assert to_steering_frame("EPSG:25832", np.empty((0, 2))).lonlat.shape == (0, 2)
