import datetime
import difflib
import os
import uuid as uuids

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plans import LARKMOOR, another, can_stand_alone, numbered, plans, small_plan

from taskkit.errors import InputError, RefusedError
from taskkit.plan.dumping import text_of
from taskkit.plan.files import dump_plan, load_plan, rewrite, save_changes
from taskkit.plan.leaves import changed, leaves
from taskkit.plan.loading import plan_from
from taskkit.plan.members import members
from taskkit.plan.model import Customer, Field, Headland, IslandHeadland, Step
from taskkit.plan.quantities import Length, Speed
from taskkit.plan.yaml_text import Text

LONG = 20 if os.environ.get("TASKKIT_LONG") else 1


def loaded(text):
    return plan_from(Text(text))


def leaf_of(plan, path, ordinal=()):
    return next(leaf for leaf in leaves(plan) if (leaf.path, leaf.ordinal) == (path, ordinal))


def edited(text, path, value, ordinal=()):
    """The text after one leaf was changed."""
    plan = loaded(text)
    return rewrite(text, plan, changed(plan, leaf_of(plan, path, ordinal), value))


def changed_lines(old, new):
    """Lines that went and lines that came."""
    one, other = old.splitlines(), new.splitlines()
    gone, came = [], []
    for kind, start, end, begin, last in difflib.SequenceMatcher(None, one, other, autojunk=False).get_opcodes():
        if kind != "equal":
            gone += one[start:end]
            came += other[begin:last]
    return gone, came


def test_nothing_changed_is_no_byte_changed():
    plan = loaded(LARKMOOR)
    assert rewrite(LARKMOOR, plan, plan) == LARKMOOR
    old = LARKMOOR.replace("format: 2", "format: 1")
    assert rewrite(old, loaded(old), plan) == old


def test_a_value_is_replaced_in_its_style_and_nothing_else():
    text = LARKMOOR.replace("city: Thornby", "city: 'Thornby'  # a town")
    assert edited(text, "customers.city", "No") == text.replace("'Thornby'", "'No'")
    assert edited(LARKMOOR, "fields.code", "008") == LARKMOOR.replace("code: 007 ", 'code: "008" ')
    assert edited(LARKMOOR, "row_end_plans.leaving.at", "-1,5 m", (0,)) == LARKMOOR.replace("-5 ft", '"-1,5 m"')
    moved = "POLYGON ((9.5 54, 9.503 54, 9.503 54.001, 9.5 54))"
    assert f"\n        area: {moved}\n" in edited(LARKMOOR, "fields.boundaries.parts", moved)


def test_keys_come_and_go_with_their_lines():
    with_crs = edited(LARKMOOR, "steering_crs", "EPSG:4258")
    assert changed_lines(LARKMOOR, with_crs) == ([], ['steering_crs: "EPSG:4258"'])
    assert with_crs.index("steering_crs") > with_crs.index("steering_frame")
    assert edited(with_crs, "steering_crs", None) == LARKMOOR
    skipped = edited(LARKMOOR, "row_end_plans.skip", None)
    assert changed_lines(LARKMOOR, skipped) == (["    skip: 1"], [])
    assert edited(skipped, "row_end_plans.skip", 1) == LARKMOOR
    assert "{depth: 12 m}" not in edited(LARKMOOR, "fields.headland.depth", None)


def test_keys_in_brackets_come_and_go_without_the_others():
    text = LARKMOOR.replace("{name: Along", "{passes_left: 4, name: Along")
    out = edited(text, "fields.lines.passes_left", None)
    assert out == LARKMOOR
    group = edited(LARKMOOR, "fields.lines.group", "A, b")
    assert ', spacing: 3 m, group: "A, b"}' in group
    assert edited(group, "fields.lines.group", None) == LARKMOOR


def test_an_object_without_a_line_for_its_uuid_keeps_it_under_another_name():
    plan = loaded(LARKMOOR)
    field = plan.fields[0]
    out = edited(LARKMOOR, "fields.name", "Short Acre")
    again = loaded(out)
    assert again.fields[0].uuid == field.uuid
    assert again.fields[0].lines[0].uuid == field.lines[0].uuid
    assert again.fields[0].boundaries[0].uuid == field.boundaries[0].uuid
    gone, came = changed_lines(LARKMOOR, out)
    assert len(gone) == 3
    assert f"  - uuid: {field.uuid}" in came
    assert f"{{uuid: {field.lines[0].uuid}, name: Along" in out


def test_words_for_a_renamed_object_follow():
    out = edited(LARKMOOR, "customers.name", "Larkmoor Trust")
    assert out.count("customer: Larkmoor Trust") == 2
    assert "Larkmoor Estate" not in out


def test_a_word_that_would_mean_two_gives_way_to_the_uuid():
    plan = loaded(LARKMOOR)
    twin = Customer(uuid=numbered(77), name="Larkmoor Estate")
    out = rewrite(LARKMOOR, plan, plan.model_copy(update={"customers": (*plan.customers, twin)}))
    assert out.count(f"customer: {plan.customers[0].uuid}") == 2
    assert loaded(out).customers[1] == twin


def test_items_come_and_go_and_comments_stay():
    text = LARKMOOR.replace("fields:\n", "fields:\n  # the best one\n")
    plan = loaded(text)
    more = Field(uuid=numbered(5), name="Pond Close", headland=Headland(depth="2 passes"))
    out = rewrite(text, plan, plan.model_copy(update={"fields": (more, *plan.fields)}))
    assert f"fields:\n  # the best one\n  - uuid: {numbered(5)}\n    name: Pond Close\n    headland:" in out
    after = rewrite(text, plan, plan.model_copy(update={"fields": (*plan.fields, more)}))
    assert after == text + f"  - uuid: {numbered(5)}\n    name: Pond Close\n    headland: {{depth: 2 passes}}\n"
    both = loaded(after)
    assert rewrite(after, both, plan) == text
    none = rewrite(text, plan, plan.model_copy(update={"fields": ()}))
    assert "fields" not in none
    assert none.startswith(text[: text.index("fields:")])


def test_a_step_goes_from_the_middle_and_another_changes():
    plan = loaded(LARKMOOR)
    row_end = plan.row_end_plans[0]
    note = row_end.entering[0].model_copy(update={"text": "Slow"})
    new = row_end.model_copy(update={"leaving": row_end.leaving[1:], "entering": (note, row_end.leaving[0])})
    out = rewrite(LARKMOOR, plan, plan.model_copy(update={"row_end_plans": (new,)}))
    gone, came = changed_lines(LARKMOOR, out)
    drive = "      - {action: front-wheel drive off, at: -5 ft, reference: rear axle}"
    assert gone == [drive, '      - {action: note, at: 2 m, reference: tool, text: "Look back: is seed running?"}']
    assert came == ['      - {action: note, at: 2 m, reference: tool, text: "Slow"}', drive]


def test_a_list_in_brackets_loses_and_gets_items():
    text = f"format: 2\nuuid: {numbered(1)}\nname: x\ncustomers: [{{name: A}}, {{name: B}}, {{name: C}}] # all\n"
    plan = loaded(text)
    a, b, c = plan.customers
    d = Customer(uuid=numbered(9), name="D, E")
    for keep, shown in [
        ((b,), "[{name: B}]"),
        ((a, c), "[{name: A}, {name: C}]"),
        ((d, a), f'[{{uuid: {d.uuid}, name: "D, E"}}, {{name: A}}]'),
        ((c, d), f'[{{name: C}}, {{uuid: {d.uuid}, name: "D, E"}}]'),
    ]:
        out = rewrite(text, plan, plan.model_copy(update={"customers": keep}))
        assert out == text.replace("[{name: A}, {name: B}, {name: C}]", shown)


def test_a_key_written_without_a_value_gets_one_and_a_list_its_items():
    text = f"format: 2\nuuid: {numbered(1)}\nname: x\nsteering_crs: ~\ncustomers: # none yet\n"
    plan = loaded(text)
    new = plan.model_copy(update={"steering_crs": "a", "customers": (Customer(uuid=numbered(9), name="D"),)})
    out = rewrite(text, plan, new)
    assert loaded(out) == new
    assert "# none yet" in out


def test_an_older_form_is_brought_up_where_anything_changes():
    old = LARKMOOR.replace("format: 2", "format: 1")
    assert edited(old, "name", "x").startswith("# The spring drilling\nformat: 2\n")
    unsaid = LARKMOOR.replace("format: 2\n", "")
    assert edited(unsaid, "name", "x").startswith(f"# The spring drilling\nformat: 2\nuuid: {loaded(LARKMOOR).uuid}\n")


def test_line_ends_and_a_byte_order_mark_stay():
    text = "\ufeff" + LARKMOOR.replace("\n", "\r\n")
    plan = loaded(LARKMOOR)
    more = plan.model_copy(update={"fields": (*plan.fields, Field(uuid=numbered(5), name="Pond Close"))})
    out = rewrite(text, plan, changed(more, leaf_of(more, "steering_crs"), "x"))
    assert out.startswith(text[: text.index("customers")].replace("ETRS89\r\n", "ETRS89\r\nsteering_crs: x\r\n"))
    assert "\n" not in out.replace("\r\n", "")


def test_a_line_turned_into_another_kind_is_written_in_its_place():
    plan = small_plan()
    text = dump_plan(plan)
    kind = next(leaf for leaf in leaves(plan) if leaf.path == "fields.lines.kind" and leaf.value == "spiral")
    out = rewrite(text, plan, changed(plan, kind, "curve"))
    assert changed_lines(text, out) == (["        kind: spiral"], ["        kind: curve"])


def test_every_leaf_of_a_full_plan_is_changed_in_its_place_and_brought_back():
    plan = small_plan()
    text = dump_plan(plan)
    for number, leaf in enumerate(leaves(plan)):
        if not can_stand_alone(leaf) or leaf.path.endswith("kind") or (number % 16 and LONG == 1):
            continue
        value = another(leaf)
        if isinstance(value, uuids.UUID) and not leaf.path.endswith("uuid"):
            if leaf.value is None or leaf.path.endswith((".crop", "side", ".line", "jobs.field", "row_ends.machine")):
                continue  # what would mean nothing
            if leaf.path.endswith(("point", "feature", "row_ends.row_end")):
                continue
            value = None
        new = changed(plan, leaf, value)
        out = rewrite(text, plan, new)
        assert text_of(loaded(out)) == text_of(new)
        gone, came = changed_lines(text, out)
        one_value = not leaf.path.endswith(("uuid", ".name"))
        assert max(len(gone), len(came)) <= (2 if one_value else 20), leaf.label
        assert rewrite(out, new, plan) == text, leaf.label


@given(st.data())
@settings(max_examples=40 * LONG, deadline=None)
def test_any_plan_is_turned_into_one_with_other_values_and_items(data):
    plan = data.draw(plans())
    text = dump_plan(plan)
    new = plan
    for leaf in data.draw(st.lists(st.sampled_from(list(leaves(plan))), max_size=4)):
        if leaf.path.endswith(("uuid", "name", "kind")) or not can_stand_alone(leaf) or leaf.value is None:
            continue
        try:
            new = changed(new, leaf, another(leaf)) if leaf.path.endswith(("spacing", "depth", "at")) else new
            new = changed(new, leaf, None) if leaf.path.endswith((".group", ".season", "origin.crs", ".date")) else new
        except (ValueError, LookupError):
            continue
    keep = data.draw(st.integers(0, 3))
    extra = (Customer(uuid=uuids.UUID(int=2**127), name=data.draw(st.sampled_from(["A", "a: b", "No"]))),)
    new = new.model_copy(update={"customers": (*extra[: keep % 2], *new.customers, *extra[: keep // 2 - keep % 2])})
    new = new.model_copy(update={"jobs": new.jobs[: keep % 2]})
    out = rewrite(text, plan, new)
    assert text_of(loaded(out)) == text_of(new)
    assert text_of(loaded(rewrite(out, new, plan))) == text


def test_what_cannot_be_done_in_its_place_is_refused():
    plan = small_plan()
    text = dump_plan(plan)
    turned = plan.model_copy(update={"fields": plan.fields[::-1]})
    with pytest.raises(RefusedError, match="the fields changed places"):
        rewrite(text, plan, turned)
    with pytest.raises(RefusedError, match="holds no plan"):
        rewrite("", plan, plan)
    with pytest.raises(RefusedError, match="cannot be changed in its place"):
        rewrite(LARKMOOR, plan, small_plan())
    other = changed(plan, leaf_of(plan, "uuid"), numbered(7777))
    with pytest.raises(RefusedError, match="cannot be changed in its place"):
        rewrite(text.replace("name: Estate", "name: Other"), plan, other)


def test_a_change_is_saved_unless_the_file_is_another_now(tmp_path):
    file = tmp_path / "plan.yaml"
    file.write_text(LARKMOOR, encoding="utf-8")
    plan = load_plan(tmp_path)
    new = changed(plan, leaf_of(plan, "fields.headland.depth"), "3 passes")
    assert save_changes(plan, new, tmp_path) == file
    assert file.read_text(encoding="utf-8") == LARKMOOR.replace("depth: 12 m", "depth: 3 passes")
    with pytest.raises(RefusedError, match="has changed since it was read"):
        save_changes(plan, new, file)
    file.unlink()
    with pytest.raises(InputError, match=r"there is no plan\.yaml"):
        save_changes(plan, new, tmp_path)


def test_a_headland_grows_sides_and_islands():
    text = LARKMOOR
    plan = loaded(text)
    headland = Headland(depth="12 m", islands=(IslandHeadland(hole=1, depth=Length("5 m")),))
    field = plan.fields[0].model_copy(update={"headland": headland})
    out = rewrite(text, plan, plan.model_copy(update={"fields": (field,)}))
    assert "headland: {depth: 12 m, islands: [{hole: 1, depth: 5 m}]}" in out


def test_every_member_can_be_put_in_and_taken_out():
    plan = small_plan()
    text = dump_plan(plan)
    field = plan.fields[0]
    for member in members(Field):
        if member.required or member.name == "features" or member.name == "sides":
            continue
        if member.name in ("lines", "crop"):  # a job and the variety speak of them
            continue
        less = field.model_copy(update={member.name: () if member.many else None})
        new = plan.model_copy(update={"fields": (less, *plan.fields[1:])})
        out = rewrite(text, plan, new)
        assert changed_lines(text, out)[1] == []
        assert rewrite(out, new, plan) == text, member.name


def test_a_date_is_taken_away_and_a_step_added_in_one_go():
    plan = small_plan()
    text = dump_plan(plan)
    row_end = plan.row_end_plans[0]
    step = Step(action="rear hitch raise", at="1 m", reference="hitch")
    new_row_end = row_end.model_copy(update={"leaving": row_end.leaving[:1], "entering": (*row_end.entering, step)})
    job = plan.jobs[0].model_copy(update={"start": datetime.date(2026, 4, 2), "product": None})
    new = plan.model_copy(update={"row_end_plans": (new_row_end,), "jobs": (job, *plan.jobs[1:])})
    out = rewrite(text, plan, new)
    gone, came = changed_lines(text, out)
    assert sorted(line.strip() for line in gone) == [
        "- {action: speed, at: -5 ft, reference: tool, speed: 4 mph}",
        "product: Seed lot 4",
        "start: 2026-04-01",
    ]
    assert sorted(line.strip() for line in came) == [
        "- {action: rear hitch raise, at: 1 m, reference: hitch}",
        "start: 2026-04-02",
    ]


def test_brackets_with_nothing_in_them_are_filled_and_emptied_ones_keep_their_place():
    text = f"format: 2\nuuid: {numbered(1)}\nname: x\nfields: [{{name: F}}]\n"
    text += "jobs: [{name: J, field: F, boundary: {}}]\n"
    filled = edited(text, "jobs.boundary.purpose", "worked")
    assert filled == text.replace("{}", "{purpose: worked}")
    both = edited(filled, "jobs.boundary.season", "2026")
    assert both == text.replace("{}", '{purpose: worked, season: "2026"}')
    plan = loaded(both)
    job = plan.jobs[0]
    emptied = job.model_copy(update={"boundary": job.boundary.model_copy(update={"purpose": None, "season": None})})
    assert rewrite(both, plan, plan.model_copy(update={"jobs": (emptied,)})) == text


def test_what_goes_and_what_comes_may_meet_at_the_end_of_a_list():
    text = f"format: 2\nuuid: {numbered(1)}\nname: x\nmachines:\n- name: M\n  tools:\n  - name: A\n  - name: B # old\n"
    plan = loaded(text)
    machine = plan.machines[0]
    new = machine.model_copy(update={"tools": machine.tools[:1], "working_speed": Speed("8 km/h")})
    out = rewrite(text, plan, plan.model_copy(update={"machines": (new,)}))
    assert out == text.replace("  - name: B # old\n", "  working_speed: 8 km/h\n")


def test_keys_in_brackets_go_from_the_front_the_middle_and_the_end():
    tool = "{name: A, working_width: 3 m, fold_time: 2 s, at_depth: 1 s}"
    text = f"format: 2\nuuid: {numbered(1)}\nname: x\nmachines: [{{name: M, tools: [{tool}]}}]\n"
    plan = loaded(text)
    machine = plan.machines[0]
    for gone, left in [
        (("name",), "{working_width: 3 m, fold_time: 2 s, at_depth: 1 s}"),
        (("fold_time", "at_depth"), "{name: A, working_width: 3 m}"),
        (("name", "working_width", "at_depth"), "{fold_time: 2 s}"),
        (("name", "working_width", "fold_time", "at_depth"), "{}"),
    ]:
        new = machine.model_copy(update={"tools": (machine.tools[0].model_copy(update=dict.fromkeys(gone)),)})
        assert rewrite(text, plan, plan.model_copy(update={"machines": (new,)})) == text.replace(tool, left)


def test_the_first_key_after_a_dash_goes_and_a_dash_may_stand_alone():
    text = (
        f"format: 2\nuuid: {numbered(1)}\nname: x\nmachines:\n- name: M\n  tools:\n"
        "  - name: A\n    working_width: 3 m\n  -\n    # the second\n    name: B\n"
    )
    plan = loaded(text)
    machine = plan.machines[0]
    bare = machine.tools[0].model_copy(update={"name": None})
    out = rewrite(
        text,
        plan,
        plan.model_copy(update={"machines": (machine.model_copy(update={"tools": (bare, machine.tools[1])}),)}),
    )
    assert out == text.replace("- name: A\n    working", "- \n    working")
    out = rewrite(
        text, plan, plan.model_copy(update={"machines": (machine.model_copy(update={"tools": machine.tools[:1]}),)})
    )
    assert out == text[: text.index("  -\n")]
