import pytest
from mapped import line, numbered, rich_plan, row_end, through_bytes, with_given_depths, written

from taskkit.errors import RefusedError
from taskkit.geometry.geodesy import distance_m
from taskkit.mapping import Carried, Rounding, ledger_class, read_plan, stays_in_the_office, write_plan
from taskkit.plan.identity import Identity
from taskkit.plan.leaves import leaf_paths
from taskkit.plan.model import BoundaryChoice, Field, Headland, Plan, Purpose
from taskkit.plan.quantities import Length


def test_counts_has_every_class_and_counts_every_leaf_with_a_value():
    ledger = written(rich_plan()).ledger
    assert list(ledger.counts()) == list(Carried)
    assert sum(ledger.counts().values()) == len(ledger.entries)
    assert ledger.counts()[Carried.APPROXIMATED] == 1
    assert all(entry.leaf.value is not None for entry in ledger.entries)


def test_keys_are_single_lines_and_no_two_are_alike():
    keys = [entry.key for entry in written(rich_plan()).ledger.entries]
    assert len(set(keys)) == len(keys)
    assert not any("\n" in key for key in keys)


ADVICE = "All this is attached as HEADLAND.XML, which a terminal may drop: key it in"


def test_what_the_driver_will_miss_is_said_in_words():
    steps = "13 steps leaving the row"
    depths = "12 m (0 m along 'Lane', 2 passes round 'Ponds', auto round hole 1)"
    tramline = "every 8 passes, pass 4 among them, along"
    assert written(rich_plan()).ledger.missed_by_driver() == (
        f"headland: 'Long Acre' {depths}; job 'Sow Long Acre' {depths}",
        (
            f"row ends: 'Drill' (crossing loop to the left, skip 2, {steps}, 4 steps entering it, 8 km/h on the pass, "
            "4 mph in the turn); 'Bare'"
        ),
        "row end to follow: 'Drill' on 'Long Acre'; 'Drill' on 'Long Acre' with 'Drill set'",
        (
            "job 'Sow Long Acre': with 'Drill set', row end 'Drill', headland after the main field, "
            "worked boundary 2026; job 'Roll it': with 'Roller set'"
        ),
        "side 'Lane' of 'Long Acre' (road): no turning, at most 1 m beyond it",
        "keep away: 2 m from 'Gate' on 'Long Acre'",
        f"tramlines: {tramline} 'Straight'; {tramline} 'Heading'; {tramline} 'Curved'; and 7 more",
        "machine measures: 'Drill set'; 'Roller set'",
        ADVICE,
    )


def test_the_driver_is_told_at_most_ten_lines():
    many = tuple(row_end(100 + n, f"Plan {n}") for n in range(20))
    fields = tuple(
        Field(
            uuid=numbered(200 + n),
            name=f"Field {n}",
            headland=Headland(depth=Length("12 m")),
            lines=(line(300 + n, "z", spacing="-5 m"),),
        )
        for n in range(5)
    )
    plan = rich_plan()
    plan = plan.model_copy(update={"fields": (*plan.fields, *fields), "row_end_plans": (*plan.row_end_plans, *many)})

    said = written(plan).ledger.missed_by_driver()
    assert len(said) == 10
    assert said[0].startswith("headland: 'Long Acre' 12 m ")
    assert said[0].endswith("; 'Field 0' 12 m; 'Field 1' 12 m; and 4 more")
    assert said[1].endswith("; and 19 more")
    assert said[8] == ADVICE
    assert said[9].startswith("not in the set: field Field 0, line z: spacing (-5 m is beyond ")
    assert said[9].endswith("; and 2 more")


def test_a_plan_with_nothing_beside_the_set_leaves_the_driver_alone():
    field = Field(uuid=numbered(2), name="y", lines=(line(3, "z"),))
    assert written(Plan(uuid=numbered(1), name="x", fields=(field,))).ledger.missed_by_driver() == ()


@pytest.mark.parametrize("spacing", ["-5 m", "5000 km", "999999999999 mi"])
def test_a_spacing_that_the_standard_cannot_hold_is_not_carried(spacing):
    plan = Plan(
        uuid=numbered(1), name="x", fields=(Field(uuid=numbered(2), name="y", lines=(line(3, "z", spacing=spacing),)),)
    )
    made = written(plan)
    (loss,) = made.ledger.losses()
    assert (loss.leaf.path, loss.carried) == ("fields.lines.spacing", Carried.NOT_CARRIED)
    assert made.ledger.explains("fields.lines.spacing", numbered(3))
    assert made.ledger.missed_by_driver() == (
        f"not in the set: field y, line z: spacing ({spacing} is beyond what the standard can hold)",
    )
    assert read_plan(through_bytes(made.data)).plan.fields[0].lines[0].spacing == Length("0 m")


def test_rounding_within_the_resolution_is_native_and_its_largest_is_stated():
    plan = rich_plan()
    made = written(plan)
    largest = {r.quantity: r for r in made.ledger.roundings}
    assert largest["spacing"] == Rounding("spacing", 0.4, "mm")
    assert largest["areas"].unit == "m2"
    assert 0 < largest["areas"].largest <= 0.5
    before, after = plan.fields[0].lines[0].a, read_plan(through_bytes(made.data)).plan.fields[0].lines[0].a
    moved_mm = 1000 * distance_m((before.lon_deg, before.lat_deg), end=(after.lon_deg, after.lat_deg))
    # Half a unit of the ninth decimal along the meridian: 0.056 mm (quarter meridian 10 002 km / 90 degrees).
    assert 0.05 < moved_mm <= largest["coordinates"].largest <= moved_mm * 1.01


def test_a_boundary_that_is_not_chosen_is_kept_as_a_whole():
    ledger = written(rich_plan()).ledger
    assert ledger.explains("fields.boundaries", numbered(6))
    assert ledger.explains("fields.boundaries.parts", numbered(6))
    assert not ledger.explains("fields.boundaries", numbered(5))
    assert not ledger.explains("fields.boundaries.parts", numbered(5))
    assert ledger.explains("fields.boundaries.season", numbered(5))
    assert not ledger.explains("fields.boundaries", numbered(77))


def test_one_uuid_for_two_objects_is_refused():
    plan = rich_plan()
    twin = plan.customers[1].model_copy(update={"uuid": numbered(3)})
    with pytest.raises(RefusedError, match=r"customer Müller.*and farm Home Farm"):
        written(plan.model_copy(update={"customers": (twin,)}))


def test_what_stays_in_the_office_is_told_for_any_plans_without_writing_them():
    plan = rich_plan()
    back = read_plan(through_bytes(written(plan).data)).plan
    stays = stays_in_the_office(back, plan)
    assert stays("fields.boundaries", numbered(6))  # not chosen
    assert not stays("fields.boundaries", numbered(5))
    assert stays("fields.declared_area", numbered(9))  # kept, though there is none
    assert not stays("fields.name", numbered(9))  # a cut name is a difference
    assert not stays("fields.headland.depth", numbered(4))


def test_an_outline_that_went_out_because_it_was_asked_for_is_compared():
    plan = rich_plan()
    data = write_plan(with_given_depths(plan), Identity(), boundary=BoundaryChoice(purpose=Purpose.OFFICIAL)).data
    back = read_plan(through_bytes(data)).plan
    (outline,) = back.fields[0].boundaries
    assert any(one.uuid == outline.uuid and one is not plan.fields[0].boundary() for one in plan.fields[0].boundaries)
    stays = stays_in_the_office(plan, back)
    assert not stays("fields.boundaries.parts", outline.uuid)
    assert stays("fields.boundaries.purpose", outline.uuid)


def test_the_outline_that_was_asked_for_is_the_one_that_is_native():
    plan = rich_plan()
    ledger = write_plan(with_given_depths(plan), Identity(), boundary=BoundaryChoice(purpose=Purpose.OFFICIAL)).ledger
    parts = {e.leaf.owner: e.carried for e in ledger.entries if e.leaf.path == "fields.boundaries.parts"}
    assert parts == {numbered(6): Carried.NATIVE, numbered(5): Carried.KEPT}


def test_every_leaf_of_the_model_has_a_class_and_nothing_else_has():
    assert {ledger_class(path) for path in leaf_paths(Plan)} == {Carried.NATIVE, Carried.ATTACHED, Carried.KEPT}
    with pytest.raises(LookupError):
        ledger_class("fields.nonsense")
    with pytest.raises(LookupError):
        ledger_class("fields")


def test_a_line_that_is_shared_by_no_field_stays_in_the_office():
    plan = rich_plan()
    lone = plan.shared_lines[0].model_copy(update={"fields": (), "shifts": ()})
    made = written(plan.model_copy(update={"shared_lines": (lone,), "jobs": ()}))
    assert {e.carried for e in made.ledger.entries if e.leaf.owner == lone.uuid} == {Carried.KEPT}
    assert made.ledger.explains("shared_lines", lone.uuid)
