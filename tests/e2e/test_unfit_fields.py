"""Exporting a plan of which one field cannot go out, and choosing among outlines."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from taskkit import api
from taskkit.cli.main import app, run
from taskkit.errors import InputError, RefusedError

PLAN = """\
format: 2
uuid: 6f0f3a52-6c3e-4c0e-9d55-0d7b3c0c7a11
name: Larkmoor
fields:
  - name: Long Acre
    boundaries:
      - area: POLYGON ((9.5 54, 9.502 54, 9.502 54.001, 9.5 54.001, 9.5 54))
      - purpose: official
        season: "2026"
        area: POLYGON ((9.5 54, 9.503 54, 9.503 54.001, 9.5 54.001, 9.5 54))
  - name: Bow Tie
    boundaries:
      - area: POLYGON ((9.51 54, 9.512 54.001, 9.512 54, 9.51 54.001, 9.51 54))
"""


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    (tmp_path / "plan.yaml").write_text(PLAN, encoding="utf-8")
    return tmp_path


def test_an_unfit_field_stops_the_export_and_is_named(plan, capsys, monkeypatch):
    monkeypatch.setattr("sys.argv", ["taskkit", "export", str(plan), "--out", str(plan / "out")])

    with pytest.raises(SystemExit) as left:
        run()

    assert left.value.code == 2
    said = capsys.readouterr().err
    assert "nothing was written" in said
    assert "--leave-out-unfit" in said
    assert "field Bow Tie: the outer ring crosses itself at vertex 1, latitude 54.0005000, longitude 9.5110000" in said
    assert not (plan / "out").exists()


def test_the_rest_goes_out_and_what_is_left_out_is_named(plan):
    arguments = ["export", str(plan), "--out", str(plan / "out"), "--leave-out-unfit"]
    text = CliRunner().invoke(app, arguments)
    assert text.exit_code == 1  # there is something to act on
    assert "1 field written" in text.output
    assert "Left out, because it cannot go out as it is:" in text.output
    assert "field Bow Tie: the outer ring crosses itself" in text.output

    facts = json.loads(CliRunner().invoke(app, [*arguments, "--format", "json"]).output)
    (gone,) = facts["left_out"]
    assert (gone["name"], gone["lon_deg"], gone["lat_deg"]) == ("Bow Tie", pytest.approx(9.511), pytest.approx(54.0005))
    assert [field.name for field in api.read(plan / "out", plan / "again").plan.fields] == ["Long Acre"]


def test_a_plan_of_unfit_fields_alone_is_refused(plan):
    text = PLAN[: PLAN.index("  - name: Long Acre")] + PLAN[PLAN.index("  - name: Bow Tie") :]
    (plan / "plan.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(RefusedError, match="Bow Tie"):
        api.export(plan, plan / "out", leave_out_unfit=True)


@pytest.mark.parametrize("boundary", ["official", "official:2026"])
def test_the_outline_that_was_asked_for_goes_out(plan, boundary):
    exported = api.export(plan, plan / "out", boundary=boundary, leave_out_unfit=True)
    assert [one.reason for one in exported.left_out] == [f"it has no official boundary{boundary[8:].replace(':', ' ')}"]
    (field,) = api.read(plan / "out", plan / "again").plan.fields
    assert field.boundaries[0].parts[0].outer.points[1].tolist() == [9.503, 54.0]


@pytest.mark.parametrize("boundary", ["best", "official:1999"])
def test_an_outline_that_is_not_there_is_said(plan, boundary):
    with pytest.raises((InputError, RefusedError)) as said:
        api.export(plan, plan / "out", boundary=boundary)
    assert "'best' is no purpose" in str(said.value) or "it has no official boundary 1999" in str(said.value)
