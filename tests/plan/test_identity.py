import os
from uuid import UUID, uuid5

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plans import texts

from taskkit.errors import InputError, RefusedError
from taskkit.plan import identity as module
from taskkit.plan.identity import Entry, Identified, Identity, derived, load_identity, save_identity

A, B, C, D = (UUID(int=n) for n in range(1, 5))


def fields(*uuids):
    return [Identified("field", uuid, f"Field {uuid.int}") for uuid in uuids]


def numbers(identity, *uuids):
    return [identity.number("field", uuid) for uuid in uuids]


def test_numbers_are_given_in_the_order_of_the_plan_for_each_kind():
    identity = Identity().assign([*fields(A, B), Identified("farm", C, "Home"), *fields(C)])
    assert numbers(identity, A, B, C) == [1, 2, 3]
    assert identity.number("farm", C) == 1
    assert identity.uuid("field", 2) == B
    assert identity.uuid("field", 9) is None
    with pytest.raises(LookupError, match="no number was given to the farm"):
        identity.number("farm", A)


def test_an_object_put_in_between_changes_no_number():
    identity = Identity().assign(fields(A, B)).assign(fields(A, C, B))
    assert numbers(identity, A, C, B) == [1, 3, 2]


def test_the_number_of_a_deleted_object_is_never_used_again():
    identity = Identity().assign(fields(A, B)).assign(fields(A)).assign(fields(A, C))
    assert numbers(identity, A, C) == [1, 3]


def test_an_object_that_is_asked_for_twice_has_one_number():
    assert len(Identity().assign(fields(A, A)).entries) == 1


def test_kinds_that_count_together_never_share_a_number():
    together = {"field": "land", "meadow": "land"}
    identity = Identity().assign(fields(A), together=together)
    identity = identity.assign([Identified("meadow", B, "Low"), *fields(C), Identified("farm", D, "Home")])
    assert (identity.number("meadow", B), identity.number("field", C)) == (1, 2)

    identity = Identity().assign([*fields(A), Identified("meadow", B, "Low")], together=together)
    identity = identity.assign([Identified("farm", D, "Home"), *fields(C, A)], together=together)
    assert (identity.number("meadow", B), *numbers(identity, A, C), identity.number("farm", D)) == (2, 1, 3, 1)
    assert identity.has("meadow", B)
    assert not identity.has("field", B)


def test_two_kinds_that_count_together_with_one_number_are_refused():
    identity = Identity((Entry("field", 1, A, "x"), Entry("meadow", 1, B, "y")))
    assert identity.assign(fields(A)) == identity
    with pytest.raises(InputError, match=r"the number 1 stands for two objects, field 'x' .* and meadow 'y'"):
        identity.assign([], together={"field": "land", "meadow": "land"})


def test_the_file_is_made_and_only_ever_grows(tmp_path):
    first = save_identity(load_identity(tmp_path).assign(fields(A)), tmp_path)
    text = (tmp_path / "plan.ids.tsv").read_text(encoding="utf-8")
    assert text.startswith("# Numbers that the objects of plan.yaml keep for good")
    assert text.endswith(f"field\t1\t{A}\tField 1\n")
    second = save_identity(load_identity(tmp_path).assign(fields(B, A)), tmp_path)
    grown = (tmp_path / "plan.ids.tsv").read_text(encoding="utf-8")
    assert grown == text + f"field\t2\t{B}\tField 2\n"
    assert first.lasting
    assert second.lasting
    assert load_identity(tmp_path) == second


def test_the_file_stands_beside_the_plan_however_it_is_named(tmp_path):
    (tmp_path / "plan.yaml").write_text("x")
    save_identity(Identity().assign(fields(A)), tmp_path / "plan.yaml")
    assert load_identity(tmp_path / "plan.yaml") == load_identity(tmp_path)
    assert load_identity(tmp_path).entries


def test_what_stands_in_the_file_keeps_its_bytes(tmp_path):
    text = f"# my own remark\r\n\r\nfield\t7\t{A}\tOld name\r\nfarm\t2\t{B}\tx"
    (tmp_path / "plan.ids.tsv").write_bytes(text.encode())
    identity = load_identity(tmp_path)
    assert identity.entries == (Entry("field", 7, A, "Old name"), Entry("farm", 2, B, "x"))
    save_identity(identity, tmp_path)
    assert (tmp_path / "plan.ids.tsv").read_bytes() == text.encode()
    save_identity(identity.assign(fields(C)), tmp_path)
    assert (tmp_path / "plan.ids.tsv").read_bytes() == f"{text}\nfield\t8\t{C}\tField 3\n".encode()


@given(st.lists(st.tuples(st.sampled_from(["field", "guidance line", "row-end plan"]), st.integers(0, 9), texts)))
@settings(max_examples=50, deadline=None)
def test_any_name_survives_the_file(tmp_path_factory, rows):
    folder = tmp_path_factory.mktemp("ids")
    identity = Identity().assign([Identified(kind, UUID(int=n), name) for kind, n, name in rows])
    assert save_identity(identity, folder).entries == load_identity(folder).entries == identity.entries


@given(st.lists(st.lists(st.integers(0, 30), max_size=8), max_size=6))
def test_a_number_once_given_stays_whatever_comes_and_goes(plans):
    identity = Identity()
    given_numbers = {}
    for plan in plans:
        identity = identity.assign(fields(*(UUID(int=n) for n in plan)))
        for n in plan:
            number = identity.number("field", UUID(int=n))
            assert given_numbers.setdefault(n, number) == number
    assert len(set(given_numbers.values())) == len(given_numbers)


def test_without_the_file_the_same_plan_has_the_same_numbers_and_they_are_said_not_to_last(tmp_path):
    first, second = (load_identity(tmp_path).assign(fields(C, A, B)) for _ in range(2))
    assert first == second
    assert not first.lasting
    saved = save_identity(first, tmp_path)
    assert saved.lasting
    (tmp_path / "plan.ids.tsv").unlink()
    assert numbers(load_identity(tmp_path).assign(fields(C, A, B)), C, A, B) == numbers(saved, C, A, B)


def test_where_the_file_cannot_be_written_the_numbers_do_not_last(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("x")
    identity = save_identity(Identity().assign(fields(A)), tmp_path / "file" / "below")
    assert not identity.lasting
    assert numbers(identity, A) == [1]
    saved = save_identity(Identity().assign(fields(A)), tmp_path)

    def refuse(_path, _text):
        raise PermissionError("read-only")

    monkeypatch.setattr(module, "put_in_place", refuse)
    assert save_identity(saved, tmp_path).lasting
    assert not saved.assign(fields(A, B)).lasting
    assert not save_identity(saved.assign(fields(A, B)), tmp_path).lasting


def test_a_file_that_changed_meanwhile_is_not_added_to(tmp_path):
    mine = load_identity(tmp_path).assign(fields(A))
    save_identity(load_identity(tmp_path).assign(fields(B)), tmp_path)
    before = (tmp_path / "plan.ids.tsv").read_bytes()
    with pytest.raises(RefusedError, match="has changed since it was read"):
        save_identity(mine, tmp_path)
    assert (tmp_path / "plan.ids.tsv").read_bytes() == before


def test_two_branches_that_gave_one_number_twice_are_told_with_both_names(tmp_path):
    (tmp_path / "plan.ids.tsv").write_text(f"field\t1\t{A}\tLong Acre\nfarm\t1\t{C}\tHome\nfield\t1\t{B}\tPond Close\n")
    with pytest.raises(InputError) as refusal:
        load_identity(tmp_path)
    assert refusal.value.line == 3
    assert "the number 1 stands for two objects, field 'Long Acre'" in str(refusal.value)
    assert "field 'Pond Close'" in str(refusal.value)
    assert "a number that was never used" in refusal.value.remedy


def test_one_object_with_two_numbers_is_told_with_both(tmp_path):
    (tmp_path / "plan.ids.tsv").write_text(f"field\t1\t{A}\tLong Acre\nfield\t2\t{A}\tLonger Acre\n")
    with pytest.raises(InputError, match=r":2: one object has two numbers, field 'Long Acre' .*'Longer Acre'"):
        load_identity(tmp_path)


def test_a_line_that_both_branches_added_alike_is_one_object(tmp_path):
    line = f"field\t1\t{A}\tLong Acre\n"
    (tmp_path / "plan.ids.tsv").write_text(line * 2)
    assert numbers(load_identity(tmp_path), A) == [1]
    assert numbers(save_identity(load_identity(tmp_path).assign(fields(A, B)), tmp_path), B) == [2]


def test_contradictions_are_refused_in_memory_too():
    with pytest.raises(InputError, match="stands for two objects"):
        Identity((Entry("field", 1, A, "x"), Entry("field", 1, B, "y")))


@pytest.mark.parametrize(
    "line",
    [
        "field\t1\tx\ty",
        f"field\t0\t{A}\ty",
        f"field\t01\t{A}\ty",
        f"field\t-1\t{A}\ty",
        f"field\t1\t{A}",
        f"field 1 {A} y",
        f"field\t1\t{A}\ty\tz",
        f"FIELD\t1\t{A}\ty",
        f"field\t1\t{A}\ta\\b",
        f"field\t1\t{A}\tb\\",
        "<<<<<<< HEAD",
        f"field\t{10**9}\t{A}\ty",
    ],
)
def test_a_malformed_line_is_told_with_its_number(tmp_path, line):
    (tmp_path / "plan.ids.tsv").write_text(f"# x\nfield\t5\t{C}\tz\n{line}\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"plan.ids.tsv:3: .* is no line of kind, number, UUID and name"):
        load_identity(tmp_path)


def test_a_derived_uuid_depends_on_parent_role_and_ordinal_only():
    assert derived(A, "part", 1) == uuid5(A, "part/1")
    assert len({derived(A, "part"), derived(A, "part", 1), derived(A, "group"), derived(B, "part")}) == 4


def test_fifty_thousand_objects_are_numbered_quickly(tmp_path):
    many = [Identified("field", UUID(int=n), "x") for n in range(50_000)]
    began = os.times().user
    save_identity(Identity().assign(many), tmp_path)
    assert load_identity(tmp_path).assign(many).number("field", UUID(int=49_999)) == 50_000
    assert os.times().user - began < 5
