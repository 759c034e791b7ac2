import os
import re
import stat
import time
import uuid as uuids
from uuid import UUID

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plans import LARKMOOR, plans, small_plan

from taskkit.errors import InputError, InternalError, RefusedError, UnsafeInputError
from taskkit.plan import disk, files
from taskkit.plan.files import dump_plan, load_plan, plan_folder, save_plan
from taskkit.plan.leaves import changed, leaves
from taskkit.plan.loading import plan_from
from taskkit.plan.model import Action, Customer, Plan, Purpose
from taskkit.plan.quantities import Length
from taskkit.plan.yaml_text import Text

FULL = dump_plan(small_plan())
ROOT = "6f0f3a52-6c3e-4c0e-9d55-0d7b3c0c7a11"


def loaded(text):
    return plan_from(Text(text, "plan.yaml"))


def refused(text):
    with pytest.raises(InputError) as refusal:
        loaded(text)
    return refusal.value


def place(text, words):
    """Line and column of some words."""
    at = text.index(words)
    return text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at)


def test_a_plan_is_read():
    plan = loaded(LARKMOOR)
    field = plan.fields[0]
    assert plan.uuid == UUID(ROOT)
    assert (plan.name, plan.steering_frame, field.code) == ("Larkmoor, spring work", "ETRS89", "007")
    assert field.customer == plan.customers[0].uuid == plan.farms[0].customer
    assert field.farm == plan.farms[0].uuid
    assert field.row_end == plan.row_end_plans[0].uuid
    assert field.boundary().purpose is Purpose.WORKED
    assert field.boundary().parts[0].outer.points.tolist()[0] == [9.5, 54.0]
    assert field.lines[0].b.lon_deg == 9.502
    assert field.headland.depth == Length("12 m")
    assert [step.action for step in plan.row_end_plans[0].leaving] == [Action.FRONT_WHEEL_DRIVE_OFF, Action.SPEED]
    assert plan.row_end_plans[0].leaving[0].at.text == "-5 ft"
    assert plan.row_end_plans[0].entering[0].text == "Look back: is seed running?"


def test_what_looks_like_a_number_or_a_truth_value_stays_text():
    plan = loaded(
        f"uuid: {ROOT}\nname: No\nsteering_frame: 12:30\ncustomers: [{{name: 007, city: 1e3}}, {{name: Null}}]\n"
    )
    assert (plan.name, plan.steering_frame) == ("No", "12:30")
    assert [(c.name, c.city) for c in plan.customers] == [("007", "1e3"), ("Null", None)]


@pytest.mark.parametrize("nothing", ["", "~", "null", "NULL"])
def test_an_optional_key_without_a_value_is_absent(nothing):
    keys = ("customers", "fields", "steering_frame", "format")
    plan = loaded(f"uuid: {ROOT}\nname: x\n" + "".join(f"{key}: {nothing}\n" for key in keys))
    assert plan == Plan(uuid=UUID(ROOT), name="x")
    assert loaded(f"uuid: {ROOT}\nname: x\nfields: [{{name: y, code: '', headland: {nothing}}}]\n").fields[0].code == ""


def test_a_missing_uuid_is_derived_from_the_name_path():
    plan = loaded(LARKMOOR)
    field = plan.fields[0]
    for thing, path in (
        (plan.customers[0], "customer/Larkmoor Estate"),
        (field, "field/Long Acre"),
        (field.lines[0], "field/Long Acre/line/Along the lane"),
        (field.boundaries[0], "field/Long Acre/boundary/worked"),
        (plan.row_end_plans[0], "row-end plan/3 m drill behind the tractor"),
    ):
        assert thing.uuid == uuids.uuid5(UUID(ROOT), path)


def test_slashes_and_ways_to_compose_a_letter_make_no_other_path():
    plan = loaded(f'uuid: {ROOT}\nname: x\nfields: [{{name: a/b~c}}, {{name: "e\\u0301"}}]\n')
    assert plan.fields[0].uuid == uuids.uuid5(UUID(ROOT), "field/a~1b~0c")
    assert plan.fields[1].uuid == uuids.uuid5(UUID(ROOT), "field/\u00e9")


def test_the_season_tells_boundaries_of_one_purpose_apart():
    area = "POLYGON ((1 1, 2 1, 2 2, 1 1))"
    text = f"uuid: {ROOT}\nname: x\nfields:\n- name: y\n  boundaries:\n  - {{area: '{area}'}}\n"
    two = text + f"  - {{area: '{area}', season: 2026}}\n"
    assert loaded(two).fields[0].boundaries[1].uuid == uuids.uuid5(UUID(ROOT), "field/y/boundary/worked/2026")
    error = refused(text + f"  - {{area: '{area}'}}\n")
    assert error.line == 7
    assert "the boundary cannot be told from the boundary in line 6" in error.message
    assert "field/y/boundary/worked" in error.message


def test_a_given_uuid_is_kept():
    mine = uuids.uuid4()
    assert loaded(LARKMOOR.replace("- name: Long Acre", f"- uuid: {mine}\n    name: Long Acre")).fields[0].uuid == mine


def test_references_go_by_uuid_code_or_exact_name():
    mine = str(uuids.uuid4())
    text = f"uuid: {ROOT}\nname: x\ncustomers: [{{name: A, uuid: {mine}}}, {{name: B}}]\n"
    text += "fields: [{name: y, customer: %s}]\n"
    assert str(loaded(text % mine.upper()).fields[0].customer) == mine
    assert str(loaded(text % "A").fields[0].customer) == mine
    assert loaded(text % "B").fields[0].customer == loaded(text % "A").customers[1].uuid


AT_A = "lat_deg: 54.0}, b"
RING = "POLYGON ((9.5 54, 9.502 54, 9.502 54.001, 9.5 54.001, 9.5 54))"


@pytest.mark.parametrize(
    ("old", "new", "at", "said"),
    [
        ("farm: Home Farm", "farm: Home Fram", "Home Fram", "`farm` names 'Home Fram', which the plan has not"),
        ("farm: Home Farm", "farm: Home Fram", "Home Fram", "Did you mean 'Home Farm'?"),
        ("row_end: 3 m drill behind the tractor", "row_end: Sprayer", "Sprayer", "Add it under `row_end_plans`."),
        ("code: 007", "cod: 007", "cod:", "a field has no `cod`. Did you mean `code`?"),
        ("code: 007", "zzz: 007", "zzz:", "A field has `uuid`, `name`, `code`, `official_code`, `customer`"),
        ("spacing: 3 m", "spacing: 3", "3}", "`spacing` cannot be taken: '3' has no unit"),
        ("at: -10 m", "at: '-1,500 m'", "'-1,500", "`at` cannot be taken: '-1,500 m' can be read in two ways"),
        ("turn: loop", "turn: lop", "lop", "`turn` is 'lop', but only 'flat U', 'loop'"),
        ("skip: 1", "skip: 1.5", "1.5", "'1.5' is no whole number"),
        ("skip: 1", "skip: -1", "-1", "`skip` cannot be taken: input should be greater than or equal to 0"),
        (AT_A, "lat_deg: 154.0}, b", "154.0", "154 is beyond 90 degrees"),
        (f", {AT_A}", "}, b", "{lon_deg: 9.5}", "`lat_deg` is missing"),
        (
            RING,
            "POLYGON ((9 5, 8 5, 9 6))",
            "POLYGON",
            "`area` cannot be taken: the ring at character 10 is not closed",
        ),
        ("date: 2026-03-31", "date: 31.3.2026", "31.3.2026", "is no date; year-month-day is expected"),
        ("date: 2026-03-31", "date: 2026-02-31", "2026-02-31", "`date` cannot be taken: day is out of range"),
        (", speed: 4 mph", "", "{action: speed", "the action 'speed' needs `speed`"),
        (
            "headland: {depth: 12 m}",
            "headland: 12 m",
            "12 m\n",
            "`headland` takes `depth`, `sides`, `islands`. Write them in braces, such as `headland: {depth: ...}`",
        ),
        ("headland: {depth: 12 m}", "headland: {}", "{}", "`depth` is missing"),
        ("headland: {depth: 12 m}", "headland: {depth: }", "{depth: }", "`depth` has no value"),
        ("- name: Home Farm", "- Home Farm\n  - name: Home Farm", "Home Farm", "a farm is expected here"),
        ("    leaving:\n", "    leaving: no\n    x:\n", "no\n    x", "`leaving` takes a list"),
        ("city: Thornby", "city: [Thornby]", "[Thornby]", "`city` takes one single value"),
        (f"uuid: {ROOT}\n", "", "format:", "the plan has no UUID"),
        (ROOT, ROOT[:-1], ROOT[:-1], "is no UUID; 32 hexadecimal digits"),
        ("format: 2", "format: 3", "3\n", "the plan has format 3, and this program knows none newer than 2"),
        ("format: 2", "format: one", "one", "'one' is no form of plan"),
        ("name: Larkmoor, spring", "nam: Larkmoor, spring", "nam:", "a plan has no `nam`. Did you mean `name`?"),
        ("city: Thornby", r'city: "Thorn\0by"', '"Thorn', "the text holds U+0000, a character that XML cannot carry"),
    ],
)
def test_an_error_has_a_place_and_a_plain_word(old, new, at, said):
    assert old in LARKMOOR
    text = LARKMOOR.replace(old, new, 1)

    error = refused(text)

    assert said in str(error)
    line, column = place(text, at)
    if at == "{depth: }":
        column += len("{depth: ")
    assert (error.path, error.line, error.column) == ("plan.yaml", line, column)


def test_a_plan_without_a_uuid_is_offered_one():
    offers = {re.search(r"`uuid: (.*)`", refused("name: x\n").remedy)[1] for _ in range(2)}
    assert len({UUID(offer) for offer in offers}) == 2
    for text in ("uuid:\nname: x\n", "uuid: [1]\nname: x\n", "uuid: 12\nname: x\n"):
        assert refused(text).line == 1


@pytest.mark.parametrize("text", ["", "x", "- 1", "# nothing\n", "12"])
def test_a_text_without_keys_is_no_plan(text):
    assert "this is no plan" in refused(text).message


def test_a_newer_form_is_told_before_its_unknown_keys():
    assert refused(f"uuid: {ROOT}\nname: x\nformat: 3\nunheard_of: 1\n").remedy == "Use a newer version of taskkit"


def test_a_word_for_several_objects_is_ambiguous():
    twins = "".join(f"- {{name: A, uuid: {uuids.uuid4()}}}\n" for _ in range(2))
    text = f"uuid: {ROOT}\nname: x\ncustomers:\n{twins}fields: [{{name: y, customer: A}}]\n"
    error = refused(text)
    assert "`customer` 'A' means 2 objects. Write the UUID." in str(error)
    assert error.line == 6


def test_the_same_uuid_twice_names_both_places():
    mine = uuids.uuid4()
    text = (
        f"uuid: {ROOT}\nname: x\nfarms:\n- {{uuid: {mine}, name: F}}\nfields:\n- name: y\n  uuid: {str(mine).upper()}\n"
    )
    error = refused(text)
    assert error.message == "the field y has the UUID of the farm F in line 4"
    assert (error.line, error.column) == (7, 9)
    assert "the UUID of the plan x in line 1" in refused(text.replace(str(mine), ROOT)).message


def test_two_objects_of_one_name_need_a_uuid():
    error = refused(f"uuid: {ROOT}\nname: x\nfields:\n- name: y\n- name: y\n")
    assert "the field y cannot be told from the field y in line 4" in error.message
    assert error.line == 5
    fresh = re.search(r"`(uuid: .*)`", error.remedy)[1]
    assert len(loaded(f"uuid: {ROOT}\nname: x\nfields:\n- name: y\n- name: y\n  {fresh}\n").fields) == 2


def test_several_problems_are_told_together_and_in_order():
    text = f"uuid: {ROOT}\nname: x\n" + "".join(f"wrong{n}: 1\n" for n in range(9))
    error = refused(text)
    assert error.line == 3
    assert "; line 4: a plan has no `wrong1`; " in error.message
    assert error.message.endswith("; and 4 more")
    two = refused(LARKMOOR.replace("spacing: 3 m", "spacing: 3").replace("depth: 12 m", "depth: 12"))
    assert "'3' has no unit" in two.message
    assert "; line 35: `depth` cannot be taken: '12' has no unit" in two.message


def test_a_file_full_of_problems_is_answered_quickly_and_briefly():
    begin = f"uuid: {ROOT}\nname: x\n"
    names = "customers:\n" + "".join(f"- name: abcdefghijklmnop{n}\n" for n in range(300))
    for text in (
        begin + "".join(f"wrong{n}: 1\n" for n in range(5000)),
        begin + "row_end_plans: [{name: x, leaving: [" + "{action: x, at: y, reference: z}," * 5000 + "]}]\n",
        begin + names + "fields:\n" + "".join(f"- {{name: F{n}, customer: abcdefghijk{n}}}\n" for n in range(3000)),
    ):
        began = time.process_time()
        assert len(str(refused(text))) < 800
        assert time.process_time() - began < 4


@given(st.data())
@settings(max_examples=150 * (20 if os.environ.get("TASKKIT_LONG") else 1), deadline=None)
def test_no_text_brings_anything_but_a_plan_or_a_plain_error(data):
    text = data.draw(st.sampled_from([LARKMOOR, FULL[FULL.index("fields:") :], FULL]))
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text)))
        cut = data.draw(st.integers(0, 20))
        new = data.draw(st.sampled_from(["", ":", "- ", "{", "}", "[", "]", "'", '"', "\n", "  ", "|", "&a ", "*a", "\0", "\x85", "\u2028"]) | st.text(max_size=5))  # fmt: skip # noqa: E501
        text = text[:at] + new + text[at + cut :]
    try:
        plan, error = loaded(text), None
    except InputError as refusal:
        plan, error = None, refusal
    if plan:
        assert loaded(dump_plan(plan)) == plan
    else:
        assert error.line is not None
        assert "\n" not in str(error)


def test_a_plan_is_found_in_its_folder_or_by_its_file(tmp_path):
    (tmp_path / "plan.yaml").write_text(LARKMOOR, encoding="utf-8")
    assert load_plan(tmp_path) == load_plan(str(tmp_path / "plan.yaml")) == loaded(LARKMOOR)
    assert plan_folder(tmp_path) == plan_folder(tmp_path / "plan.yaml") == tmp_path


def test_a_byte_order_mark_and_other_line_ends_do_no_harm(tmp_path):
    (tmp_path / "plan.yaml").write_bytes(b"\xef\xbb\xbf" + LARKMOOR.replace("\n", "\r\n").encode())
    assert load_plan(tmp_path) == loaded(LARKMOOR)


def test_what_is_no_plan_file_is_refused(tmp_path, monkeypatch):
    with pytest.raises(InputError, match=r"there is no plan.yaml. Name a folder with plan.yaml in it"):
        load_plan(tmp_path)
    with pytest.raises(InputError, match="there is no plan"):
        load_plan(tmp_path / "elsewhere")
    with pytest.raises(InputError, match="cannot be read"):
        load_plan("a\0b")
    (tmp_path / "plan.yaml").mkdir()
    with pytest.raises(InputError, match="a folder, where a file is expected"):
        load_plan(tmp_path)
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(InputError, match="this is no file"):
        load_plan(tmp_path / "pipe")
    (tmp_path / "latin").write_bytes(b"name: x\nb: \xc3\xa9 \xe9\n")
    with pytest.raises(InputError, match=r"latin:2:6: the file is not UTF-8. Save it"):
        load_plan(tmp_path / "latin")
    monkeypatch.setattr(files, "_MOST_BYTES", 100)
    (tmp_path / "long").write_text(LARKMOOR)
    with pytest.raises(UnsafeInputError, match="longer than"):
        load_plan(tmp_path / "long")


@given(plans())
@settings(max_examples=100, deadline=None)
def test_a_written_plan_is_read_as_the_same_plan(plan):
    text = dump_plan(plan)
    again = loaded(text)
    assert again == plan
    assert dump_plan(again) == text
    assert list(leaves(again)) == list(leaves(plan))


def test_every_member_is_written():
    assert loaded(dump_plan(small_plan())) == small_plan()
    assert "- {action: speed, at: -5 ft, reference: tool, speed: 4 mph}" in dump_plan(small_plan())
    assert "    customer: Estate\n" in dump_plan(small_plan())


def test_a_reference_is_written_by_uuid_where_the_name_means_several():
    plan = small_plan()
    twin = Customer(uuid=UUID(int=99), name=plan.customers[0].name)
    twins = plan.model_copy(update={"customers": (*plan.customers, twin)})
    assert f"customer: {plan.customers[0].uuid}" in dump_plan(twins)
    assert loaded(dump_plan(twins)) == twins


def test_a_plan_that_is_not_whole_is_not_written(tmp_path):
    plan = small_plan()
    dangling = plan.model_copy(update={"customers": ()})
    with pytest.raises(RefusedError, match="not among the customers of the plan"):
        save_plan(dangling, tmp_path)
    doubled = changed(plan, next(leaf for leaf in leaves(plan) if leaf.path == "farms.uuid"), plan.customers[0].uuid)
    with pytest.raises(RefusedError, match="has the UUID of"):
        save_plan(doubled, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_plan_that_would_read_back_as_another_is_our_bug(monkeypatch):
    texts = iter([f"uuid: {ROOT}\nname: x\n", "another"])
    monkeypatch.setattr(files, "text_of", lambda _plan: next(texts))
    with pytest.raises(InternalError, match="reads back as another"):
        dump_plan(small_plan())


def test_a_plan_is_saved_and_not_overwritten_unasked(tmp_path):
    plan = small_plan()
    folder = tmp_path / "new" / "farm"
    assert save_plan(plan, folder) == folder / "plan.yaml"
    assert load_plan(folder) == plan
    with pytest.raises(RefusedError, match=r"is there already; nothing was written\. Name another folder"):
        save_plan(plan, folder)
    other = plan.model_copy(update={"name": "Other"})
    save_plan(other, folder, overwrite=True)
    assert load_plan(folder) == other
    assert [f.name for f in folder.iterdir()] == ["plan.yaml"]
    assert stat.S_IMODE((folder / "plan.yaml").stat().st_mode) & 0o400


def test_what_cannot_be_written_leaves_nothing_behind(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match=r"cannot be written here .*Name a folder"):
        save_plan(small_plan(), tmp_path / "file" / "below")
    save_plan(small_plan(), tmp_path)
    before = (tmp_path / "plan.yaml").read_bytes()

    def full(_descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(disk.os, "fsync", full)
    with pytest.raises(InputError, match="No space left"):
        save_plan(small_plan().model_copy(update={"name": "y"}), tmp_path, overwrite=True)
    assert (tmp_path / "plan.yaml").read_bytes() == before
    assert sorted(f.name for f in tmp_path.iterdir()) == ["file", "plan.yaml"]
