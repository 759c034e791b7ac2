import pytest
from hypothesis import given, settings
from plans import another, can_stand_alone, numbered, plans, small_plan

from taskkit.plan.leaves import Leaf, changed, leaf_paths, leaves
from taskkit.plan.members import members
from taskkit.plan.model import CurvedLine, Plan, PlanValue
from taskkit.plan.quantities import Length
from taskkit.plan.scalars import Listed


def find(plan, path, ordinal=(), owner=None):
    return next(
        leaf for leaf in leaves(plan) if (leaf.path, leaf.ordinal) == (path, ordinal) and owner in (None, leaf.owner)
    )


def test_a_leaf_says_where_it_is_and_whose():
    plan = small_plan()
    assert find(plan, "fields.lines.spacing") == Leaf(
        "fields.lines.spacing",
        numbered(7),
        "Along the lane",
        "field Long Acre, line Along the lane: spacing",
        (),
        Length("3 m"),
    )
    assert find(plan, "fields.lines.a.lon_deg").label == "field Long Acre, line Along the lane, A: longitude"
    assert find(plan, "fields.headland.depth").label == "field Long Acre, headland: depth"
    assert find(plan, "fields.headland.depth").owner == numbered(4)
    assert find(plan, "steering_frame").label == "plan: steering frame"
    assert find(plan, "row_end_plans.leaving.speed", (1,)).label == "row-end plan Drill, leaving, step 2: speed"
    assert find(plan, "fields.boundaries.parts").owner_name == "worked boundary 2026"


def test_absent_values_are_leaves_too():
    plan = small_plan()
    assert find(plan, "fields.code", owner=numbered(9)).value is None
    assert find(plan, "fields.headland.depth", owner=numbered(9)).value is None
    assert find(plan, "row_end_plans.leaving.speed", (0,)).value is None


def test_every_member_of_the_model_that_holds_no_object_is_a_leaf_of_a_full_plan():
    assert {leaf.path for leaf in leaves(small_plan())} == set(leaf_paths())
    assert len(leaf_paths()) == len(set(leaf_paths()))
    assert {"uuid", "fields.boundaries.parts", "row_end_plans.entering.text", "fields.lines.b.lat_deg"} < set(
        leaf_paths()
    )


def test_a_new_member_of_the_model_appears_by_itself():
    class Shed(PlanValue):
        word = "shed"
        height: Length
        doors: int | None = None

    class Wider(Plan):
        shed: Shed | None = None
        sheds: Listed[Shed] = ()

    plan = Wider(uuid=numbered(1), name="x", sheds=(Shed(height="3 m"),))
    found = {leaf.path: leaf for leaf in leaves(plan)}
    assert found["shed.height"].value is None
    assert found["sheds.height"].label == "sheds, shed 1: height"
    assert set(leaf_paths(Wider)) - set(leaf_paths()) == {"shed.height", "shed.doors", "sheds.height", "sheds.doors"}
    assert changed(plan, found["sheds.height"], "4 m").sheds[0].height == Length("4 m")


@given(plans())
@settings(max_examples=30, deadline=None)
def test_leaves_are_told_apart_by_path_owner_and_ordinal(plan):
    found = [(leaf.path, leaf.owner, leaf.ordinal) for leaf in leaves(plan)]
    assert len(found) == len(set(found))


def test_changing_a_leaf_changes_that_leaf_and_no_other_and_it_can_be_brought_back():
    plan = small_plan()
    tried = set()
    before = {(x.path, x.owner, x.ordinal): x.value for x in leaves(plan)}
    for leaf in leaves(plan):
        if not can_stand_alone(leaf):
            continue
        tried.add(leaf.path)
        new_value = another(leaf)
        if leaf.path.endswith("lines.kind"):
            new_value = "spiral" if leaf.value == "curve" else "curve"
        new = changed(plan, leaf, new_value)
        after = {(x.path, x.owner, x.ordinal): x.value for x in leaves(new)}
        if leaf.path.endswith("uuid"):
            assert leaf.owner not in {x.owner for x in leaves(new)}
            there = next(x for x in leaves(new) if x.path == leaf.path and x.owner == new_value)
            assert changed(new, there, leaf.value) == plan
            continue
        assert before.keys() == after.keys()
        assert {k for k in before if before[k] != after[k]} == {(leaf.path, leaf.owner, leaf.ordinal)}
        there = next(x for x in leaves(new) if (x.path, x.owner, x.ordinal) == (leaf.path, leaf.owner, leaf.ordinal))
        assert changed(new, there, leaf.value) == plan
    assert set(leaf_paths()) - tried == {
        *("row_end_plans.leaving.action", "row_end_plans.entering.action"),
        *("row_end_plans.leaving.text", "row_end_plans.leaving.valve", "row_end_plans.entering.speed"),
        "fields.sides.start.point",
        *("fields.sides.end.lon_deg", "fields.sides.end.lat_deg"),
    }


def test_a_line_becomes_another_kind_where_it_has_what_that_needs():
    plan = small_plan()
    kind = next(leaf for leaf in leaves(plan) if leaf.path == "fields.lines.kind" and leaf.value == "spiral")
    line = changed(plan, kind, "curve").fields[0].lines[4]
    assert isinstance(line, CurvedLine)
    assert (line.uuid, line.shifts) == (plan.fields[0].lines[4].uuid, plan.fields[0].lines[4].shifts)
    with pytest.raises(ValueError, match="radius"):
        changed(plan, kind, "pivot")
    with pytest.raises(ValueError, match="'circle' is no kind of line; 'straight' or 'A \\+ heading'"):
        changed(plan, kind, "circle")


@given(plans())
@settings(max_examples=30, deadline=None)
def test_replacing_a_leaf_by_its_own_value_gives_the_same_plan(plan):
    for leaf in leaves(plan):
        assert changed(plan, leaf, leaf.value) == plan


def test_references_follow_a_changed_uuid():
    plan = small_plan()
    new = changed(plan, find(plan, "customers.uuid"), numbered(500))
    assert new.customers[0].uuid == new.farms[0].customer == new.fields[0].customer == numbered(500)
    assert changed(new, find(new, "customers.uuid"), numbered(2)) == plan


def test_an_absent_object_is_made_and_taken_away_through_its_required_leaf():
    plan = small_plan()
    with_headland = changed(plan, find(plan, "fields.headland.depth", owner=numbered(9)), "5 m")
    assert with_headland.fields[1].headland.depth == Length("5 m")
    leaf = find(with_headland, "fields.headland.depth", owner=numbered(9))
    assert changed(with_headland, leaf, None) == plan


@pytest.mark.parametrize(
    ("path", "owner", "ordinal"),
    [
        ("fields.name", 77, ()),
        ("fields.nonsense", 4, ()),
        ("fields.headland", 4, ()),
        ("fields.headland.nonsense", 4, ()),
        ("fields.name.inner", 4, ()),
        ("nonsense.name", 4, ()),
        ("row_end_plans.leaving.at", 8, ()),
        ("row_end_plans.leaving.at", 8, (9,)),
    ],
)
def test_a_leaf_that_the_plan_has_not_cannot_be_changed(path, owner, ordinal):
    with pytest.raises(LookupError, match="no such leaf: here"):
        changed(small_plan(), Leaf(path, numbered(owner), "", "here", ordinal, None), "x")


def test_what_the_model_refuses_cannot_be_put_in():
    plan = small_plan()
    with pytest.raises(ValueError, match="has no unit"):
        changed(plan, find(plan, "fields.lines.spacing"), "3")


def test_members_know_their_key_in_the_file():
    keys = {m.name: m.key for m in members(Plan)} | {
        m.name: m.key for m in members(type(small_plan().fields[0].boundaries[0]))
    }
    assert keys["parts"] == "area"
    assert keys["fields"] == "fields"
