"""The proof of the ledger: change one leaf of the plan, and see which file changes."""

import os
import re
from collections import Counter
from uuid import UUID

import pytest
from mapped import leaf_values, numbered, parsed, rich_plan, said, through_bytes, written
from others import WITH_ARGUMENT, another

from taskkit.mapping import Carried, ledger_class, read_plan
from taskkit.plan.leaves import changed, leaf_paths
from taskkit.plan.model import Plan
from taskkit.taskdata.writer import files

PLAN = rich_plan()
TASKS, LINKS, HEADLAND = "TASKDATA.XML", "LINKLIST.XML", "HEADLAND.XML"
MADE = written(PLAN)
ENTRIES = MADE.ledger.entries
MOST = 1000 if os.environ.get("TASKKIT_LONG") else 1
"""Leaves of one path and class that are tried."""
# What takes more with it, and why.
MORE = {
    "fields.lines.group": {LINKS, HEADLAND},  # the group goes by its name, and a job that uses part of it says so
    "shared_lines.group": {LINKS, HEADLAND},
    "jobs.field": {HEADLAND},  # the lines and sides of its former field are none of the other's
    "jobs.lines.line": {HEADLAND},
    "products.kind": {LINKS},  # what products of one kind have in common goes by its name
}
"""Native leaves that change another file too."""
ATTACHED_MORE = {
    "shared_lines.fields": {TASKS, LINKS},  # the first field's copy keeps the line's own UUID
    "jobs.lines.line": {TASKS},  # the group of the line stands in the task
    "jobs.lines.shift": {TASKS},  # and so does the move itself
}
"""Attached leaves that change another file too."""


def bytes_of(plan):
    content = dict(files(written(plan).data))
    # The length that the entry of an attached file states is no part of the plan.
    content[TASKS] = re.sub(rb'(<AFE A="HEADLAND\.XML"[^>]*?) E="[^"]*" F="[0-9]+"', rb"\1", content[TASKS])
    return content


BEFORE = bytes_of(PLAN)


def expected(entry, differ):
    """Whether these are the files that a change of a leaf may change, and among them the one that it must."""
    path = entry.leaf.path
    if path.endswith("uuid") and entry.carried is Carried.NATIVE:
        # Objects of the set go by their UUIDs in the attached file too; a set never has one in its task file.
        return LINKS in differ and TASKS not in differ
    match entry.carried:
        case Carried.NATIVE | Carried.APPROXIMATED:
            return TASKS in differ and differ <= {TASKS} | MORE.get(path, set())
        case Carried.ATTACHED:
            return HEADLAND in differ and differ <= {HEADLAND} | ATTACHED_MORE.get(path, set())
    return not differ


@pytest.mark.parametrize("path", leaf_paths(Plan))
def test_a_leaf_changes_the_files_that_its_class_names_and_no_other(path):
    tried: Counter[Carried] = Counter()
    for entry in ENTRIES:
        leaf = entry.leaf
        if (
            leaf.path != path
            or tried[entry.carried] == MOST
            or (path.endswith("ing.action") and leaf.value in WITH_ARGUMENT)
        ):
            continue
        try:
            value = another(PLAN, leaf)
        except LookupError:
            assert path.endswith(".kind"), leaf
            continue
        after = bytes_of(changed(PLAN, leaf, value))

        assert after.keys() == BEFORE.keys()
        differ = {name for name in BEFORE if BEFORE[name] != after[name]}
        assert expected(entry, differ), (leaf.label, entry.carried, differ)
        tried[entry.carried] += 1
    assert tried


def test_every_leaf_with_a_value_has_the_class_of_its_kind_but_where_it_is_said():
    others = Counter(
        (e.leaf.path, e.leaf.owner, e.carried) for e in ENTRIES if e.carried is not ledger_class(e.leaf.path)
    )
    kept = {numbered(6), numbered(32), numbered(71), numbered(87)}  # outline, machine and shifts that nobody uses

    assert all(e.carried is Carried.KEPT for e in ENTRIES if e.leaf.owner in kept)
    assert {key for key in others if key[1] not in kept} == {
        ("fields.name", numbered(9), Carried.APPROXIMATED),  # too long
        ("fields.features.kind", numbered(51), Carried.ATTACHED),  # a pole is an obstacle there
        ("jobs.lines.line", numbered(90), Carried.ATTACHED),  # one line of a group, and one that is moved
        ("jobs.lines.line", numbered(92), Carried.ATTACHED),
    }


def test_an_approximated_leaf_changes_the_task_file():
    (entry,) = MADE.ledger.losses()
    assert (entry.leaf.path, entry.carried) == ("fields.name", Carried.APPROXIMATED)
    assert bytes_of(changed(PLAN, entry.leaf, "Z" + entry.leaf.value))[TASKS] != BEFORE[TASKS]


def test_without_the_attached_file_only_attached_leaves_are_lost_and_it_is_said():
    back = read_plan(through_bytes(MADE.data, attached=False))

    with_file = leaf_values(read_plan(through_bytes(MADE.data)).plan)
    without = leaf_values(back.plan)
    lost = {key for key, value in with_file.items() if value not in (None, ()) and without.get(key) != value}
    carried = {(e.leaf.path, e.leaf.owner, e.leaf.ordinal): e.carried for e in ENTRIES}
    # A shift goes with its identity: the set tells how far it moves, not which shift of the plan that is. What was
    # one line of several fields is a line of each.
    whole = {owner for path, owner, _ in lost if path == "shared_lines.fields" or path.endswith("shifts.uuid")}
    assert lost
    for key in lost:
        assert carried[key] is Carried.ATTACHED or key[1] in whole, key
    attached = {key for key, value in carried.items() if value is Carried.ATTACHED}
    # Every attached leaf is among them: nothing of it stands in the set. But for the lines of a job, of which the
    # set names at least the group.
    kept = {key for key in attached - lost if key[0] != "jobs.lines.line"}
    assert not kept
    assert len(said(back, "headland-file-missing")) == 1


def test_what_a_terminal_changed_in_the_set_is_what_comes_back():
    text = dict(files(MADE.data))[TASKS].decode()
    moved_text = text.replace(
        '<PNT A="2" C="54.000000000" D="9.500000000"', '<PNT A="2" C="54.000009000" D="9.500000000"'
    )
    assert moved_text != text
    data = through_bytes(MADE.data)
    data.main = parsed(moved_text).main

    back = read_plan(data).plan

    assert back.fields[0].boundaries[0].parts[0].outer.points[0].tolist() == [9.5, 54.000009]
    assert back.fields[0].uuid == UUID(str(numbered(4)))
