"""The sample farm: that it holds what it is there to show, and what the program says and does with it."""

from __future__ import annotations

import itertools
import json
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from uuid import UUID

import pytest
from geographiclib.geodesic import Geodesic
from geographiclib.polygonarea import PolygonArea

from taskkit.geometry.line import Part
from taskkit.geometry.plane import LocalPlane
from taskkit.geometry.polygons import overlaps
from taskkit.plan.files import format_of, load_plan
from taskkit.plan.fitness import unfit
from taskkit.plan.identity import load_identity
from taskkit.plan.leaves import leaves
from taskkit.plan.model import FORMAT, Boundary, FeatureKind, LineKind, Plan, Purpose, SideKind, StraightLine
from taskkit.plan.quantities import Length, Speed
from taskkit.plan.sense import outliers

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "samples" / "larkmoor"
GEODESIC = Geodesic.WGS84

Program = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture(scope="module")
def plan() -> Plan:
    return load_plan(SAMPLE)


@pytest.fixture
def farm(tmp_path: Path) -> Path:
    """A copy of the sample that may be changed."""
    return Path(shutil.copytree(SAMPLE, tmp_path / "farm"))


def outline(plan: Plan, name: str) -> Boundary:
    found = next(field for field in plan.fields if field.name == name).boundary()
    assert found
    return found


def corners(part: Part) -> list[float]:
    """How much the walk along the outer ring turns at each point, degrees; left positive (geographiclib)."""
    ring = [*part.outer]
    legs = [GEODESIC.Inverse(a[1], a[0], b[1], b[0])["azi1"] for a, b in itertools.pairwise([*ring, *ring[:2]])]
    return [(before - after + 180) % 360 - 180 for before, after in itertools.pairwise(legs)]


def test_it_is_written_in_the_form_of_today_and_nothing_in_it_is_odd(plan: Plan) -> None:
    assert format_of(SAMPLE) == FORMAT
    assert unfit(plan) == ()
    assert list(outliers(plan)) == []
    assert max(map(len, (SAMPLE / "plan.yaml").read_text("utf-8").splitlines())) <= 120


def test_it_holds_parties_machines_and_jobs(plan: Plan) -> None:
    assert len(plan.customers) == 2
    assert len(plan.farms) == 3
    assert len(plan.fields) >= 8
    assert {field.farm for field in plan.fields} == {farm.uuid for farm in plan.farms}
    assert len({job.machine for job in plan.jobs}) >= 2
    widths = {
        job.name: next(m.tools[0].working_width for m in plan.machines if m.uuid == job.machine) for job in plan.jobs
    }
    assert (widths["Drill Long Acre"], widths["Spray Long Acre"]) == (Length("6 m"), Length("24 m"))


def test_its_first_field_is_still_the_same(plan: Plan) -> None:
    field = plan.fields[0]

    assert (field.uuid, field.code) == (UUID("763e3ed8-3cfc-40b0-ab21-556b7500b77d"), "007")
    assert load_identity(SAMPLE).number("field", field.uuid) == 1


def test_its_fields_have_the_shapes(plan: Plan) -> None:
    (rectangle,) = outline(plan, "Long Acre").parts
    assert corners(rectangle) == pytest.approx([90] * 4, abs=0.05)
    (ell,) = outline(plan, "Elbow Field").parts
    assert sorted(round(turn) for turn in corners(ell)) == [-90, 90, 90, 90, 90, 90]
    (triangle,) = outline(plan, "Three Nook").parts
    assert len(triangle.outer) == 3
    (with_island,) = outline(plan, "Spinney Ground").parts
    assert len(with_island.holes) == 1
    first, second = outline(plan, "Twin Leys").parts
    assert (len(first.holes), len(second.holes)) == (1, 0)
    (circle,) = outline(plan, "Wheel Field").parts
    centre = next(line for line in plan.fields[6].lines if line.kind is LineKind.PIVOT).centre  # type: ignore[union-attr]
    radii = [GEODESIC.Inverse(centre.lat_deg, centre.lon_deg, lat, lon)["s12"] for lon, lat in circle.outer]
    assert radii == pytest.approx([252] * len(radii), abs=0.02)


def test_its_fields_have_sensible_sizes_and_lie_apart(plan: Plan) -> None:
    plane = LocalPlane(9.42, 54.61)
    areas = []
    for field in plan.fields:
        hectares = 0.0
        for part in outline(plan, field.name).parts:
            for number, ring in enumerate(part.rings):
                walked = PolygonArea(GEODESIC)
                for lon, lat in ring:
                    walked.AddPoint(lat, lon)
                hectares += abs(walked.Compute(sign=True)[2]) / 1e4 * (-1 if number else 1)
        assert 3 <= hectares <= 40
        assert field.declared_area
        assert field.declared_area.square_metres / 1e4 == pytest.approx(hectares, rel=0.02)
        areas.append([tuple(plane.to_plane(ring) for ring in part.rings) for part in outline(plan, field.name).parts])
    assert overlaps(areas) == ()


def test_one_field_is_worked_at_35_degrees_to_its_sides_with_a_road_on_one(plan: Plan) -> None:
    field = next(field for field in plan.fields if field.name == "Skew Piece")
    (line,) = field.lines
    assert isinstance(line, StraightLine)
    along = GEODESIC.Inverse(line.a.lat_deg, line.a.lon_deg, line.b.lat_deg, line.b.lon_deg)["azi1"]
    (a, b, *_) = outline(plan, "Skew Piece").parts[0].outer
    side = GEODESIC.Inverse(a[1], a[0], b[1], b[0])["azi1"]

    assert side - along == pytest.approx(35, abs=0.05)
    assert [one.kind for one in field.sides] == [SideKind.ROAD]


def test_all_kinds_are_in_it(plan: Plan) -> None:
    lines = [line for field in plan.fields for line in field.lines] + [*plan.shared_lines]
    features = [feature for field in plan.fields for feature in field.features]

    assert {line.kind for line in lines} == set(LineKind)
    assert {feature.kind for feature in features} == set(FeatureKind)
    assert {feature.place.form for feature in features} == {"point", "line", "area"}
    assert {one.purpose for field in plan.fields for one in field.boundaries} >= {Purpose.WORKED, Purpose.OFFICIAL}
    assert any(len(line.fields) > 1 for line in plan.shared_lines)
    assert any(line.limit for line in lines)
    assert any(line.tramline for line in lines)
    assert any(one.shift for job in plan.jobs for one in job.lines)


def test_units_are_mixed(plan: Plan) -> None:
    thornhay = next(farm for farm in plan.farms if farm.name == "Thornhay")
    texts = [str(leaf.value) for leaf in leaves(plan) if isinstance(leaf.value, Length | Speed)]
    own = [field for field in plan.fields if field.farm == thornhay.uuid]

    assert {text.split()[-1] for text in texts} >= {"m", "cm", "ft", "in", "km/h", "mph"}
    assert own
    assert all(str(line.spacing).endswith(" ft") for field in own for line in field.lines)
    assert all(str(field.declared_area).endswith(" ac") for field in own)


def test_it_shows_all_members_of_the_model_but_a_few(plan: Plan) -> None:
    paths = {leaf.path: leaf.value for leaf in leaves(plan) if leaf.value not in (None, ())}
    shown = {path.rpartition(".")[2] for path in paths}

    assert {leaf.path.rpartition(".")[2] for leaf in leaves(plan)} - shown == {
        *("po_box", "postal_code", "state", "country", "phone", "fax", "passes_right", "along"),
        *("epoch", "operation_accuracy", "start_heading_deg", "end_heading_deg"),
    }


def test_it_is_exported_without_an_error_or_a_warning(taskkit: Program, farm: Path, tmp_path: Path) -> None:
    done = taskkit("export", farm, "--out", tmp_path / "stick", "--format", "json")

    facts = json.loads(done.stdout)
    assert done.returncode == 0, done.stderr
    assert (facts["check"]["counts"]["error"], facts["check"]["counts"]["warning"]) == (0, 0)
    assert facts["comparison"]["equal"] is True
    assert (farm / "plan.ids.tsv").read_bytes() == (SAMPLE / "plan.ids.tsv").read_bytes()


def test_ready_says_in_80_columns_what_to_look_at_and_ends_with_0(taskkit: Program) -> None:
    done = taskkit("ready", SAMPLE)

    assert done.returncode == 0
    assert "Skew Piece (102): to look at" in done.stdout
    assert "Elbow Field (013), Drill Elbow Field: fine" in done.stdout
    assert '--shift-outline "1.5 m"' in done.stdout
    for words in (["ready", SAMPLE, "--full"], ["ready", SAMPLE]):
        assert max(map(len, taskkit(*words).stdout.splitlines())) <= 80


def test_ready_shows_what_is_there_on_request(taskkit: Program) -> None:
    done = taskkit("ready", SAMPLE, "--full", "--field", "12:30", "--job", "Spray Long Acre")

    said = " ".join(done.stdout.split())
    assert done.returncode == 0
    for words in (
        "frame: fine (ETRS89, EPSG:4258)",
        "boundary: fine (worked boundary 2026, 13.92 ha, survey of our own, 2026-02-17, accurate to 0.02 m",
        "lines: fine (Tramlines: straight, spacing 24 m)",
        "row end: fine (24 m sprayer, flat U to the right, skip 0",
        "machine: fine (Tractor and 24 m sprayer, works 24 m, turns in 6.5 m)",
        "speeds: fine (12 km/h on the pass, 8 km/h in the turn)",
    ):
        assert words in said
    assert "Drill Long Acre" not in said


def test_ready_ends_with_1_where_something_is_missing(taskkit: Program, farm: Path) -> None:
    text = (farm / "plan.yaml").read_text("utf-8")
    (farm / "plan.yaml").write_text(text.replace("turning_radius: 15 ft, ", ""), "utf-8")

    done = taskkit("ready", farm, "--format", "json")

    facts = json.loads(done.stdout)
    assert done.returncode == 1
    assert (facts["version"], facts["state"]) == (1, "missing")
    missing = {
        (field["field"]["name"], found["rule"])
        for field in facts["fields"]
        for job in field["jobs"]
        for answer in job["answers"]
        if answer["state"] == "missing"
        for found in answer["findings"]
    }
    assert missing == {(name, "machine-measure-missing") for name in ("Mere Piece", "River Bend", "Skew Piece")}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--field", "Nowhere"], "has no field 'Nowhere'"),
        (["--job", "Drill Long Acre", "--field", "Mere Piece"], "has no job"),
        (["--boundary", "drawn"], "no purpose of a boundary"),
    ],
)
def test_a_word_that_means_nothing_ends_ready_with_2(taskkit: Program, words: list[str], said: str) -> None:
    done = taskkit("ready", SAMPLE, *words)

    assert (done.returncode, done.stdout) == (2, "")
    assert said in done.stderr


def test_a_word_that_means_two_fields_ends_ready_with_2(taskkit: Program, farm: Path) -> None:
    text = (farm / "plan.yaml").read_text("utf-8")
    (farm / "plan.yaml").write_text(text.replace('code: "013"', 'code: "014"'), "utf-8")

    done = taskkit("ready", farm, "--field", "014")

    assert done.returncode == 2
    assert "means 2 fields" in done.stderr


def edits(farm: Path) -> Iterator[Path]:
    return (path for path in farm.iterdir() if ".before-" in path.name)


def test_edit_moves_the_outline_and_ready_is_content(taskkit: Program, farm: Path) -> None:
    before = (farm / "plan.yaml").read_text("utf-8")

    done = taskkit("edit", farm, "Skew Piece", "--shift-outline", "5 ft", "--extend-lines", "30 m")

    assert done.returncode == 0, done.stderr
    assert "worked boundary 2026 moved outward by 5 ft" in " ".join(done.stdout.split())
    assert "Across the slope: A moved outward by" in done.stdout
    (former,) = edits(farm)
    assert former.read_text("utf-8") == before
    assert "to look at" not in taskkit("ready", farm, "--field", "Skew Piece").stdout
    old, new = load_plan(SAMPLE), load_plan(farm)
    assert [field.name for field, other in zip(new.fields, old.fields, strict=True) if field != other] == ["Skew Piece"]


def test_an_edit_that_is_refused_leaves_nothing_behind(taskkit: Program, farm: Path) -> None:
    before = (farm / "plan.yaml").read_bytes()
    for words, said in (
        (["Twin Leys", "--shift-outline", "7 m"], "would meet"),
        (["Skew Piece", "--shift-outline", "5"], "has no unit"),
        (["Skew Piece"], "nothing to do was named"),
        (["--shift-outline", "5 m"], "no field was named"),
        (["Nowhere", "--extend-lines", "5 m"], "has no field"),
        (["Skew Piece", "--new-identity"], "Use --new-identity alone"),
    ):
        done = taskkit("edit", farm, *words)
        assert (done.returncode, done.stdout) == (2, ""), words
        assert said in done.stderr

    assert (farm / "plan.yaml").read_bytes() == before
    assert list(edits(farm)) == []


def test_an_edit_with_nothing_to_change_says_so(taskkit: Program, farm: Path) -> None:
    done = taskkit("edit", farm, "Wheel Field", "--extend-lines", "20 m", "--format", "json")

    facts = json.loads(done.stdout)
    assert done.returncode == 0
    assert (facts["former"], facts["moved"], facts["outline"]) == (None, [], None)
    assert [one["line"] for one in facts["left"]] == ["Round the hub", "Winding inward"]
    text = taskkit("edit", farm, "Wheel Field", "--extend-lines", "20 m").stdout
    assert "Round the hub: stays, it has no ends" in text
    assert "Nothing to change" in text
    assert "Nothing to change" in taskkit("edit", farm, "--new-identity").stdout
    assert list(edits(farm)) == []


def test_a_copied_block_is_told_and_gets_an_identity_of_its_own(taskkit: Program, farm: Path) -> None:
    text = (farm / "plan.yaml").read_text("utf-8")
    begin, end = text.index("  # A triangle"), text.index("  # An island of trees")
    copied = text[:end] + text[begin:end].replace("Three Nook", "Four Nook") + text[end:]
    (farm / "plan.yaml").write_text(copied, "utf-8")

    told = taskkit("ready", farm)
    assert told.returncode == 2
    assert "has the UUID of" in told.stderr
    assert "taskkit edit PLAN --new-identity" in told.stderr

    done = taskkit("edit", farm, "--new-identity", "--format", "json")

    facts = json.loads(done.stdout)
    assert done.returncode == 0, done.stderr
    assert [one["what"] for one in facts["renewed"]] == ["field Four Nook", "boundary worked", "line South side"]
    assert len(load_plan(farm).fields) == 10
    assert taskkit("ready", farm, "--field", "Four Nook").returncode == 0


def test_new_identities_are_told_in_words(taskkit: Program, farm: Path) -> None:
    text = (farm / "plan.yaml").read_text("utf-8")
    begin, end = text.index("  # A triangle"), text.index("  # An island of trees")
    (farm / "plan.yaml").write_text(
        text[:end] + text[begin:end].replace("Three Nook", "Four Nook") + text[end:], "utf-8"
    )

    done = taskkit("edit", farm, "--new-identity")

    assert "field Four Nook has a UUID of its own now" in " ".join(done.stdout.split())
