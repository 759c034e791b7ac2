"""Jobs, and the people and goods that they name, out and back and from sets of others."""

import datetime

import pytest
from mapped import full_line, line, numbered, parsed, said, shift, task_file, through_bytes, written

from taskkit.geometry.line import LonLatLine
from taskkit.mapping import Carried, read_plan
from taskkit.plan.files import dump_plan
from taskkit.plan.model import (
    Crop,
    CurvedLine,
    Customer,
    Farm,
    Field,
    Job,
    JobLine,
    Operation,
    PivotLine,
    Plan,
    Position,
    Product,
    SharedStraightLine,
    Shift,
    Variety,
    Worker,
)
from taskkit.plan.quantities import Length

FIELD = '<CTR A="CTR1" B="Estate"/><FRM A="FRM1" B="Home"/><PFD A="PFD1" C="Long Acre" D="1" E="CTR1" F="FRM1">{}</PFD>'
GROUP = (
    '<GGP A="GGP1" B="Lines">'
    '<GPN A="GPN1" B="North" C="1"><LSG A="5" C="3000"><PNT A="6" C="54" D="9"/><PNT A="7" C="54.1" D="9"/></LSG></GPN>'
    '<GPN A="GPN2" B="East" C="1"><LSG A="5" C="3000"><PNT A="6" C="0" D="9"/><PNT A="7" C="0" D="9.1"/></LSG></GPN>'
    '<GPN A="GPN3" B="Round" C="4" D="3" H="9000"><LSG A="5" C="3000"><PNT A="8" C="54" D="9"/></LSG></GPN>'
    "</GGP>"
)


def foreign(inner, *, field=GROUP, before=""):
    found = read_plan(parsed(task_file(before + FIELD.format(field) + inner)))
    assert dump_plan(found.plan)
    return found


def task(inner="", more=' G="1"'):
    return f'<TSK A="TSK1" B="Sow" E="PFD1"{more}>{inner}</TSK>'


def on_a_field(*lines, shared=(), used=(), **more):
    field = Field(uuid=numbered(4), name="Long Acre", lines=lines)
    uses = tuple(JobLine(line=numbered(n), shift=s and numbered(s)) for n, s in used)
    job = Job(uuid=numbered(90), name="Sow", field=numbered(4), lines=uses, **more)
    return Plan(uuid=numbered(1), name="p", fields=(field,), shared_lines=shared, jobs=(job,))


def tasks(made):
    return list(made.data.main.elements("TSK"))


def back(made, **options):
    return read_plan(through_bytes(made.data, **options))


def notes(found):
    start = "Not taken into the plan, which has no word for it: "
    return {m.removeprefix(start).removesuffix(" in all.") for m in said(found, "not-in-plan-model")}


# Tasks


def test_a_task_names_the_field_and_those_that_the_field_belongs_to():
    plan = Plan(
        uuid=numbered(1), name="p",
        customers=(Customer(uuid=numbered(2), name="Estate"),), farms=(Farm(uuid=numbered(3), name="Home"),),
        fields=(Field(uuid=numbered(4), name="x", customer=numbered(2), farm=numbered(3)),),
        jobs=(Job(uuid=numbered(90), name="Sow", field=numbered(4)),),
    )  # fmt: skip
    made = written(plan)
    assert tasks(made)[0].attributes == {"A": "TSK1", "B": "Sow", "C": "CTR1", "D": "FRM1", "E": "PFD1", "G": "1"}
    assert back(made).plan.jobs == plan.jobs


@pytest.mark.parametrize(("end", "stop"), [(None, None), (datetime.date(2026, 4, 3), "2026-04-03T23:59:59")])
def test_the_days_of_a_job_are_a_planned_time_and_a_stamp_on_each_allocation(end, stop):
    plan = on_a_field(line(7, "Lane"), used=[(7, None)], start=datetime.date(2026, 4, 1), end=end)
    made = written(plan)

    (time,) = tasks(made)[0].elements("TIM")
    (stamp,) = next(tasks(made)[0].elements("GAN")).elements("ASP")

    assert time.attributes == stamp.attributes
    assert (time.get("A"), time.get("B"), time.get("D")) == ("2026-04-01T00:00:00", stop, "1")
    assert back(made).plan.jobs == plan.jobs


def test_a_job_without_a_date_has_no_time_and_no_stamp():
    made = written(on_a_field(line(7, "Lane"), used=[(7, None)]))
    assert [element.tag for element in tasks(made)[0].walk()] == ["TSK", "GAN"]


def test_an_end_without_a_start_is_not_carried():
    made = written(on_a_field(end=datetime.date(2026, 4, 3)))
    assert [(e.leaf.path, e.carried) for e in made.ledger.losses()] == [("jobs.end", Carried.NOT_CARRIED)]
    assert back(made).plan.jobs[0].end is None


def test_work_and_goods_go_out_without_any_quantity():
    plan = Plan(
        uuid=numbered(1), name="p",
        workers=(Worker(uuid=numbered(20), name="Reed"),),
        crops=(Crop(uuid=numbered(22), name="Barley", varieties=(Variety(uuid=numbered(23), name="Early"),)),),
        products=tuple(
            Product(uuid=numbered(26 + n), name=f"Lot {n}", kind=kind) for n, kind in enumerate(["seed", None, "seed"])
        ),
        operations=(Operation(uuid=numbered(29), name="Sowing"),),
        fields=(Field(uuid=numbered(4), name="x", crop=numbered(22), variety=numbered(23)),),
        jobs=(
            Job(uuid=numbered(90), name="Sow", field=numbered(4), worker=numbered(20), operation=numbered(29),
                product=numbered(28)),
        ),
    )  # fmt: skip
    made = written(plan)
    assert [(element.tag, element.attributes) for element in tasks(made)[0].elements()] == [
        ("OTP", {"A": "CPC1"}), ("PAN", {"A": "PDT3"}),
    ]  # fmt: skip
    assert [element.get("B") for element in made.data.main.elements("PGP")] == ["seed"]
    found = back(made)
    assert found.plan.model_copy(update={"name": "p"}) == plan
    assert not list(found.findings)


def test_kinds_of_products_whose_names_are_cut_stay_apart():
    kinds = [f"The seed of the oldest of our varieties {n}" for n in (1, 2)]
    products = tuple(Product(uuid=numbered(26 + n), name=f"Lot {n}", kind=kind) for n, kind in enumerate(kinds))
    made = written(Plan(uuid=numbered(1), name="p", products=products))
    assert len({product.kind for product in back(made).plan.products}) == 2
    assert [e.leaf.path for e in made.ledger.losses()] == ["products.kind"] * 2


# Lines of a job and their shifts


def test_a_group_is_allocated_once_and_its_other_lines_are_not_used_after_all():
    plan = on_a_field(line(7, "a", group="g"), line(8, "b", group="g"), line(9, "c"), used=[(9, None), (8, None)])
    made = written(plan)
    assert [element.get("A") for element in tasks(made)[0].elements("GAN")] == ["GGP2", "GGP1"]
    assert back(made).plan.jobs == plan.jobs
    # Without the attached file the groups are all that is known.
    alone = back(made, attached=False).plan.jobs[0].lines
    assert [use.line for use in alone] == [numbered(9), numbered(7), numbered(8)]


def test_when_the_task_names_other_groups_now_the_task_counts():
    made = written(on_a_field(line(7, "a", group="g"), line(8, "b", group="g"), line(9, "c"), used=[(8, None)]))
    data = through_bytes(made.data)
    allocation = next(next(data.main.elements("TSK")).elements("GAN"))
    allocation.attributes["A"] = "GGP2"
    found = read_plan(data)
    assert [use.line for use in found.plan.jobs[0].lines] == [numbered(9)]
    assert "other groups now" in said(found, "left-out-of-plan")[0]


SHIFTS = [("0.3 m", None), ("-30 cm", "2 m"), ("0 m", "-2.5 m"), ("1 m", "0 m")]


@pytest.mark.parametrize(("across", "along"), SHIFTS)
@pytest.mark.parametrize("form", ["Straight", "Heading", "Curved", "Spiral"])
def test_a_shift_that_a_job_uses_comes_back_with_its_day(form, across, along):
    moved = Shift(uuid=numbered(70), date=datetime.date(2026, 4, 1), across=across, along=along)
    plan = on_a_field(full_line(60, form, shifts=(moved, shift(71, 2))), used=[(60, 70)])
    made = written(plan)

    (found,) = back(made).plan.fields[0].lines[0].shifts

    assert (found.uuid, found.date, found.across) == (moved.uuid, moved.date, moved.across)
    assert (found.along is None) == (along is None)
    if along:
        # East and north are whole millimetres both.
        assert found.along.metres == pytest.approx(moved.along.metres, abs=0.0015)
    assert back(made).plan.jobs == plan.jobs


def test_to_the_right_is_positive_and_along_the_line_goes_to_the_north_of_a_line_to_the_north():
    a, b = Position(lon_deg=9.0, lat_deg=54.0), Position(lon_deg=9.0, lat_deg=54.1)
    moved = Shift(uuid=numbered(70), date=datetime.date(2026, 4, 1), across="0.3 m", along="2 m")
    north = line(7, "North", shifts=(moved,)).model_copy(update={"a": a, "b": b})
    (move,) = next(tasks(written(on_a_field(north, used=[(7, 70)])))[0].elements("GAN")).elements("GST")
    assert move.attributes == {"B": "GPN1", "C": "0", "D": "2000", "E": "300"}


def test_a_circle_cannot_be_moved_along_and_a_turned_one_changes_sides():
    moved = Shift(uuid=numbered(70), date=datetime.date(2026, 4, 1), across="0.3 m", along="2 m")
    pivot = PivotLine(
        uuid=numbered(60), name="r", centre=Position(lon_deg=9, lat_deg=54), radius="9 m", spacing="3 m",
        direction="anticlockwise", shifts=(moved,),
    )  # fmt: skip
    made = written(on_a_field(pivot, used=[(60, 70)]))
    losses = {e.leaf.path.removeprefix("fields.lines."): e.carried for e in made.ledger.losses()}
    assert losses == {
        "direction": Carried.APPROXIMATED,
        "shifts.across": Carried.APPROXIMATED,
        "shifts.along": Carried.NOT_CARRIED,
    }
    (found,) = back(made).plan.fields[0].lines[0].shifts
    assert (found.across, found.along) == (Length("-0.3 m"), None)


def test_a_line_without_a_direction_cannot_be_moved_along():
    path = LonLatLine([(9.0, 54.0), (9.1, 54.0), (9.0, 54.0)])
    curve = CurvedLine(uuid=numbered(60), name="Round", path=path, spacing="3 m", shifts=(shift(70, 1),))
    made = written(on_a_field(curve, used=[(60, 70)]))
    assert [e.leaf.path for e in made.ledger.losses()] == ["fields.lines.shifts.along"]


@pytest.mark.parametrize("more", [{"across": "3000 km"}, {"across": "1 m", "along": "3000 km"}])
def test_a_shift_beyond_all_measure_is_not_carried(more):
    moved = Shift(uuid=numbered(70), date=datetime.date(2026, 4, 1), **more)
    made = written(on_a_field(line(7, "Lane", shifts=(moved,)), used=[(7, 70)]))
    assert {e.carried for e in made.ledger.losses()} == {Carried.NOT_CARRIED}
    found = back(made)
    assert len(found.plan.jobs[0].lines) == 1
    assert dump_plan(found.plan)


def test_one_line_may_be_used_with_several_shifts():
    plan = on_a_field(line(7, "Lane", shifts=(shift(70, 1), shift(71, 2))), used=[(7, 70), (7, 71), (7, None), (7, 70)])
    found = back(written(plan)).plan
    assert found.jobs == plan.jobs
    assert [one.uuid for one in found.fields[0].lines[0].shifts] == [numbered(70), numbered(71)]


def test_a_shared_line_is_moved_under_each_field_and_stays_one():
    fields = (Field(uuid=numbered(4), name="x"), Field(uuid=numbered(5), name="y"))
    base = line(7, "Lane", shifts=(shift(70, 1),))
    values = {name: getattr(base, name) for name in type(base).model_fields}
    shared = SharedStraightLine(**values, fields=(numbered(4), numbered(5)))
    jobs = tuple(
        Job(uuid=numbered(90 + n), name="Sow", field=field.uuid, lines=(JobLine(line=numbered(7), shift=numbered(70)),))
        for n, field in enumerate(fields)
    )
    found = back(written(Plan(uuid=numbered(1), name="p", fields=fields, shared_lines=(shared,), jobs=jobs))).plan
    assert found.jobs == jobs
    assert (found.shared_lines[0].uuid, found.shared_lines[0].fields) == (shared.uuid, shared.fields)
    assert [one.uuid for one in found.shared_lines[0].shifts] == [numbered(70)]
    assert [field.lines for field in found.fields] == [(), ()]


def two_fields_with_a_line():
    fields = (Field(uuid=numbered(4), name="x"), Field(uuid=numbered(5), name="y"))
    base = line(7, "Lane")
    values = {name: getattr(base, name) for name in type(base).model_fields}
    shared = SharedStraightLine(**values, fields=(numbered(4), numbered(5)))
    made = written(Plan(uuid=numbered(1), name="p", fields=fields, shared_lines=(shared,)))
    return through_bytes(made.data)


def test_a_copy_that_was_changed_is_a_line_of_its_own():
    data = two_fields_with_a_line()
    second = list(data.main.elements("PFD"))[1]
    next(next(second.elements("GGP")).elements("GPN")).attributes["E"] = "2"
    found = read_plan(data)
    assert found.plan.shared_lines[0].fields == (numbered(4),)
    assert [one.propagation for one in found.plan.fields[1].lines] == ["left"]
    assert "another line now" in said(found, "left-out-of-plan")[0]


def test_a_copy_that_is_gone_is_told_and_so_is_the_first_line():
    data = two_fields_with_a_line()
    first, second = data.main.elements("PFD")
    second.children.clear()
    found = read_plan(data)
    assert found.plan.shared_lines[0].fields == (numbered(4),)
    assert "it is missing" in said(found, "left-out-of-plan")[0]

    first.children.clear()
    found = read_plan(data)
    assert found.plan.shared_lines == ()
    assert "its first field has no such line" in said(found, "left-out-of-plan")[0]


# Tasks of other makers


def test_a_task_uses_every_line_of_its_groups():
    (job,) = foreign(task('<GAN A="GGP1"/>')).plan.jobs
    assert len(job.lines) == 3


def test_shifts_of_a_group_move_each_of_its_lines_and_those_of_a_pattern_only_that():
    moves = '<GST A="GGP1" E="250"/><GST B="GPN2" E="-100"/>'
    found = foreign(task(f'<TIM A="2026-04-01T00:00:00" D="1"/><GAN A="GGP1">{moves}</GAN>'))
    assert [[str(one.across) for one in held.shifts] for held in found.plan.fields[0].lines] == [["0.25 m"]] * 3
    assert notes(found) == {"GST (further shift of one line), 1"}


@pytest.mark.parametrize(
    ("pattern", "move", "across", "along"),
    [
        ("GPN1", 'C="300" D="0"', 0.3, 0.0),
        ("GPN1", 'C="0" D="300"', 0.0, 0.3),
        ("GPN2", 'C="300" D="0"', 0.0, 0.3),
        ("GPN2", 'D="300"', -0.3, 0.0),
        ("GPN2", 'D="300" E="1000"', 0.7, 0.0),
        ("GPN1", 'C="1" D="2000"', 0.0, 2.0),  # a millimetre of rounding is no move
    ],
)
def test_east_and_north_are_taken_along_the_line_and_across_it(pattern, move, across, along):
    found = foreign(task(f'<TIM A="2026-04-01T00:00:00" D="1"/><GAN A="GGP1"><GST B="{pattern}" {move}/></GAN>'))
    lines = found.plan.fields[0].lines[("GPN1", "GPN2").index(pattern)]
    (moved,) = lines.shifts
    assert (moved.across.metres, moved.along.metres) == pytest.approx((across, along), abs=1e-9)


def test_a_shift_without_a_day_or_without_a_distance_is_left_out():
    found = foreign(task('<GAN A="GGP1"><GST B="GPN1" E="5"/><GST B="GPN2"/><GST B="GPN3" C="7"/></GAN>'))
    assert [use.shift for use in found.plan.jobs[0].lines] == [None] * 3
    assert [m.split(": ")[1] for m in said(found, "left-out-of-plan")] == [
        "it has no date, and a shift of the plan has one.", "it says no distance that can be read.",
        "it says no distance that can be read.",
    ]  # fmt: skip
    assert notes(found) == {"GST@C (GuidanceEastShift), 1"}


def test_a_shift_has_the_day_of_its_own_stamp():
    stamp = '<ASP A="2026-03-05T10:00:00" D="1"/><ASP A="2026-03-06" D="1"/>'
    found = foreign(task(f'<GAN A="GGP1"><GST B="GPN1" E="5">{stamp}</GST></GAN>'))
    assert found.plan.fields[0].lines[0].shifts[0].date == datetime.date(2026, 3, 5)
    assert notes(found) == {"ASP (AllocationStamp), 1", "ASP@A (time of day), 1"}


def test_the_days_come_from_the_planned_time_or_else_from_the_first_stamp():
    time, stamp = (
        '<TIM A="2026-04-01" B="2026-04-02" D="1"/>',
        '<GAN A="GGP1"><ASP A="2026-05-01T00:00:00" D="1"/></GAN>',
    )
    other = '<GAN A="GGP1"><ASP A="2026-05-02T00:00:00" D="1"/><ASP A="2026-05-02T00:00:00" D="4"/></GAN>'
    both = foreign(task(time + stamp))
    assert (both.plan.jobs[0].start, both.plan.jobs[0].end) == (datetime.date(2026, 4, 1), datetime.date(2026, 4, 2))
    assert notes(both) == {"ASP (AllocationStamp), 1"}
    only = foreign(task(stamp + other))
    assert only.plan.jobs[0].start == datetime.date(2026, 5, 1)
    assert notes(only) == {"ASP (AllocationStamp), 2"}


def test_days_that_are_none_are_left_out_and_times_of_day_are_told():
    found = foreign(task('<TIM A="soon" B="2026-04-02T17:00:00Z" D="1"/>'))
    assert (found.plan.jobs[0].start, found.plan.jobs[0].end) == (None, datetime.date(2026, 4, 2))
    assert said(found, "left-out-of-plan") == ["TIM@A is left out of the plan: 'soon' is no date."]
    assert notes(found) == {"TIM@B (time of day), 1"}
    assert foreign(task('<TIM A="2026-02-30" D="1"/>')).plan.jobs[0].start is None
    backwards = foreign(task('<TIM A="2026-04-02" B="2026-04-01" D="1"/>'))
    assert backwards.plan.jobs[0].end is None
    assert len(said(backwards, "left-out-of-plan")) == 1


def test_what_a_task_has_beyond_a_job_is_named():
    before = (
        '<WKR A="WKR1" B="Reed" D="Lane"/><WKR A="WKR2" B="Moss"/><CTR A="CTR2" B="Other"/>'
        '<CPC A="CPC1" B="Sowing"><OTR A="OTQ1"/></CPC><OTQ A="OTQ1" B="Direct"/>'
        '<PGP A="PGP1" B="seed"/><PGP A="PGP2" B="barley" C="2"/><PDT A="PDT1" B="Lot" C="PGP1" F="1"/>'
        '<CTP A="CTP1" B="Barley" C="PGP2"><CVT A="CVT1" B="Early" C="PDT1"/></CTP>'
    )
    inner = (
        '<TIM A="2026-04-01T00:00:00" D="4"/><OTP A="CPC1" B="OTQ1"/><WAN A="WKR2"/><WAN A="WKR1"/>'
        '<PAN A="PDT1" C="100"/><PAN A="PDT1"/><TZN A="1"/><GAN A="GGP1"><P1_x/></GAN>'
    )
    found = foreign(task(inner, ' C="CTR2" D="FRM1" F="WKR1" G="3" H="1"'), before=before)
    (job,) = found.plan.jobs
    names = {one.uuid: one.name for one in (*found.plan.workers, *found.plan.operations, *found.plan.products)}
    assert [names[uuid] for uuid in (job.worker, job.operation, job.product)] == ["Reed", "Sowing", "Lot"]
    assert found.plan.products[0].kind == "seed"
    assert notes(found) == {
        f"{what}, 1"
        for what in (
            "WKR@D (WorkerStreet)", "OTR (OperationTechniqueReference)", "OTQ (OperationTechnique)",
            "PGP@C (ProductGroupType)", "PGP (ProductGroup without a product)", "PDT@F (ProductType)",
            "CTP@C (ProductGroupIdRef)", "CVT@C (ProductIdRef)", "TIM (Time)", "OTP@B (OperationTechniqueIdRef)",
            "PAN@C (QuantityValue)", "PAN (ProductAllocation)", "TZN (TreatmentZone)",
            "P1_x (no element of the standard)",
            "TSK@C (CustomerIdRef)", "TSK@G (TaskStatus)", "TSK@H (DefaultTreatmentZoneCode)",
        )
    } | {"WAN (WorkerAllocation), 2"}  # fmt: skip


def test_a_worker_who_is_only_allocated_is_the_worker():
    found = foreign(task('<WAN A="WKR2"/>'), before='<WKR A="WKR1" B="Reed"/><WKR A="WKR2" B="Moss"/>')
    assert found.plan.jobs[0].worker == found.plan.workers[1].uuid


def test_templates_and_tasks_without_a_field_are_no_jobs():
    found = foreign(task("", ' G="5"') + '<TSK A="TSK2" G="1"/><TSK A="TSK3" G="1" E="PFD9"/>')
    assert found.plan.jobs == ()
    assert notes(found) == {"TSK (template), 1", "TSK (task without a field), 2"}
    assert said(found, "left-out-of-plan") == ["The reference TSK@E is left out of the plan: the set holds no PFD9."]


def test_references_to_nothing_are_left_out_and_the_job_stays():
    inner = '<GAN/><GAN A="GGP9"/><OTP A="CPC9"/><PAN A="PDT9"/><GAN A="GGP1"><GST B="GPN9" E="1"/></GAN>'
    found = foreign(task(inner, ' F="WKR9" G="1"'))
    assert len(found.plan.jobs) == 1
    assert {m.split(" is left")[0].removeprefix("The reference ") for m in said(found, "left-out-of-plan")} == {
        "GAN@A", "OTP@A", "PAN@A", "TSK@F", "GST@B",
    }  # fmt: skip


def test_a_variety_of_another_crop_is_left_out():
    crops = '<CTP A="CTP1" B="Barley"/><CTP A="CTP2" B="Oats"><CVT A="CVT1" B="Early"/></CTP>'
    inner = crops + '<PFD A="PFD1" C="x" D="1" G="CTP1" H="CVT1"/>'
    found = read_plan(parsed(task_file(inner)))
    assert (found.plan.fields[0].crop, found.plan.fields[0].variety) == (found.plan.crops[0].uuid, None)
    assert len(said(found, "left-out-of-plan")) == 1
    assert dump_plan(found.plan)


def test_a_group_of_another_field_is_none_of_the_job():
    other = '<PFD A="PFD2" C="y" D="1"/><TSK A="TSK1" B="Sow" E="PFD2" G="1"><GAN A="GGP1"/></TSK>'
    found = foreign(other)
    assert found.plan.jobs[0].lines == ()
    assert len(said(found, "left-out-of-plan")) == 3


def test_a_shift_with_the_uuid_of_another_object_is_left_out():
    made = written(on_a_field(line(7, "Lane", shifts=(shift(70, 1),)), used=[(7, 70)]))
    data = through_bytes(made.data)
    data.companions["HEADLAND.XML"] = made.data.companions["HEADLAND.XML"].replace(
        str(numbered(70)).encode(), str(numbered(4)).encode()
    )
    found = read_plan(data)
    assert found.plan.fields[0].lines[0].shifts == ()
    assert "its UUID belongs to another object" in " ".join(said(found, "left-out-of-plan"))
    assert dump_plan(found.plan)
