"""Plans that go out and come back, through bytes."""

import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree
from mapped import leaf_values, parsed, rich_plan, through_bytes, with_given_depths, written
from plans import plans

import taskkit
from taskkit.findings import Severity
from taskkit.geometry.line import LonLatLine, Part
from taskkit.mapping import Carried, ledger_class, read_plan, write_plan
from taskkit.plan.leaves import leaf_paths
from taskkit.plan.model import Place, Plan
from taskkit.plan.quantities import Length
from taskkit.shipped import schema_file
from taskkit.taskdata import schema
from taskkit.taskdata.dictionary import LINK_ROOT, TASK_ROOT
from taskkit.taskdata.sets import read_set
from taskkit.taskdata.store import open_store
from taskkit.taskdata.version import Version
from taskkit.taskdata.writer import files, serialise, write_folder

GOLDEN = Path(__file__).parent / "golden"
HEADLAND_SCHEMA = etree.XMLSchema(etree.parse(schema_file("xsd", "headland", "HEADLAND.xsd")))
# Half a unit of the ninth decimal, and the error of the float beside it.
HALF_STEP_DEG = 0.5e-9 + 3e-14
# What a set can hold of a length, metres: of most to the millimetre; east and north of a shift are rounded both.
HALF_MM, ALONG_M = 0.0005 + 1e-12, 0.0015
# The ends of a sector are points; where they are off by more, the ledger says so.
SECTOR_DEG = 0.01
EXAMPLES = 5000 if os.environ.get("TASKKIT_LONG") else 500


def near(path, value, other):
    """Whether a leaf is the same within what the format can hold."""
    if isinstance(value, Length):
        return abs(value.metres - other.metres) <= (ALONG_M if path.endswith("shifts.along") else HALF_MM)
    if path.endswith("heading_deg"):
        apart = abs((value - other + 180) % 360 - 180)
        return apart <= (SECTOR_DEG if "sector" in path else HALF_STEP_DEG)
    if isinstance(value, float):
        return abs(value - other) <= HALF_STEP_DEG
    mine, others = lines_of(value), lines_of(other)
    if mine is None:
        return value == other
    return [len(line) for line in mine] == [len(line) for line in others] and all(
        np.abs(a.points - b.points).max() <= HALF_STEP_DEG for a, b in zip(mine, others, strict=True)
    )


def lines_of(shape):
    """The lines and rings of a shape, None for any other value."""
    if isinstance(shape, Place):
        return lines_of(shape.shape)
    if isinstance(shape, tuple) and shape and isinstance(shape[0], Part):
        return [ring for part in shape for ring in part.rings]
    return [shape] if isinstance(shape, LonLatLine) else None


def check_survival(plan):
    made = written(plan)
    back = read_plan(through_bytes(made.data))
    before, after = leaf_values(plan), leaf_values(back.plan)
    for key, value in before.items():
        path, owner, _ = key
        if not made.ledger.explains(path, owner):
            assert near(path, value, after.get(key)) if value is not None else after.get(key) is None, key
    invented = {key for key in after.keys() - before.keys() if after[key] not in (None, ())}
    assert not {key for key in invented if not made.ledger.explains(key[0], key[1])}
    return made, back


def test_a_plan_with_everything_in_it_comes_back_up_to_its_ledger():
    made, back = check_survival(rich_plan())
    assert {e.carried for e in made.ledger.losses()} == {Carried.APPROXIMATED}
    assert not list(back.findings)


@given(plans(), st.integers(1, 4))
@settings(max_examples=EXAMPLES, deadline=None)
def test_any_plan_comes_back_up_to_its_ledger(plan, times):
    plan = plan.model_copy(
        update={
            "fields": tuple(f.model_copy(update={"name": f.name * times}) for f in plan.fields),
            "customers": tuple(c.model_copy(update={"name": c.name * times}) for c in plan.customers),
        }
    )
    made, back = check_survival(plan)

    assert [found for found in back.findings if found.rule != "guidance-spacing-missing"] == []
    assert schema.verdict(serialise(made.data.main), TASK_ROOT, Version.V4_3) == ()
    assert schema.verdict(serialise(made.data.links), LINK_ROOT, Version.V4_3) == ()
    for attached in made.data.companions.values():
        HEADLAND_SCHEMA.assertValid(etree.fromstring(attached))


@given(plans())
@settings(max_examples=EXAMPLES // 2, deadline=None)
def test_a_plan_that_came_back_goes_out_as_the_same_bytes(plan):
    made = written(plan)
    back = read_plan(through_bytes(made.data)).plan

    again = write_plan(back, made.identity, derived_objects=False)

    # But for what was not carried: the standard cannot hold a negative spacing.
    if not any(e.carried is Carried.NOT_CARRIED for e in made.ledger.entries):
        assert dict(files(again.data)) == dict(files(made.data))


def test_what_is_written_satisfies_the_dictionary_and_the_schemas(tmp_path):
    write_folder(written(rich_plan()).data, tmp_path / "TASKDATA")

    reading = read_set(open_store(tmp_path))

    report = reading.findings.report()
    assert [f.message for f in report if f.severity > Severity.NOTE] == []
    assert not report.crashed
    assert read_plan(reading.data).plan == read_plan(through_bytes(written(rich_plan()).data)).plan


def test_two_exports_give_the_same_bytes_and_keep_their_numbers():
    first = written(rich_plan())

    second = write_plan(rich_plan(), first.identity, derived_objects=False)

    assert dict(files(second.data)) == dict(files(first.data))
    assert second.identity == first.identity


def test_an_object_keeps_its_number_when_others_come_and_go():
    plan = rich_plan()
    first = written(plan)
    shorter = plan.model_copy(update={"fields": plan.fields[1:]})

    second = write_plan(shorter, first.identity, derived_objects=False)

    assert next(second.data.main.elements("PFD")).get("A") == "PFD2"
    assert next(written(shorter).data.main.elements("PFD")).get("A") == "PFD1"


def test_the_files_of_the_rich_plan_are_the_golden_ones(monkeypatch):
    monkeypatch.setattr(taskkit, "__version__", "0.0.0")
    content = dict(files(written(with_given_depths(rich_plan()), derived_objects=True).data))
    if os.environ.get("TASKKIT_WRITE_GOLDEN"):
        for name, data in content.items():
            (GOLDEN / name).write_bytes(data)
    assert content == {path.name: path.read_bytes() for path in GOLDEN.iterdir()}


def test_the_golden_files_are_read_as_the_rich_plan():
    data = parsed(
        (GOLDEN / "TASKDATA.XML").read_bytes(),
        (GOLDEN / "LINKLIST.XML").read_bytes(),
        HEADLAND_XML=(GOLDEN / "HEADLAND.XML").read_bytes(),
    )
    assert read_plan(data) == read_plan(through_bytes(written(with_given_depths(rich_plan())).data))


def test_every_leaf_of_the_model_has_a_class():
    assert all(ledger_class(path) for path in leaf_paths(Plan))
    with pytest.raises(LookupError):
        ledger_class("fields.nonsense")
