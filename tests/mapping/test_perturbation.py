"""The proof of the ledger: change one leaf of the plan, and see which file changes."""

import re
import uuid as uuids
from collections import Counter

import pytest
from mapped import leaf_values, numbered, parsed, rich_plan, said, through_bytes, written

from taskkit.geometry.line import LonLatLine, Part
from taskkit.mapping import Carried, ledger_class, read_plan
from taskkit.plan.leaves import changed, leaf_paths, leaves
from taskkit.plan.model import Action, Plan
from taskkit.plan.quantities import Area, Length, Speed
from taskkit.taskdata.writer import files

PLAN = rich_plan()
TASKS, LINKS, HEADLAND = "TASKDATA.XML", "LINKLIST.XML", "HEADLAND.XML"
CHOSEN = {field.boundary().uuid for field in PLAN.fields if field.boundary()}
# Another valid value for each sort of leaf. Of purposes one that does not change which boundary is chosen.
OTHER = {
    "format": lambda _: 2,
    "declared_area": lambda _: Area("7 ha"),
    "date": lambda _: "2020-02-29",
    "purpose": lambda _: "physical",
    "turn": lambda _: "fishtail",
    "side": lambda side: "right" if side == "left" else "left",
    "skip": lambda skip: (skip or 0) + 3,
    "action": lambda action: "sections on" if action != "sections on" else "sections off",
    "reference": lambda point: "hitch" if point != "hitch" else "tool",
    "speed": lambda _: Speed("9 km/h"),
    "text": lambda _: "Look ahead",
    "spacing": lambda spacing: Length.of(spacing.metres + 0.001),
    "depth": lambda _: Length("77 m"),
    "at": lambda at: Length.of(at.metres + 0.25),
    "accuracy": lambda _: Length("3 cm"),
    "lon_deg": lambda degrees: degrees + 1e-9,
    "lat_deg": lambda degrees: degrees + 1e-9,
    "parts": lambda parts: (moved(parts[0]), *parts[1:]),
    "customer": lambda uuid: numbered(12),
    "farm": lambda uuid: numbered(13),
    "row_end": lambda uuid: numbered(18),
}


def moved(part):
    points = part.outer.points.copy()
    points[1] += 1e-8
    return Part(LonLatLine(points), part.holes)


def another(leaf):
    name = leaf.path.rpartition(".")[2]
    if name == "uuid":
        return uuids.UUID(int=leaf.value.int + 100)
    return OTHER.get(name, lambda text: f"~{text or ''}"[:9])(leaf.value)


def impossible(leaf):
    """A step takes a speed only as the action speed, a text only as a note; such pairs cannot be changed one by one."""
    if leaf.path.endswith(("ing.speed", "ing.text")):
        return leaf.value is None
    return leaf.path.endswith(".action") and leaf.value in (Action.SPEED, Action.NOTE)


def bytes_of(plan):
    content = dict(files(written(plan).data))
    # The length that the entry of an attached file states is no part of the plan.
    content[TASKS] = re.sub(rb'(<AFE A="HEADLAND\.XML"[^>]*?) E="[^"]*" F="[0-9]+"', rb"\1", content[TASKS])
    return content


def class_of(leaf):
    is_spare = leaf.path.startswith("fields.boundaries.") and leaf.owner not in CHOSEN
    return Carried.KEPT if is_spare else ledger_class(leaf.path)


LEAVES = list(leaves(PLAN))


@pytest.mark.parametrize("path", leaf_paths(Plan))
def test_a_leaf_changes_the_files_that_its_class_names_and_no_other(path):
    before = bytes_of(PLAN)
    tried = 0
    for leaf in LEAVES:
        if leaf.path != path or impossible(leaf):
            continue
        after = bytes_of(changed(PLAN, leaf, another(leaf)))

        differ = {name for name in before if before[name] != after[name]}

        assert before.keys() == after.keys()
        match class_of(leaf):
            case Carried.NATIVE if path.endswith("uuid"):
                assert LINKS in differ, leaf
                # Fields go by their UUIDs in the attached file too.
                assert TASKS not in differ, leaf
            case Carried.NATIVE:
                assert differ == {TASKS}, leaf
            case Carried.ATTACHED:
                assert differ == {HEADLAND}, leaf
            case _:
                assert not differ, leaf
        tried += 1
    assert tried


def test_the_class_that_the_ledger_gives_is_the_class_that_was_proved():
    entries = {(e.leaf.path, e.leaf.owner, e.leaf.ordinal): e.carried for e in written(PLAN).ledger.entries}
    for leaf in LEAVES:
        carried = entries.pop((leaf.path, leaf.owner, leaf.ordinal), None)
        if leaf.value is None:
            assert carried is None
        elif carried is Carried.APPROXIMATED:
            assert (leaf.path, leaf.owner) == ("fields.name", numbered(9))
        else:
            assert carried is class_of(leaf), leaf
    assert not entries


def test_an_approximated_leaf_changes_the_task_file():
    leaf = next(leaf for leaf in LEAVES if leaf.path == "fields.name" and leaf.owner == numbered(9))
    assert Counter(e.carried for e in written(PLAN).ledger.losses()) == {Carried.APPROXIMATED: 1}
    assert bytes_of(changed(PLAN, leaf, "Z" + leaf.value))[TASKS] != bytes_of(PLAN)[TASKS]


def test_without_the_attached_file_only_attached_leaves_are_lost_and_it_is_said():
    made = written(PLAN)

    back = read_plan(through_bytes(made.data, attached=False))

    with_file = leaf_values(read_plan(through_bytes(made.data)).plan)
    without = leaf_values(back.plan)
    lost = {key for key, value in with_file.items() if value is not None and without.get(key) != value}
    assert lost
    assert {ledger_class(path) for path, _, _ in lost} == {Carried.ATTACHED}
    # Every attached leaf is among them: nothing of it stands in the set.
    assert {key for key, value in with_file.items() if value is not None and ledger_class(key[0]) == "attached"} == lost
    assert len(said(back, "headland-file-missing")) == 1


def test_what_a_terminal_changed_in_the_set_is_what_comes_back():
    made = written(PLAN)
    text = dict(files(made.data))[TASKS].decode()
    moved_text = text.replace('C="54.000000000" D="9.500000000"', 'C="54.000009000" D="9.500000000"')
    assert moved_text != text
    data = through_bytes(made.data)
    data.main = parsed(moved_text).main

    back = read_plan(data).plan

    assert back.fields[0].boundaries[0].parts[0].outer.points[0].tolist() == [9.5, 54.000009]
    assert back.fields[0].uuid == numbered(4)
