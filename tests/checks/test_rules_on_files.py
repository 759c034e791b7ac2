"""Rules on the files of a set, with real folders and zips where they matter."""

import zipfile

import pytest

from taskkit.checks import Example, SetContext, run_checks
from taskkit.checks.example import MemoryStore
from taskkit.findings import Severity
from taskkit.taskdata.sets import read_set
from taskkit.taskdata.store import open_store

GRID = '<GRD A="54" B="9.5" C="0.001" D="0.001" E="1" F="1" G="GRD00001" {length} I="1"/>'


def found_in(store):
    reading = read_set(store)
    run_checks(SetContext(reading), reading.findings)
    report = reading.findings.report()
    assert report.crashed == ()
    return [(found.rule, found.severity) for found in report if found.severity is not None]


def written(example, folder):
    for name, content in example.files().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return folder


def zipped(example, path):
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in example.files().items():
            archive.writestr(name, content)
    return path


def with_task(*children, **files):
    return Example('<TSK A="TSK1" G="1"><TZN A="1"/>' + "".join(children) + "</TSK>", **files)


def test_a_folder_called_taskdata_is_right_however_it_is_named(tmp_path, monkeypatch):
    written(Example(), tmp_path)
    monkeypatch.chdir(tmp_path / "TASKDATA")

    for path in (tmp_path, tmp_path / "TASKDATA", tmp_path / "TASKDATA" / "TASKDATA.XML", "."):
        assert found_in(open_store(path)) == []


def test_another_folder_is_told_also_where_it_is_named_itself(tmp_path):
    written(Example(folder="taskdata"), tmp_path / "stick")

    assert found_in(open_store(tmp_path / "stick")) == [("set-folder-misnamed", Severity.WARNING)]
    assert found_in(open_store(tmp_path / "stick" / "taskdata")) == [("set-folder-misnamed", Severity.WARNING)]


def test_a_set_at_the_top_of_a_zip_is_a_note(tmp_path):
    assert found_in(open_store(zipped(Example(folder=""), tmp_path / "a.zip"))) == [
        ("set-folder-misnamed", Severity.NOTE)
    ]
    assert found_in(open_store(zipped(Example(), tmp_path / "b.zip"))) == []


def test_a_folder_far_down_is_told(tmp_path):
    written(Example(folder="2026/TASKDATA"), tmp_path)

    assert found_in(open_store(tmp_path)) == [("set-folder-too-deep", Severity.WARNING)]


def test_what_an_export_replaced_and_kept_is_a_note(tmp_path):
    written(Example(), tmp_path)
    written(Example(folder="TASKDATA.old"), tmp_path)

    assert found_in(open_store(tmp_path)) == [("task-file-several", Severity.NOTE)]


def test_two_task_files_that_differ_by_case_only_are_told(tmp_path):
    written(Example(beside={"TaskData.Xml": b"<ISO11783_TaskData/>"}), tmp_path)

    assert {rule for rule, _ in found_in(open_store(tmp_path))} == {"task-file-several"}


def test_a_folder_without_task_file_has_no_folder_to_name(tmp_path):
    (tmp_path / "NOTES.TXT").write_bytes(b"")

    assert [rule for rule, _ in found_in(open_store(tmp_path))] == ["task-file-missing"]


@pytest.mark.parametrize(
    ("body", "missing"),
    [
        ('<XFR A="CTR00001" B="1"/>', ["CTR00001.XML"]),
        (with_task(GRID.format(length="")).body, ["GRD00001.BIN"]),
        (with_task('<TLG A="TLG00001" C="1"/>').body, ["TLG00001.XML", "TLG00001.BIN"]),
        ('<AFE A="LINKLIST.XML" B="1" C="" D="1"/>', ["LINKLIST.XML"]),
    ],
)
def test_every_file_that_is_named_has_to_be_there(body, missing):
    reading = read_set(Example(body).store())
    run_checks(SetContext(reading), reading.findings, only=["named-file-missing"])
    found = [one for one in reading.findings.report() if one.rule == "named-file-missing"]

    assert sorted(one.facts["file"] for one in found) == sorted(missing)
    assert {one.severity for one in found} == {Severity.ERROR}
    present = Example(body, beside=dict.fromkeys(missing, b"<XFC/>"))
    assert "named-file-missing" not in [rule for rule, _ in found_in(present.store())]


def test_a_missing_file_of_points_is_a_warning_because_its_name_is_recalled_with_doubt():
    body = '<PFD A="PFD1" C="x" D="0"><LSG A="3"><PNT A="2" C="" D="" J="PNT00001"/></LSG></PFD>'

    assert ("named-file-missing", Severity.WARNING) in found_in(Example(body).store())


def test_a_point_that_holds_something_can_name_a_file_too():
    body = '<PFD A="PFD1" C="x" D="0"><LSG A="3"><PNT A="2" C="54" D="9" J="PNT00001"><!-- --></PNT></LSG></PFD>'

    assert ("named-file-missing", Severity.WARNING) in found_in(Example(body).store())


def test_a_missing_file_that_lies_in_another_folder_is_told_with_its_place():
    example = with_task(GRID.format(length=""), elsewhere={"TASKDATA/GRID/GRD00001.BIN": b"\1"})
    reading = read_set(MemoryStore(example.files()))
    run_checks(SetContext(reading), reading.findings)

    (found,) = reading.findings.report()
    assert found.message.endswith("not in the folder of the set; there is one in TASKDATA/GRID/GRD00001.BIN.")


@pytest.mark.parametrize(
    ("length", "expected"),
    [
        ("", []),
        ('H="1"', []),
        ('H="0"', [("file-length-differs", Severity.NOTE)]),
        ('H="2"', [("file-length-differs", Severity.WARNING)]),
        ('H="x"', [("attribute-malformed", Severity.ERROR)]),
    ],
)
def test_a_length_has_to_be_that_of_the_file(length, expected):
    assert found_in(with_task(GRID.format(length=length), beside={"GRD00001.BIN": b"\1"}).store()) == expected


def test_a_file_that_cannot_be_read_is_not_measured(tmp_path):
    example = with_task(GRID.format(length='H="2"'), beside={"GRD00001.BIN": b"\1"})
    path = written(example, tmp_path) / "TASKDATA" / "GRD00001.BIN"
    path.rename(tmp_path / "elsewhere")
    path.symlink_to(tmp_path / "elsewhere")
    reading = read_set(open_store(tmp_path))
    run_checks(SetContext(reading), reading.findings)

    report = reading.findings.report()
    assert [skip.rule for skip in report.skipped] == ["file-length-differs"]
    assert "not a plain file" in report.skipped[0].reason


def test_a_file_that_many_elements_name_is_measured_once(monkeypatch):
    store = with_task(*[GRID.format(length='H="2"')] * 50, beside={"GRD00001.BIN": b"\1"}).store()
    read, asked = MemoryStore.read, []
    monkeypatch.setattr(MemoryStore, "read", lambda self, name: asked.append(name) or read(self, name))
    assert ("file-length-differs", Severity.WARNING) in found_in(store)
    assert asked.count("GRD00001.BIN") == 1
