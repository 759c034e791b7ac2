import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree
from specimens import RING, WHOLE_SET, content, field_with, judged, task_file, written_set

from taskkit.taskdata.document import Element, Points
from taskkit.taskdata.writer import serialise

WHOLE = (WHOLE_SET / "TASKDATA.XML").read_bytes()
LINKS = (WHOLE_SET / "LINKLIST.XML").read_bytes()


def root_of(data, *, fast=True):
    root, report = judged(data, fast=fast, block=1 << 20)
    assert root is not None, [f.message for f in report]
    return root


@pytest.mark.parametrize("fast", [True, False], ids=["fast", "slow"])
@pytest.mark.parametrize("data", [WHOLE, LINKS], ids=["task file", "link list"])
def test_read_and_written_the_data_are_the_same_to_the_letter(data, fast):
    root = root_of(data, fast=fast)
    again = root_of(serialise(root), fast=not fast)
    assert content(again) == content(root)


@pytest.mark.parametrize("data", [WHOLE, LINKS], ids=["task file", "link list"])
def test_the_reference_parser_sees_the_same_data_before_and_after(data):
    # Canonical XML 1.0 of libxml2, white space between elements and sorting of attributes aside.
    def seen(text):
        return [(e.tag, list(e.attrib.items()), (e.text or "").strip()) for e in etree.fromstring(text).iter()]

    assert seen(serialise(root_of(data))) == seen(data)


def test_what_was_written_once_is_written_the_same_again():
    once = serialise(root_of(WHOLE))
    assert serialise(root_of(once)) == once


@pytest.mark.parametrize(
    "tag",
    [
        '<PNT A="2" C="48.10" D="9.00"/>',
        '<PNT A="2" C="48.123456789012345" D="9.1234567890123456"/>',
        '<PNT A="2" C="+048.1" D="-0"/>',
        '<PNT P123_x="7" A="2" C="48.1" D="9" P123_y=""/>',
        '<PNT D="9" C="48.1" A="2"/>',
        '<PNT A="2" C="48.1" D="9" B="a &amp; b &lt; c" G="PNT1"/>',
    ],
)
def test_points_that_were_read_are_written_as_they_stood(tag):
    assert tag.encode() in serialise(root_of(field_with(f"{RING}{tag}{RING}").encode()))


@pytest.mark.parametrize(
    "tag",
    [
        '<CTR A="CTR1" B="first&#10;second&#9;third&#13;"/>',
        '<CTR B="before its id" A="CTR1" P123_x="" M="&quot;quoted&quot; &lt;&amp;&gt;"/>',
        '<FRM A="FRM1" B="  blanks  "/>',
        '<P123_Shed door="left"><P123_Shelf/>text<!-- note --></P123_Shed>',
        '<QQQ a="1"><CTR x="y"/></QQQ>',
        '<VPN A="VPN1" B="0" C="0.010" D="1"/>',
        '<CTR A="CTR1" B="Łąka 農場 \U0001f33e &#x85;\u2028"/>',
        '<ü ö="ä"/>',
        '<x:y xmlns:x="urn:x" x:z="1"/>',
    ],
)
def test_names_texts_and_order_come_back_exactly(tag):
    root = root_of(task_file(tag).encode())
    again = root_of(serialise(root))
    assert content(again) == content(root)
    (mine,) = root.elements()
    theirs = etree.fromstring(tag)
    assert [t for c, t in mine.attributes.items() if "xmlns" not in c] == list(theirs.attrib.values())


def test_carriage_returns_in_text_survive():
    root = root_of(task_file("<P1_a>a&#13;b</P1_a>").encode())
    assert content(root_of(serialise(root))) == content(root)


def test_pieces_that_are_no_data_stay_at_their_place():
    root = root_of(field_with(f"<!-- before -->{RING}<?p x?>{RING}<!-- after -->words").encode())
    lines = serialise(root).decode().splitlines()
    kept = [line.strip() for line in lines if not re.match(r" *(<PNT.*|</?(ISO|PFD|PLN|LSG|\?xml).*)", line)]
    assert kept == ["<!-- before -->", "<?p x?>", "<!-- after -->", "words"]


def test_a_set_of_our_own_reads_back_with_the_same_points():
    main = written_set().main
    root = root_of(serialise(main))
    assert content(root) == content(main)
    for mine, back in zip(main.walk(), root.walk(), strict=True):
        assert mine.lonlat().tobytes() == back.lonlat().tobytes()


names = st.from_regex(r"[A-Za-z_][A-Za-z0-9_.\-]{0,8}", fullmatch=True) | st.sampled_from(["PNT", "LSG", "é", "農"])
texts = st.text(
    st.characters(exclude_categories=["Cs"], exclude_characters="\ufffe\uffff", min_codepoint=32)
    | st.sampled_from("\t\n\r\"'<>&"),
    max_size=12,
)
codes = names.filter(lambda name: name != "xmlns")
trees = st.recursive(
    st.builds(Element, names, st.dictionaries(codes, texts, max_size=4)),
    lambda children: st.builds(
        lambda tag, attributes, inside: grown(Element(tag, attributes), inside),
        names,
        st.dictionaries(codes, texts, max_size=3),
        st.lists(children, max_size=5),
    ),
    max_leaves=20,
)


def grown(element, inside):
    for child in inside:
        element.add(child)
    return element


@given(trees)
def test_any_tree_comes_back_with_the_same_names_texts_and_order(tree):
    for fast in (True, False):
        back = root_of(serialise(tree), fast=fast)
        assert content(back) == content(tree)
        assert serialise(back) == serialise(root_of(serialise(back)))


@given(trees)
def test_the_reference_parser_reads_the_same_from_what_we_write(tree):
    def flat(element):
        yield element.tag, list(element.attributes.items())
        for child in element.elements():
            yield from flat(child)

    assert [(e.tag, list(e.attrib.items())) for e in etree.fromstring(serialise(tree)).iter()] == list(flat(tree))


def test_a_point_without_children_that_was_made_as_an_element_becomes_part_of_a_slice():
    root = root_of(serialise(grown(Element("LSG"), [Element("PNT", {"A": "2"}), Element("PNT")])))
    (run,) = root.children
    assert isinstance(run, Points)
    assert [p.attributes for p in run.elements()] == [{"A": "2"}, {}]
