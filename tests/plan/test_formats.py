import uuid as uuids
from pathlib import Path

import pytest
from plans import LARKMOOR

from taskkit.errors import InputError
from taskkit.plan.files import dump_plan, format_of, load_plan
from taskkit.plan.loading import plan_from
from taskkit.plan.model import FORMAT, Purpose, StraightLine
from taskkit.plan.quantities import Area, Length
from taskkit.plan.yaml_text import Text

FORMAT_1 = Path(__file__).parent / "format_1"


def test_what_an_older_file_says_is_all_there():
    plan = load_plan(FORMAT_1 / "drill.yaml")
    assert plan == plan_from(Text(LARKMOOR))
    (field,), (line,) = plan.fields, plan.fields[0].lines
    # The UUIDs that the first form derived from names, as they were stored with numbers then.
    root = uuids.UUID("6f0f3a52-6c3e-4c0e-9d55-0d7b3c0c7a11")
    assert line.uuid == uuids.uuid5(root, "field/Long Acre/line/Along the lane")
    assert field.boundaries[0].uuid == uuids.uuid5(root, "field/Long Acre/boundary/worked")
    assert isinstance(line, StraightLine)
    assert field.headland.depth == Length("12 m")


def test_a_file_that_does_not_say_its_form_is_of_the_first():
    plan = load_plan(FORMAT_1 / "unsaid.yaml")
    (field,) = plan.fields
    assert field.declared_area == Area("3.5 ac")
    assert [b.purpose for b in field.boundaries] == [Purpose.OFFICIAL, Purpose.WORKED]
    assert (field.boundaries[0].source, field.boundaries[0].method) == ("registry", "drawn on a map")
    assert len(field.boundaries[0].parts) == 2
    assert field.lines[0].spacing.text == "20 ft"


@pytest.mark.parametrize("name", ["drill.yaml", "unsaid.yaml"])
def test_an_older_file_is_told_by_its_form_and_written_in_the_newest(name, tmp_path):
    plan = load_plan(FORMAT_1 / name)
    assert format_of(FORMAT_1 / name) == 1
    (tmp_path / "plan.yaml").write_text(dump_plan(plan), encoding="utf-8")
    assert format_of(tmp_path) == FORMAT == 2
    assert load_plan(tmp_path) == plan


def test_a_form_is_a_whole_number(tmp_path):
    file = tmp_path / "plan.yaml"
    for said in ("0", "1.0", "[2]", "two", "3"):
        file.write_text(LARKMOOR.replace("format: 2", f"format: {said}"), encoding="utf-8")
        with pytest.raises(InputError) as refusal:
            format_of(file)
        assert refusal.value.line == 2
    file.write_text("- x\n", encoding="utf-8")
    with pytest.raises(InputError, match="this is no plan"):
        format_of(file)
