import pytest
from mapped import line, numbered, rich_plan, row_end, through_bytes, written

from taskkit.errors import RefusedError
from taskkit.geometry.geodesy import distance_m
from taskkit.mapping import Carried, Rounding, read_plan, stays_in_the_office
from taskkit.plan.model import Field, Headland, Plan
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


def test_what_the_driver_will_miss_is_said_in_words():
    drill = "turn crossing loop, side left, skip 2, 12 steps leaving the row, 3 steps entering the row"
    advice = "attached as HEADLAND.XML, which a terminal may drop: key them in"
    assert written(rich_plan()).ledger.missed_by_driver() == (
        f"row-end plan 'Drill': {drill}; {advice}",
        f"row-end plan 'Bare'; {advice}",
        f"headland and row end of 'Long Acre' (headland 12 m, row-end plan 'Drill'); {advice}",
    )


def test_the_driver_is_told_at_most_ten_lines():
    many = tuple(row_end(100 + n, f"Plan {n}") for n in range(20))
    fields = tuple(
        Field(uuid=numbered(200 + n), name=f"Field {n}", headland=Headland(depth=Length("12 m"))) for n in range(5)
    )
    plan = Plan(uuid=numbered(1), name="x", fields=fields)
    (only,) = written(plan).ledger.missed_by_driver()
    assert only.startswith("headland and row end of 'Field 0' (headland 12 m), 'Field 1' (headland 12 m), ")
    assert "and 2 more fields;" in only

    said = written(plan.model_copy(update={"row_end_plans": many})).ledger.missed_by_driver()
    assert len(said) == 10
    assert said[-1] == "and 12 more"


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
        f"field y, line z: spacing: {spacing} is beyond what the standard can hold",
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
