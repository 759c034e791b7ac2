import pytest
from plans import numbered, small_plan

from taskkit.plan.choices import boundary_of, headland_of, line_on, lines_of, row_end_of, spacing_of
from taskkit.plan.identity import derived
from taskkit.plan.model import (
    CurvedLine,
    HeadingLine,
    Headland,
    MachineRowEnd,
    PivotLine,
    RowEndPlan,
    SpiralLine,
    StraightLine,
)
from taskkit.plan.quantities import Length


def test_a_field_has_its_own_lines_and_copies_of_the_shared_ones():
    plan = small_plan()
    first, second = (lines_of(plan, field) for field in plan.fields)
    assert first[:5] == plan.fields[0].lines
    kinds = [StraightLine, HeadingLine, CurvedLine, PivotLine, SpiralLine]
    assert [type(line) for line in first[5:]] == [type(line) for line in second] == kinds
    assert [line.name for line in second] == [line.name for line in plan.shared_lines]


def test_the_first_field_keeps_the_identity_of_a_shared_line_and_the_others_derive_theirs():
    plan = small_plan()
    shared = plan.shared_lines[0]
    first, second = lines_of(plan, plan.fields[0])[5], lines_of(plan, plan.fields[1])[0]
    assert (first.uuid, first.shifts) == (shared.uuid, shared.shifts)
    assert second.uuid == derived(shared.uuid, f"field/{plan.fields[1].uuid}")
    assert second.shifts[0].uuid == derived(shared.shifts[0].uuid, f"field/{plan.fields[1].uuid}")
    assert second.shifts[0].across == shared.shifts[0].across
    assert lines_of(plan, plan.fields[1]) == lines_of(plan, plan.fields[1])
    for field, line in ((plan.fields[0], first), (plan.fields[1], second)):
        assert line_on(plan, shared.uuid, field.uuid) == line.uuid
    assert line_on(plan, numbered(7), numbered(4)) == numbered(7)


def test_a_job_has_its_own_outline_and_headland_or_those_of_the_field():
    plan = small_plan()
    field, job = plan.fields[0], plan.jobs[0]
    assert boundary_of(field, job) is field.boundaries[0]
    official = job.model_copy(
        update={"boundary": job.boundary.model_copy(update={"purpose": "official", "season": None})}
    )
    assert boundary_of(field, official) is field.boundaries[1]
    assert boundary_of(field) is boundary_of(field, plan.jobs[1]) is field.boundaries[0]
    mine = Headland(depth="5 m")
    assert headland_of(field, job.model_copy(update={"headland": mine})) is mine
    assert headland_of(field, plan.jobs[1]) is headland_of(field) is field.headland
    assert headland_of(plan.fields[1]) is None


@pytest.mark.parametrize("level", range(5))
def test_the_nearest_row_end_plan_holds(level):
    plan = small_plan()
    mine, others = (RowEndPlan(uuid=numbered(n), name=str(n)) for n in (800, 801))
    machine = plan.machines[0].uuid
    job = plan.jobs[0].model_copy(update={"row_end": mine.uuid if level == 0 else None})
    field = plan.fields[0].model_copy(
        update={
            "row_ends": (MachineRowEnd(machine=machine, row_end=mine.uuid),) if level == 1 else (),
            "row_end": {0: others.uuid, 1: others.uuid, 2: mine.uuid}.get(level),
        }
    )
    tractor = plan.machines[0].model_copy(update={"row_end": {3: mine.uuid, 4: None}.get(level, others.uuid)})
    made = mine.model_copy(update={"machine": machine if level == 4 else None})
    whole = plan.model_copy(update={"row_end_plans": (others, made), "machines": (tractor,)})
    assert row_end_of(whole, field, job=job) is made
    assert row_end_of(whole, field, machine=machine, job=job if level == 0 else None) is made


def test_of_two_row_end_plans_for_a_machine_none_is_guessed():
    plan = small_plan()
    machine = plan.machines[0].model_copy(update={"row_end": None})
    twin = plan.row_end_plans[0].model_copy(update={"uuid": numbered(800)})
    whole = plan.model_copy(update={"machines": (machine,), "row_end_plans": (*plan.row_end_plans, twin)})
    assert row_end_of(whole, plan.fields[1], machine=machine.uuid) is None
    assert row_end_of(plan, plan.fields[1]) is None


def test_headland_passes_go_by_the_spacing_of_the_first_line():
    plan = small_plan()
    one, other = plan.fields
    wide, none = (one.lines[0].model_copy(update={"spacing": Length(text)}) for text in ("12 m", "0 m"))

    def spacing(field, *lines):
        return spacing_of(plan, field.model_copy(update={"lines": lines}))

    assert spacing(one, wide, none) == Length("12 m")
    assert spacing(one, none, wide) is None
    assert spacing(other) == plan.shared_lines[0].spacing
    assert spacing_of(plan.model_copy(update={"shared_lines": ()}), other) is None
