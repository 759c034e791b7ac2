import os
import random
import time

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from plans import LARKMOOR, texts

from taskkit.errors import InputError, UnsafeInputError
from taskkit.plan import yaml_text
from taskkit.plan.yaml_text import Block, Listing, Scalar, Text, read, replace_value, scalar

LONG = 20 if os.environ.get("TASKKIT_LONG") else 1


def plain(node):
    """A node as Python values."""
    if isinstance(node, Block):
        return {key: plain(value) for key, value in node.values.items()}
    if isinstance(node, Listing):
        return [plain(item) for item in node.items]
    return node.text if isinstance(node, Scalar) else node


def paths(node, path=()):
    """The path of every scalar."""
    if isinstance(node, Block):
        return [p for key, value in node.values.items() for p in paths(value, (*path, key))]
    if isinstance(node, Listing):
        return [p for n, item in enumerate(node.items) for p in paths(item, (*path, n))]
    return [path]


@pytest.fixture(params=["fast", "plain"])
def _loader(request, monkeypatch):
    if request.param == "plain":
        monkeypatch.setattr(yaml_text, "_LOADER", yaml.SafeLoader)


@pytest.mark.usefixtures("_loader")
def test_every_scalar_is_text():
    assert plain(
        read(Text("a: 007\nb: No\nc: 12:30\nd: [1e3, ~, 'x', 2026-01-01]\ne: {f: |\n}\n".replace("|\n", "")))
    ) == {
        "a": "007",
        "b": "No",
        "c": "12:30",
        "d": ["1e3", "~", "x", "2026-01-01"],
        "e": {"f": ""},
    }


@pytest.mark.usefixtures("_loader")
def test_nodes_know_their_place_in_characters_whatever_stands_before():
    text = Text("ä: 𝄞\r\nkey:   value # why\r\n")
    node = read(text).values["key"]
    assert text.text[node.start : node.end] == "value"
    assert text.place(node.start) == (2, 8)


@pytest.mark.usefixtures("_loader")
@pytest.mark.parametrize("text", ["", "\n", "# only this\n", "---\n", "~", "null"])
def test_an_empty_text_has_no_document(text):
    assert read(Text(text)) is None


@pytest.mark.usefixtures("_loader")
@pytest.mark.parametrize(
    ("text", "place", "said"),
    [
        ("a: &x 1\n", (1, 4), "anchors are not used"),
        ("a: &x {b: 1}\n", (1, 4), "anchors are not used"),
        ("a: 1\nb: *x\n", (2, 4), "aliases are not used"),
        ("a: !!str 1\n", (1, 4), "tags are not used"),
        ("a: !local {}\n", (1, 4), "tags are not used"),
        ("%TAG ! tag:x,2000:\n---\na: 1\n", (1, 1), "tags are not used"),
        ("a: 1\nb: 2\na: 3\n", (3, 1), "the key 'a' is there twice, first in line 1"),
        ("a: {x: 1, x: 2}\n", (1, 11), "there twice"),
        ("a: 1\n<<: {b: 1}\n", (2, 1), "merge keys are not used"),
        ("? [a]\n: 1\n", (1, 3), "a key must be plain text"),
        ("a: 1\n---\nb: 1\n", (2, 1), "a second document"),
        ("a: [1\nb: 2\n", (2, 2), "no YAML"),
        ("a: 'x\n", (2, 1), "no YAML"),
        ("a:\n\t- x\n", (2, 1), "no YAML"),
        ("a: b\0c\n", (1, 5), "U+0000"),
        ("a: b\x1bc\n", (1, 5), "U+001B"),
        ("a: 1\nb: \ufeffc\n", (2, 4), "U+FEFF"),
    ],
)
def test_what_a_plan_does_without_is_refused_with_its_place(text, place, said):
    with pytest.raises(InputError, match=said.replace("+", r"\+")) as refusal:
        read(Text(text, "plan.yaml"))
    assert (refusal.value.line, refusal.value.column) == place
    assert refusal.value.path == "plan.yaml"
    assert refusal.value.remedy


@pytest.mark.parametrize("opening", ["[", "{a: ", "- ", "a:\n"])
def test_deep_nesting_ends_early(opening):
    deep = "".join(" " * n + opening for n in range(40)) if opening == "a:\n" else opening * 1_000_000
    began = time.process_time()
    with pytest.raises(InputError) as refusal:
        read(Text(deep))
    assert isinstance(refusal.value, UnsafeInputError) or "no YAML" in str(refusal.value)
    assert time.process_time() - began < 5


def test_thirty_levels_are_read():
    assert read(Text("[" * 30 + "]" * 30)) is not None
    with pytest.raises(UnsafeInputError, match="deeper than 30 levels"):
        read(Text("[" * 31 + "]" * 31))


def test_the_number_of_values_is_bounded(monkeypatch):
    monkeypatch.setattr(yaml_text, "_MOST_NODES", 10)
    assert read(Text("[" + "1," * 9 + "]"))
    with pytest.raises(UnsafeInputError, match="more than 10 values"):
        read(Text("[" + "1," * 10 + "]"))


@given(texts, st.booleans())
@settings(max_examples=300 * LONG)
def test_a_written_scalar_is_read_as_the_same_text(text, flow):
    written = f"[{scalar(text, flow=True)}, x]" if flow else f"- {scalar(text)}\n- x\n"
    assert plain(read(Text(written))) == [text, "x"]
    # and every other reader of YAML 1.1 sees text as well
    assert yaml.safe_load(written) == [text, "x"]
    first = read(Text(written)).items[0]
    assert not first.is_absent


def test_plain_words_stay_plain():
    for text in (
        "Long Acre",
        "3 m drill behind the tractor",
        "Smith & Sons",
        "office@larkmoor.example",
        "Šárka",
        "5 ft",
    ):
        assert scalar(text) == text
    assert scalar("Larkmoor, spring work") == "Larkmoor, spring work"
    assert scalar("Larkmoor, spring work", flow=True) == '"Larkmoor, spring work"'
    assert scalar("3 m ") == '"3 m "'


@given(st.data())
@settings(max_examples=100 * LONG, deadline=None)
def test_replacing_a_value_changes_its_bytes_and_no_other(data):
    text = LARKMOOR.replace("\n", data.draw(st.sampled_from(["\n", "\r\n"])))
    text = data.draw(st.sampled_from(["", "\ufeff"])) + text
    body = text.removeprefix("\ufeff")
    root = read(Text(body))
    path = data.draw(st.sampled_from(paths(root)))
    new = data.draw(texts)
    node = root
    for step in path:
        node = node.values[step] if isinstance(step, str) else node.items[step]

    changed = replace_value(text, path, new)

    before, after = body[: node.start], body[node.end :]
    changed = changed.removeprefix("\ufeff")
    assert changed.startswith(before)
    assert changed.endswith(after)
    again = read(Text(changed))
    expected = plain(root)
    holder = expected
    for step in path[:-1]:
        holder = holder[step]
    holder[path[-1]] = new
    assert plain(again) == expected


@pytest.mark.parametrize(
    ("text", "path", "new", "expected"),
    [
        ("a: 1 # one\n", ["a"], "2", "a: 2 # one\n"),
        ("a: 007\n", ["a"], "008", "a: 008\n"),
        ("a: 'x'\n", ["a"], "it's", "a: 'it''s'\n"),
        ('a: "x"\n', ["a"], "y", 'a: "y"\n'),
        ("a: x\n", ["a"], "null", 'a: "null"\n'),
        ("a: x\n", ["a"], "", 'a: ""\n'),
        ("a: x\n", ["a"], "y # z", 'a: "y # z"\n'),
        ("a: {b: x}\n", ["a", "b"], "1,5 m", 'a: {b: "1,5 m"}\n'),
        ("a:\nb: x\n", ["a"], "y", "a: y\nb: x\n"),
        ("a: |\n  x\n  y\n\nb: z\n", ["a"], "w", 'a: "w"\n\nb: z\n'),
        ("a: x\n  y\nb: z\n", ["a"], "w", "a: w\nb: z\n"),
        ("- x\n-\n", [1], "y", "- x\n- y\n"),
        ("a: x\n", ["a"], "y\nz", 'a: "y\\nz"\n'),
    ],
)
def test_the_style_of_the_author_stays_where_it_can(text, path, new, expected):
    assert replace_value(text, path, new) == expected


@pytest.mark.parametrize(
    ("path", "error", "said"),
    [
        (["b"], LookupError, "there is no b"),
        (["a", 2], LookupError, r"there is no a\.2"),
        (["a", "x"], LookupError, "there is no"),
        (["a"], ValueError, "a is no single value"),
        (["c", "d"], ValueError, r"no other value can be put at c\.d"),
    ],
)
def test_only_a_single_value_that_is_there_can_be_replaced(path, error, said):
    with pytest.raises(error, match=said):
        replace_value("a: [1, 2]\nc: {d}\n", path, "x")


def test_half_a_million_characters_in_one_scalar_are_quick():
    area = "MULTIPOLYGON (((" + ", ".join(f"{random.Random(n).random():.9f} 54" for n in range(40_000)) + ")))"
    began = time.process_time()
    assert plain(read(Text(f"fields:\n  - area: {area}\n")))["fields"][0]["area"] == area
    assert time.process_time() - began < 2
