import json

import jsonschema
import pytest
import yaml
from hypothesis import given, settings
from plans import LARKMOOR, plans, small_plan

from taskkit.plan import schema as module
from taskkit.plan.files import dump_plan
from taskkit.plan.members import members
from taskkit.plan.model import Plan
from taskkit.plan.schema import plan_schema, run
from taskkit.shipped import schema_file

VALIDATOR = jsonschema.Draft202012Validator(json.loads(plan_schema()))


class TextDates(yaml.SafeLoader):
    """Editors follow YAML 1.2, which has no dates."""

    yaml_implicit_resolvers = {  # noqa: RUF012
        first: [(tag, pattern) for tag, pattern in resolvers if not tag.endswith(("timestamp", "int:60"))]
        for first, resolvers in yaml.SafeLoader.yaml_implicit_resolvers.items()
    }


def complaints(text):
    """All complaints, the inner ones of alternatives too."""
    errors = list(VALIDATOR.iter_errors(yaml.load(text, Loader=TextDates)))
    for error in errors:
        errors.extend(error.context)
    return [error.message for error in errors]


def test_the_committed_schema_is_the_one_that_the_model_gives():
    assert schema_file("json", "plan.schema.json").read_text(encoding="utf-8") == plan_schema()
    assert run(["--check"]) == 0


def test_it_is_a_schema():
    jsonschema.Draft202012Validator.check_schema(json.loads(plan_schema()))


def test_a_good_plan_passes():
    assert complaints(LARKMOOR) == []
    assert complaints(dump_plan(small_plan())) == []
    assert complaints("uuid: 6f0f3a52-6c3e-4c0e-9d55-0d7b3c0c7a11\nname: x\nfields:\nsteering_frame: ~\n") == []


def test_values_in_other_files_pass():
    head = "uuid: 6f0f3a52-6c3e-4c0e-9d55-0d7b3c0c7a11\nname: x\n"
    assert complaints(head + "machines: {sheet: machines.csv}\n") == []
    assert complaints(head + "machines:\njobs: ~\n") == []
    area = "{file: outlines.gpkg, layer: fields, where: NAME = Long Acre}"
    assert complaints(f"{head}fields: [{{name: y, boundaries: [{{area: {area}}}]}}]\n") == []
    assert complaints(head + "fields: [{name: y, code: {file: a.gpkg, column: NO}}]\n") == []
    assert complaints(head + "fields: [{name: y, code: {file: a.gpkg}}]\n") != []
    assert complaints(head + "fields: [{name: y, name: {file: a.gpkg}}]\n") != []


def test_a_line_has_the_keys_of_its_kind():
    head = "uuid: 6f0f3a52-6c3e-4c0e-9d55-0d7b3c0c7a11\nname: x\nfields: [{name: y, lines: [%s]}]\n"
    path = "name: z, spacing: 3 m, path: 'LINESTRING (1 1, 2 2)'"
    assert complaints(head % f"{{{path}, kind: curve}}") == []
    assert complaints(head % f"{{{path}, kind: spiral}}") == []
    for wrong in (f"{{{path}}}", f"{{{path}, kind: pivot}}", f"{{{path}, kind: curve, radius: 3 m}}"):
        assert complaints(head % wrong) != []


@given(plans())
@settings(max_examples=20, deadline=None)
def test_every_plan_that_we_write_passes(plan):
    assert complaints(dump_plan(plan)) == []


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("uuid: 6f0f3a52-6c3e-4c0e-9d55-0d7b3c0c7a11\n", "", "'uuid' is a required property"),
        ("name: Home Farm", "nam: Home Farm", "'name' is a required property"),
        ("code: 007", "colour: red", "'colour' was unexpected"),
        ("spacing: 3 m", "spacing: 3", "3 is not of type 'string'"),
        ("depth: 12 m", "depth: '1,500 m'", "'1,500 m'"),
        ("turn: loop", "turn: lop", "'lop'"),
        ("lat_deg: 54.0}, b", "lat_deg: 154.0}, b", "154.0 is greater than the maximum of 90"),
        ("lat_deg: 54.0}, b", "lat_deg: north}, b", "'north' is not of type 'number'"),
        ("area: POLYGON", "parts: POLYGON", "'parts' was unexpected"),
        ("skip: 1", "skip: -1", "-1"),
    ],
)
def test_a_bad_plan_does_not_pass(old, new, said):
    assert old in LARKMOOR
    found = complaints(LARKMOOR.replace(old, new, 1))
    assert any(said in complaint for complaint in found), found


def test_it_tells_editors_what_a_key_means():
    table = json.loads(plan_schema())
    assert table["$defs"]["Headland"]["properties"]["depth"]["description"].startswith("Distance from the boundary")
    assert {member.key for member in members(Plan)} | {"format"} == set(table["properties"])


def test_check_sees_a_difference(tmp_path, monkeypatch):
    monkeypatch.setattr(module, "schema_file", lambda *_: tmp_path)
    assert run(["--check"]) == 1
    assert run([]) == 0
    assert run(["--check"]) == 0
    (tmp_path / "plan.schema.json").write_text("{}", encoding="utf-8")
    assert run(["--check"]) == 1
