from pathlib import Path

import pytest
from plans import LARKMOOR

from taskkit.errors import InputError, RefusedError, UnsafeInputError
from taskkit.plan.elsewhere import Elsewhere, Found
from taskkit.plan.files import dump_plan, load_plan, rewrite
from taskkit.plan.leaves import changed, leaves
from taskkit.plan.loading import plan_from
from taskkit.plan.quantities import Area, Length
from taskkit.plan.yaml_text import Text

RING = "POLYGON ((9.5 54, 9.502 54, 9.502 54.001, 9.5 54.001, 9.5 54))"
PLAN = (
    LARKMOOR.replace(f"area: {RING}", "area: {file: land/outlines.gpkg, layer: fields, where: NAME = Long = Acre }")
    .replace("code: 007  ", "code: {file: outlines.gpkg, column: NO}")
    .replace("declared_area: 1.2 ha", "declared_area: {file: outlines.gpkg, column: HA, unit: ha}")
)


class Shelf:
    """Answers as a GIS file would, and remembers what was asked."""

    def __init__(self, about=None):
        self.asked = []
        self.about = about or {}

    def __call__(self, meant):
        self.asked.append(meant)
        if meant.column is None:
            return Found(RING, self.about)
        return Found({"NO": "007", "HA": "1.2"}[meant.column])


def test_values_are_fetched_from_a_file_beside_the_plan():
    shelf = Shelf({"source": "outlines.gpkg", "origin": {"crs": "EPSG:25832", "operation_accuracy": "1 cm"}, "x": "y"})
    plan = plan_from(Text(PLAN, "farm/plan.yaml"), resolve=shelf)
    assert sorted(shelf.asked, key=str) == sorted(
        [
            Elsewhere(Path("farm/land/outlines.gpkg"), "fields", ("NAME", "Long = Acre"), frame="ETRS89"),
            Elsewhere(Path("farm/outlines.gpkg"), column="NO", frame="ETRS89"),
            Elsewhere(Path("farm/outlines.gpkg"), column="HA", frame="ETRS89"),
        ],
        key=str,
    )
    field = plan.fields[0]
    assert (field.code, field.declared_area) == ("007", Area("1.2 ha"))
    boundary = field.boundaries[0]
    assert (boundary.source, boundary.origin.crs) == ("outlines.gpkg", "EPSG:25832")
    assert boundary.origin.operation_accuracy == Length("1 cm")
    without = plan_from(Text(LARKMOOR)).fields[0].boundaries[0]
    assert boundary.parts == without.parts
    assert plan_from(Text(dump_plan(plan))) == plan


def test_what_the_plan_says_itself_counts_more():
    text = PLAN.replace("date: 2026-03-31", "origin: {crs: mine}\n        date: 2026-03-31")
    text = text.replace("- purpose: worked", "- source: walked\n        purpose: worked")
    plan = plan_from(Text(text, "plan.yaml"), resolve=Shelf({"source": "file", "origin": {"frame": "ETRS89"}}))
    boundary = plan.fields[0].boundaries[0]
    assert (boundary.source, boundary.origin.crs, boundary.origin.frame) == ("walked", "mine", None)


def test_a_rewrite_leaves_it_there_until_it_changes():
    resolve = Shelf({"source": "file"})
    plan = plan_from(Text(PLAN, "plan.yaml"), resolve=resolve)
    depth = next(leaf for leaf in leaves(plan) if leaf.path == "fields.headland.depth")
    out = rewrite(PLAN, plan, changed(plan, depth, "5 m"), path="plan.yaml", resolve=resolve)
    assert out == PLAN.replace("depth: 12 m", "depth: 5 m")
    parts = next(leaf for leaf in leaves(plan) if leaf.path == "fields.boundaries.parts")
    moved = changed(plan, parts, RING.replace("54.001", "54.002"))
    out = rewrite(PLAN, plan, moved, path="plan.yaml", resolve=resolve)
    expected = f"area: {RING.replace('54.001', '54.002')}\n        source: file\n"
    assert expected in out
    assert out.replace(expected, "") == PLAN.replace("area: {file: land/outlines.gpkg, layer: fields, where: NAME = Long = Acre }\n", "")  # fmt: skip # noqa: E501
    source = next(leaf for leaf in leaves(plan) if leaf.path == "fields.boundaries.source")
    with pytest.raises(RefusedError, match="cannot be changed in its place"):
        rewrite(PLAN, plan, changed(plan, source, None), path="plan.yaml", resolve=resolve)


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ("{file: a.gpkg, lyer: x}", "a value in a file has no `lyer`. It has `file`, `layer`, `where`."),
        ("{file: a.gpkg, column: x}", "a value in a file has no `column`"),
        ("{file: a.gpkg, where: NAME}", "'NAME' names no row. Write `where: COLUMN = value`."),
        ("{file: a.gpkg, where: ' = x'}", "names no row"),
        ("{file: a.gpkg, layer: [x]}", "`layer` takes one single value"),
        ("{file: }", "`file` has no value"),
        ("{files: a}", "`area` takes one single value"),
    ],
)
def test_a_place_in_a_file_is_said_rightly(value, said):
    with pytest.raises(InputError) as refusal:
        plan_from(Text(LARKMOOR.replace(f"area: {RING}", f"area: {value}"), "plan.yaml"), resolve=Shelf())
    assert said in str(refusal.value)
    assert refusal.value.line == 30


def test_a_column_is_needed_for_a_plain_value():
    with pytest.raises(InputError, match="`column` is missing"):
        plan_from(Text(LARKMOOR.replace("code: 007", "code: {file: a.gpkg} "), "plan.yaml"), resolve=Shelf())


@pytest.mark.parametrize("name", ["../a.gpkg", "/a.gpkg", "x/../../a.gpkg", r"..\a.gpkg", "C:a.gpkg"])
def test_a_file_outside_the_folder_is_never_asked_for(name):
    shelf = Shelf()
    text = LARKMOOR.replace(f"area: {RING}", f"area: {{file: '{name}'}}")
    with pytest.raises(UnsafeInputError, match="is not in the folder of the plan"):
        plan_from(Text(text, "plan.yaml"), resolve=shelf)
    assert shelf.asked == []


def test_a_link_out_of_the_folder_is_not_followed(tmp_path):
    (tmp_path / "outside").mkdir()
    farm = tmp_path / "farm"
    farm.mkdir()
    (farm / "land").symlink_to(tmp_path / "outside")
    (farm / "plan.yaml").write_text(PLAN, encoding="utf-8")
    with pytest.raises(UnsafeInputError, match="is not in the folder of the plan"):
        load_plan(farm, resolve=Shelf())


def test_what_cannot_be_fetched_is_told_at_its_line():
    def nothing(_meant):
        raise InputError("there is no row like that", path="x", remedy="Look at NAME")

    with pytest.raises(InputError) as refusal:
        plan_from(Text(PLAN, "plan.yaml"), resolve=nothing)
    assert "`code` cannot be taken from outlines.gpkg: there is no row like that" in str(refusal.value)
    assert refusal.value.line == 24
    assert refusal.value.remedy == "Look at NAME"
    with pytest.raises(InputError, match=r"`code` stands in outlines\.gpkg, which is not read here"):
        plan_from(Text(PLAN, "plan.yaml"))


def test_what_is_fetched_is_judged_like_what_is_written():
    with pytest.raises(InputError) as refusal:
        plan_from(Text(PLAN, "plan.yaml"), resolve=lambda _meant: Found("POINT (1 2)"))
    assert "`area` cannot be taken: POLYGON or MULTIPOLYGON expected" in str(refusal.value)


def test_what_a_file_says_of_the_limit_of_a_line_is_not_said_of_the_line():
    text = PLAN.replace("spacing: 3 m}", "spacing: 3 m, limit: {file: limit.gpkg}}", 1)
    plan = plan_from(Text(text, "plan.yaml"), resolve=Shelf({"source": "limit.gpkg"}))
    line = plan.fields[0].lines[0]
    assert line.limit == plan.fields[0].boundaries[0].parts
    assert line.source is None
