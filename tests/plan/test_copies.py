import itertools
import os
from uuid import UUID

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plans import LARKMOOR, numbered, small_plan

from taskkit.errors import InputError
from taskkit.plan.copies import with_new_identities
from taskkit.plan.files import dump_plan
from taskkit.plan.loading import plan_from
from taskkit.plan.members import objects_in
from taskkit.plan.yaml_text import Text


def renewed(text):
    fresh = (UUID(int=900 + n) for n in itertools.count())
    return with_new_identities(text, path="plan.yaml", fresh=lambda: next(fresh))


def loaded(text):
    return plan_from(Text(text, "plan.yaml"))


@pytest.mark.parametrize("text", ["", LARKMOOR, dump_plan(small_plan())])
def test_a_text_without_copies_stays_as_it_is(text):
    assert renewed(text) == (text, ())


def test_a_copied_block_gets_its_own_uuid_and_names_both_places():
    text = f"uuid: {numbered(1)}\nname: x\ncustomers:\n- {{uuid: {numbered(2)}, name: A}}\n"
    text += f"- {{name: B, uuid: '{numbered(2)}'}} # a copy\n"
    with pytest.raises(InputError, match="the customer B has the UUID of the customer A in line 4"):
        loaded(text)
    out, (one,) = renewed(text)
    assert out == text.replace(f"'{numbered(2)}'", f"'{numbered(900)}'")
    assert (one.title, one.line, one.other_line, one.old, one.new) == (
        "customer B", 5, 4, numbered(2), numbered(900),
    )  # fmt: skip
    assert loaded(out).customers[1].uuid == numbered(900)


def test_a_copied_field_takes_what_is_in_it_along_and_its_references_follow():
    text = dump_plan(small_plan())
    begin, end = text.index("  - uuid: 00000000-0000-0000-0000-000000000004"), text.index("  - uuid: 00000000-0000-0000-0000-000000000009")  # fmt: skip # noqa: E501
    copy = text[begin:end].replace("name: Long Acre", "name: Short Acre")
    copy = copy.replace("{feature: Pond,", f"{{feature: {numbered(42)},")
    out, all_renewed = renewed(text[:end] + copy + text[end:])
    plan = loaded(out)
    first, second = plan.fields[:2]
    assert dump_plan(plan.model_copy(update={"fields": (first, plan.fields[2])})) == text
    mine, theirs = [one.uuid for one in objects_in(first)], [one.uuid for one in objects_in(second)]
    assert len(theirs) == len(mine) == len(all_renewed)
    assert not set(mine) & set(theirs)
    assert second.headland.islands[0].feature == second.features[1].uuid
    assert second.sides[0].end.point == second.features[0].uuid
    assert out.startswith(text[:end])


def test_a_copy_without_a_line_for_its_uuid_gets_one():
    begin = LARKMOOR.index("  - name: Long Acre")
    text = LARKMOOR + LARKMOOR[begin:]
    with pytest.raises(InputError, match="cannot be told from"):
        loaded(text)
    out, all_renewed = renewed("\ufeff" + text)
    plan = loaded(out.removeprefix("\ufeff"))
    assert [one.title for one in all_renewed] == ["field Long Acre", "boundary worked", "line Along the lane"]
    assert plan.fields[0] == loaded(LARKMOOR).fields[0]
    assert plan.fields[1].uuid == numbered(900)
    assert out.startswith("\ufeff" + LARKMOOR + f"  - uuid: {numbered(900)}\n    name: Long Acre\n")


def test_a_uuid_written_as_nothing_is_filled_in():
    text = f"uuid: {numbered(1)}\nname: x\nfarms:\n- {{name: A}}\n- name: A\n  uuid:\n"
    out, _ = renewed(text)
    assert out == text.replace("  uuid:\n", f"  uuid: {numbered(900)}\n")


@pytest.mark.parametrize("uuid", ["", "uuid: 12\n", "uuid: [1]\n"])
def test_without_a_uuid_of_the_plan_only_written_ones_are_looked_at(uuid):
    text = f"{uuid}farms: [{{name: A}}, {{name: A}}, {{uuid: x}}, {{uuid: x, kind: y}}]\n"
    text += "fields: [{lines: [{kind: z}]}]\n"
    out, none = renewed(text)
    assert out == text.replace("{uuid: x, kind", f"{{uuid: {numbered(900)}, kind")
    assert none == ()


PIECES = ["", ":", "- ", "{", "}", "[", "]", "'", "\n", "  ", "uuid: ", "kind: pivot", str(numbered(4))]


@given(st.data())
@settings(max_examples=60 * (20 if os.environ.get("TASKKIT_LONG") else 1), deadline=None)
def test_no_text_brings_anything_but_another_text_or_a_plain_error(data):
    text = dump_plan(small_plan())
    text = text[text.index("fields:") :]
    for _ in range(data.draw(st.integers(1, 4))):
        at, cut = data.draw(st.integers(0, len(text))), data.draw(st.integers(0, 60))
        text = text[:at] + data.draw(st.sampled_from(PIECES)) + text[at + cut :]
    try:
        out, changes = renewed(text)
    except InputError as refusal:
        out, changes, line = text, (), refusal.line
    else:
        line = 1
        assert renewed(out)[0] == out
    assert line is not None
    assert out != text or not changes
