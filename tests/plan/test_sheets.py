from uuid import UUID, uuid5

import pytest
from plans import small_plan

from taskkit.errors import InputError, RefusedError, UnsafeInputError
from taskkit.plan import sheets
from taskkit.plan.files import dump_plan, load_plan, machines_from_csv, rewrite
from taskkit.plan.leaves import changed, leaves
from taskkit.plan.loading import plan_from
from taskkit.plan.model import Machine
from taskkit.plan.quantities import Duration, Length, Speed
from taskkit.plan.sheets import columns, listing_from
from taskkit.plan.yaml_text import Text

ROOT = UUID("6f0f3a52-6c3e-4c0e-9d55-0d7b3c0c7a11")
SHEET = """\
Name;code;tractor name;Tractor turning radius;tractor_reversing;tool_name;tool_working_width;tool_at_depth;working speed
Drill set;D1;Old Blue;5,5 m;yes;"Roller; light";3 m;;8 km/h
;;;;;"The ""long"" drill";10 ft;4 s;

Sprayer;;;;;Boom;24 m;;
Sprayer;;;;;Tank;;;
Lone tractor;;Red;;no;;;;
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "machines.csv").write_text(SHEET, encoding="utf-8")
    return tmp_path


def machines(folder, sheet=None):
    if sheet is not None:
        (folder / "machines.csv").write_bytes(sheet.encode())
    return machines_from_csv(folder / "machines.csv", plan=ROOT)


def test_a_row_is_a_machine_or_one_more_tool(folder):
    drill, sprayer, lone = machines(folder)
    assert drill.uuid == uuid5(ROOT, "machine/Drill set")
    assert (drill.name, drill.code, drill.working_speed) == ("Drill set", "D1", Speed("8 km/h"))
    assert (drill.tractor.turning_radius, drill.tractor.reversing) == (Length("5.5 m"), True)
    assert [tool.name for tool in drill.tools] == ["Roller; light", 'The "long" drill']
    assert (drill.tools[1].working_width, drill.tools[1].at_depth) == (Length("10 ft"), Duration("4 s"))
    assert [tool.name for tool in sprayer.tools] == ["Boom", "Tank"]
    assert sprayer.tractor is None
    assert (lone.tractor.name, lone.tractor.reversing, lone.tools) == ("Red", False, ())


@pytest.mark.parametrize("mark", [",", "\t"])
def test_cells_are_parted_by_commas_or_tabs_too(folder, mark):
    sheet = SHEET.replace("5,5 m", "5.5 m").replace(";", mark).replace(f"Roller{mark}", "Roller;")
    expected = machines(folder)
    assert machines(folder, sheet) == expected
    assert machines(folder, sheet.replace("\n", "\r\n").rstrip()) == expected


def test_a_plan_takes_its_machines_from_a_sheet(folder):
    plan = f"format: 2\nuuid: {ROOT}\nname: x\nmachines: {{sheet: machines.csv}}\n"
    plan += "row_end_plans: [{name: R, machine: Sprayer}]\n"
    (folder / "plan.yaml").write_text(plan, encoding="utf-8")
    loaded = load_plan(folder)
    assert loaded.machines == machines(folder)
    assert loaded.row_end_plans[0].machine == loaded.machines[1].uuid
    assert plan_from(Text(dump_plan(loaded))) == loaded

    frame = next(leaf for leaf in leaves(loaded) if leaf.path == "steering_frame")
    new = changed(loaded, frame, "ETRS89")
    out = rewrite(plan, loaded, new, path=folder / "plan.yaml")
    assert out == plan.replace("name: x\n", "name: x\nsteering_frame: ETRS89\n")
    speed = next(leaf for leaf in leaves(loaded) if leaf.path == "machines.working_speed")
    with pytest.raises(RefusedError, match="the machines stand in a sheet"):
        rewrite(plan, loaded, changed(loaded, speed, "9 km/h"), path=folder / "plan.yaml")


@pytest.mark.parametrize(
    ("old", "new", "at", "said"),
    [
        (
            "tool_working_width",
            "tool_working_wdth",
            "tool_working_w",
            "no column 'tool_working_wdth' for a machine. Did",
        ),
        ("Name;code", "Name;zzzzzz", "zzz", "Columns are uuid, name, code"),
        ("Name;code", "Name;name", "name;", "the column 'name' is there twice"),
        ("5,5 m", "5,5", "5,5", "`turning_radius` cannot be taken: '5,5' has no unit"),
        ("10 ft", "10", "10;", "`working_width` cannot be taken: '10' has no unit"),
        ('"Roller; light"', "Roller; light", "8 km/h", "the row has 10 cells, and there are 9 columns"),
        ('"Roller; light"', '"Roller; light', '"Roller', "a double quote is left open"),
        ('"Roller; light"', '"Roller" light', '"Roller', "a double quote is left open"),
        (';;;;;"The', ';D2;;;;"The', "D2", "'code' belongs into the first row of 'Drill set'"),
        (
            "Lone tractor",
            "Drill set",
            "Drill set;;Red",
            "cannot be told from the machine Drill set in machines.csv, line 2",
        ),
        (";no;", ";perhaps;", "perhaps", "'perhaps' is neither yes nor no"),
    ],
)
def test_an_error_has_its_line_and_column_in_the_sheet(folder, old, new, at, said):
    sheet = SHEET.replace(old, new, 1)
    with pytest.raises(InputError) as refusal:
        machines(folder, sheet)
    assert said in str(refusal.value)
    assert refusal.value.path == str(folder / "machines.csv")
    before = sheet[: sheet.index(at)]
    assert (refusal.value.line, refusal.value.column) == (before.count("\n") + 1, len(before) - before.rfind("\n"))


def test_a_machine_needs_a_name(folder):
    with pytest.raises(InputError, match=r"machines.csv:2:1: `name` is missing"):
        machines(folder, "name,code\n,7\n")


def test_a_sheet_with_nothing_in_it(folder):
    assert machines(folder, "name\n") == ()
    with pytest.raises(InputError, match=r"machines.csv:1:1: the sheet is empty"):
        machines(folder, "\n\n")
    with pytest.raises(InputError, match="there is no such sheet"):
        machines_from_csv(folder / "none.csv", plan=ROOT)


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ("{sheet: ../machines.csv}", "is not in the folder of the plan"),
        ("{sheet: /etc/passwd}", "is not in the folder of the plan"),
        ("{sheet: 'C:\\x.csv'}", "is not in the folder of the plan"),
        ("{sheet: none.csv}", "there is no file 'none.csv' beside the plan"),
        ("{sheet: }", "`machines` takes a list or one sheet"),
        ("{sheet: a, layer: b}", "`machines` takes a list or one sheet"),
        ("{file: a}", "`machines` takes a list."),
    ],
)
def test_a_sheet_is_named_by_its_place_beside_the_plan(folder, value, said):
    (folder / "plan.yaml").write_text(f"uuid: {ROOT}\nname: x\nmachines: {value}\n", encoding="utf-8")
    with pytest.raises(InputError) as refusal:
        load_plan(folder)
    assert said in str(refusal.value)
    assert refusal.value.line == 3


def test_a_sheet_beside_no_file_cannot_be_found():
    with pytest.raises(InputError, match="the plan is in no file"):
        plan_from(Text(f"uuid: {ROOT}\nname: x\nmachines: {{sheet: a.csv}}\n"))


def test_the_number_of_cells_is_bounded(monkeypatch):
    monkeypatch.setattr(sheets, "_MOST_CELLS", 10)
    with pytest.raises(UnsafeInputError, match="more than 10 cells"):
        listing_from(Text("name\n" + "x\n" * 20), Machine)


def test_every_member_has_a_column():
    names = columns(Machine)
    assert len(set(names)) == len(names)
    assert {"name", "tool_fold_time", "tractor_width", "row_end"} < set(names)
    assert small_plan().machines[0].tools
