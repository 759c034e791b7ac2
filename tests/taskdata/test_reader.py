import codecs
import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree
from specimens import (
    RING,
    TAIL,
    WHOLE_SET,
    anatomy,
    columns,
    field_with,
    judged,
    report_of,
    task_file,
    told,
    written_set,
)

from taskkit.errors import UnsafeInputError
from taskkit.taskdata import document
from taskkit.taskdata.document import TASK_FILE, Points, Source, Verbatim
from taskkit.taskdata.reader import MAX_DEPTH, decode, parse
from taskkit.taskdata.version import Version
from taskkit.taskdata.writer import serialise

WHOLE = (WHOLE_SET / "TASKDATA.XML").read_bytes()
ONE = '<PNT A="2" C="54.1" D="-1.25"/>'
LINES = RING.replace("><", ">\n      <")

AWKWARD = {
    "whole": WHOLE,
    "written": serialise(written_set().main),
    "one line": field_with(RING),
    "one point": field_with(ONE),
    "lines": field_with("\n" + LINES + "\n"),
    "CRLF": field_with("\n" + LINES + "\n").replace("\n", "\r\n"),
    "CR alone": field_with("\n" + LINES + "\n").replace("\n", "\r"),
    "tabs": field_with("\t" + RING.replace("><", ">\t<")),
    "comment with points": field_with(f"{RING}<!-- {RING} -->{RING}"),
    "comment that looks open": field_with(f"{RING}<!-- <!- < {RING} -->{RING}<!----><!-- > -->{RING}"),
    "comment that hides a CDATA section": field_with(f"<!-- <![CDATA[ -->{RING}<!-- ]]> -->"),
    "comment inside a tag's neighbours": field_with("".join(f"{ONE}<!--{n}-->" for n in range(5))),
    "CDATA with points": field_with(f"{RING}<![CDATA[{RING}<!-- ]]>{RING}"),
    "CDATA in two": field_with(f"{RING}<![CDATA[a]]><![CDATA[b]]>{RING}"),
    "empty CDATA between points": field_with(f"{ONE}<![CDATA[]]>{ONE}"),
    "white CDATA between points": field_with(f"{ONE}<![CDATA[ \n ]]>{ONE}"),
    "empty CDATA in a point": field_with(f'<PNT A="2" C="1" D="2"><![CDATA[]]></PNT>{RING}'),
    "instruction with points": field_with(f"{RING}<?note {RING}?>{RING}<?empty?>"),
    "instruction that hides a comment": field_with(f"<?note <!-- ?>{RING}<?note --> ?>"),
    "text between points": field_with(f"{ONE}a{ONE}  b &amp; c &lt;d> {RING}&#13;e"),
    "references to white space": field_with(f"{ONE}&#32;{ONE}&#10;{RING}"),
    "text in a point": field_with(f'<PNT A="2" C="1" D="2">text</PNT>{RING}'),
    "text after all": field_with(RING + "end"),
    "single quotes": field_with(RING.replace('"', "'")),
    "mixed quotes": field_with(f"""{RING}<PNT A="2" C='54.1' D="-1.25"/>{RING}"""),
    "other order": field_with('<PNT C="54.1" A="2" D="-1.25"/>' * 3 + RING),
    "blank before the slash": field_with(RING.replace("/>", " />")),
    "two blanks before the slash": field_with(RING.replace("/>", "  />")),
    "two blanks between": field_with(RING.replace(" C", "  C")),
    "line end inside a tag": field_with(RING.replace(" C", "\nC")),
    "blanks around equals": field_with(RING.replace('C="', 'C = "')),
    "closed by a tag": field_with('<PNT A="2" C="54.1" D="-1.25"></PNT>' * 3 + RING),
    "closed by a tag with blanks": field_with('<PNT A="2" C="54.1" D="-1.25"> </PNT >\n' * 3 + RING),
    "points with more": field_with(RING + RING.replace("/>", ' E="-120" G="PNT7" P123_x="1"/>', 1) + RING),
    "points with less": field_with(RING + '<PNT A="2" D="1"/><PNT/>' + RING),
    "points with names": field_with(RING + '<PNT A="1" B="a &#10; &gt; b/>" C="54.1" D="-1.25"/>' + RING),
    "odd numbers": field_with(
        "".join(f'<PNT A="2" C="{c}" D="{c}"/>' for c in ("+5", "-0", " 5 ", "5.", ".5", "05", "1e1", "91", "x", ""))
        + '<PNT A=" 2" C="0.1234567890123" D="-90.000000000001"/>'
    ),
    "points out of range": field_with(RING + RING.replace("54", "94") + RING),
    "point types unknown": field_with(RING + RING.replace('A="2"', 'A="12"') + RING),
    "points with children": field_with(f'{RING}<PNT A="2" C="1" D="2"><P123_q/>{ONE}</PNT>{RING}'),
    "points in points": field_with(f'<PNT A="2" C="1" D="2">{ONE}{ONE}</PNT>'),
    "comment in a point": field_with(f'<PNT A="2" C="1" D="2"><!-- c --></PNT>{RING}'),
    "proprietary elements between": field_with(f"{RING}<P123_q/>{RING}<P123_q>{RING}</P123_q>{RING}"),
    "points in a proprietary element": task_file(f"<P123_q>{RING}<LSG>{RING}</LSG>{RING}</P123_q>"),
    "points in an unknown element": task_file(f"<QQQ>{RING}<LSG>{RING}</LSG></QQQ>{RING}"),
    "points in the wrong place": task_file(f'{RING}<CTR A="CTR1" B="x">{RING}</CTR>{RING}'),
    "points of a field": task_file(f'<PFD A="PFD1" C="x" D="1">{RING}<LSG A="1">{RING}</LSG>{RING}</PFD>'),
    "empty ends of a run": field_with(f'\n\n  {RING}  \n\n<LSG A="1"/>  {RING}\n\n'),
    "point as root": ONE,
    "run as root": RING,
    "run after the root": field_with(RING) + RING,
    "run before the root": RING + field_with(RING),
    "nothing": "",
    "blanks": " \n ",
    "only a declaration": '<?xml version="1.0"?>',
    "declaration late": "\n" + '<?xml version="1.0"?>' + field_with(RING),
    "comment before the root": f"<!-- {RING} -->\n" + field_with(RING) + f"\n<!-- {RING} -->\n<?x?>",
    "doctype": f'<!DOCTYPE ISO11783_TaskData [<!ENTITY p "{RING}">]>' + field_with(f"{RING}&p;{RING}"),
    "doctype with a comment": f"<!DOCTYPE a [<!-- {RING} --> <!ELEMENT a ANY>]>" + field_with(RING),
    "unknown entity": field_with(f"{RING}&x;{RING}"),
    "unfinished comment": field_with(f"{RING}<!-- {RING}"),
    "unfinished CDATA": field_with(f"{RING}<![CDATA[ {RING}"),
    "unfinished instruction": field_with(f"{RING}<?x {RING}"),
    "unfinished tag": field_with(RING)[:-60],
    "points in an attribute": field_with(RING, before=f"<CTR A='CTR1' B='{ONE}'/>"),
    "wrong closing tag": field_with(RING).replace("</PLN>", "</PFD>"),
    "double attribute": field_with(RING + '<PNT A="2" A="2" C="1" D="2"/>' + RING),
    "double hyphen": field_with(f"{RING}<!-- a -- b -->{RING}"),
    "namespaces": field_with(RING).replace("<PFD", '<PFD xmlns="urn:x" xmlns:y="urn:y" y:z="1"'),
    "other alphabets": field_with(RING, before='<CTR A="CTR1" B="Łąka 農場 \U0001f33e"/>', after="<ü/>").replace(
        "Long", "Größe"
    ),
    "characters that XML has not": field_with(f"{RING}\x01{RING}"),
    "reference to such a character": field_with(f"{RING}&#1;{RING}"),
    "bytes that are no text": field_with(RING).encode() + b"\xff",
    "bytes that are no text in a name": field_with(RING).encode().replace(b"Long", b"L\xf8ng"),
    "BOM": codecs.BOM_UTF8 + field_with(RING).encode(),
    "BOM and declaration": codecs.BOM_UTF8 + b'<?xml version="1.0" encoding="UTF-8"?>' + field_with(RING).encode(),
    "Latin-1": '<?xml version="1.0" encoding="ISO-8859-1"?>\n'.encode("latin-1")
    + field_with(RING).replace("Long", "Größe").encode("latin-1"),
    "windows-1252": b'<?xml version="1.0" encoding="windows-1252"?>'
    + field_with(RING, after="<!-- \u20ac -->").encode("cp1252"),
    "UTF-16": ('<?xml version="1.0" encoding="UTF-16"?>\n' + field_with(RING).replace("Long", "農")).encode("utf-16"),
    "UTF-16 of the other order": codecs.BOM_UTF16_BE + field_with(RING).encode("utf-16-be"),
    "UTF-16 cut": field_with(RING).encode("utf-16")[:-1],
    "UTF-32": field_with(RING).encode("utf-32"),
    "unknown encoding": b'<?xml version="1.0" encoding="x-farm"?>' + field_with(RING).encode(),
    "encoding of another kind": b'<?xml version="1.0" encoding="rot13"?>' + field_with(RING).encode(),
    "not in the encoding declared": b'<?xml version="1.0" encoding="windows-1252"?>\x81' + field_with(RING).encode(),
    "version 1.1": '<?xml version="1.1"?>' + field_with(RING),
}
AWKWARD = {name: text if isinstance(text, bytes) else text.encode() for name, text in AWKWARD.items()}
BLOCKS = (1, 7, 64, 1000, 1 << 20)

awkward = pytest.mark.parametrize("data", AWKWARD.values(), ids=AWKWARD.keys())


@awkward
def test_both_ways_keep_the_same_and_say_the_same_whatever_the_blocks(data):
    root, report = judged(data, fast=False, block=1 << 20)
    for fast, block in itertools.product((True, False), BLOCKS):
        other, other_report = judged(data, fast=fast, block=block)
        assert told(other_report) == told(report), (fast, block)
        assert (other is None) == (root is None)
        if root is not None:
            assert anatomy(other) == anatomy(root), (fast, block)
            assert columns(other) == columns(root)


@awkward
def test_elements_attributes_and_lines_are_those_of_the_reference_parser(data):
    # libxml2 through lxml: the same order, names, texts and lines (it counts lines right up to 65,534).
    root, _ = judged(data, fast=True, block=1 << 20)
    source, problem = decode(TASK_FILE, data)
    if problem is not None:
        return
    try:
        reference = etree.fromstring(source.data, etree.XMLParser(encoding="utf-8", remove_comments=True))
    except etree.XMLSyntaxError:
        assert root is None
        return
    if root is None:
        assert b"<!DOCTYPE" in data
        return

    def flat(element):
        yield element
        for child in element.children:
            if isinstance(child, Points):
                yield from child.elements()
            elif not isinstance(child, Verbatim):
                yield from flat(child)

    def names(element):
        own = element.nsmap.keys() - (element.getparent().nsmap.keys() if element.getparent() is not None else set())
        return etree.QName(element).localname, len(element.attrib) + len(own)

    mine, theirs = list(flat(root)), list(reference.iter(etree.Element))
    assert [(e.tag, len(e.attributes)) for e in mine] == [names(e) for e in theirs]
    for one, other in zip(mine, theirs, strict=True):
        plain = [(code, text) for code, text in one.attributes.items() if ":" not in code and code != "xmlns"]
        assert plain == [(code, text) for code, text in other.attrib.items() if not code.startswith("{")]
        if b"\r" not in data:
            # libxml2 gives the line in which a tag ends.
            assert one.where().line <= other.sourceline <= one.where().line + source.data.count(b"\nC=")


def test_canonical_points_are_taken_in_bulk_and_only_those():
    root, _ = judged(AWKWARD["points with more"], fast=True, block=1 << 20)
    runs = [run for e in root.walk() for run in e.points()]
    assert [(len(run), run.canonical) for run in runs] == [(4, True), (1, False), (7, True)]
    slow, _ = judged(AWKWARD["points with more"], fast=False, block=1 << 20)
    assert [(len(run), run.canonical) for e in slow.walk() for run in e.points()] == [(12, False)]


@pytest.mark.parametrize("hiding", ["<!-- <![CDATA[ -->", "<![CDATA[<!-- ]]>", "<?note <!-- ?>", f"<!-- {ONE} -->"])
def test_what_hides_text_hides_none_of_the_points_behind_it(hiding):
    root, _ = judged(field_with(hiding + RING).encode(), fast=True, block=1 << 20)
    assert [(len(run), run.canonical) for e in root.walk() for run in e.points()] == [(4, True)]


def test_a_byte_order_mark_is_no_part_of_the_text():
    for mark, encoding in ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le")):
        _, report = judged(mark + task_file("").replace("Major", "Magor").encode(encoding), fast=True, block=7)
        assert {str(f.where) for f in report if f.rule == "attribute-unknown"} == {"TASKDATA.XML:1:20"}


def test_coordinates_that_are_no_numbers_are_told_apart():
    texts = ["1" * 300 + "x", "1" * 300, "+5", " .5\n", "5.", "1e1", "", "-", "\u0663", "NaN", "1_0"]
    points = "".join(f'<PNT C="{text}"/>' for text in texts)
    root, _ = judged(field_with(points).encode(), fast=True, block=1 << 20)
    latitudes = next(e for e in root.walk() if e.tag == "LSG").lonlat()[:, 1]
    assert np.isnan(latitudes).tolist() == [True, False, False, False, False] + [True] * 6
    assert latitudes[2:5].tolist() == [5.0, 0.5, 5.0]


def test_the_skeleton_has_the_first_point_of_each_run_and_all_else():
    source, _ = decode(TASK_FILE, AWKWARD["lines"])
    assert parse(source, proof=Version.V4_3).skeleton.decode() == field_with("\n" + ONE + "\n")
    assert parse(source).skeleton == source.data


def test_places_are_counted_in_characters_and_lines_of_the_file():
    text = field_with(
        "\r\n" + ONE.replace("/>", ' B="x"/>'), before='\r\n<CTR A="CTR1" B="農場"/><CTR A="CTR2" B="x"/>'
    )
    root, _ = judged(text.encode(), fast=True, block=1 << 20)
    first, second = root.elements("CTR")
    assert (first.where().line, first.where().column) == (2, 1)
    assert (second.where().line, second.where().column) == (2, 23)
    assert (second.where("B").line, second.where("B").column) == (2, 37)
    (point,) = next(e for e in root.walk() if e.tag == "LSG").point_elements()
    assert (point.where("B").line, point.where("B").column) == (3, 31)


def test_a_place_far_out_in_one_line_is_found_without_reading_the_line_again():
    text = "ü€🌾x" * 40_000 + "\n" + "ü€🌾x" * 40_000
    data = text.encode()
    source = Source("one.xml", data)
    for character in (0, 1, 4095, 4096, 4097, 100_000, 159_999, 160_001, 160_001 + 99_998):
        offset = len(text[:character].encode())
        line, begin = (1, 0) if character < 160_001 else (2, 160_001)
        assert source.position(offset) == (line, character - begin + 1)
    assert Source("none.xml", b"").position(0) == (1, 1)


@given(st.text("aü€🌾\n\r ", max_size=60), st.integers(0, 60), st.integers(1, 9))
def test_a_place_is_the_same_by_either_way_of_counting(text, character, stride):
    offset = len(text[:character].encode())
    before = text[:character].rpartition("\n")
    kept = document._STRIDE
    try:
        document._STRIDE = stride
        place = Source("x", text.encode()).position(offset)
    finally:
        document._STRIDE = kept
    assert place == (text[:character].count("\n") + 1, len(before[2]) + 1)


@pytest.mark.parametrize("fast", [True, False], ids=["fast", "slow"])
def test_text_of_any_length_is_one_piece_and_one_finding(fast):
    text = ("word " + " " * 9000 + "\n") * 40
    for block in (1 << 10, 1 << 20):
        root, report = judged(field_with(f"{ONE}{text}{ONE}").encode(), fast=fast, block=block)
        assert [f.rule for f in report] == ["text-between-elements"]
        ring = next(e for e in root.walk() if e.tag == "LSG")
        assert [c.raw for c in ring.children if isinstance(c, Verbatim)] == [text.strip().encode()]


SMALL = field_with(RING + '<PNT A="1" B="&lt;ü" C="1" D="2"/><!-- c --><?p i?><![CDATA[t]]>').encode()


@pytest.mark.parametrize("fast", [True, False], ids=["fast", "slow"])
def test_a_file_cut_at_any_byte_is_a_finding_with_a_place_and_never_an_exception(fast):
    for end in range(len(SMALL)):
        root, report = judged(SMALL[:end], fast=fast, block=1 << 20)
        assert root is None
        (stop,) = [f for f in report if f.rule.startswith("xml-")]
        assert stop.rule == "xml-not-well-formed"
        assert stop.where.line == 1
        assert 1 <= stop.where.column <= end + 1
        if end % 5 == 0:
            assert told(report) == told(judged(SMALL[:end], fast=not fast, block=7)[1])


def test_a_cut_file_read_as_a_set_holds_nothing_and_says_why():
    report = report_of(SMALL[:-5], oracle=True)
    assert [f.rule for f in report if f.severity.word == "error"] == ["text-between-elements", "xml-not-well-formed"]
    assert not report.crashed


@pytest.mark.parametrize(
    ("name", "rule", "said"),
    [
        ("unknown encoding", "xml-encoding-unreadable", "in its encoding x-farm"),
        ("encoding of another kind", "xml-encoding-unreadable", "in its encoding rot13"),
        ("not in the encoding declared", "xml-encoding-unreadable", "in its encoding windows-1252"),
        ("UTF-16 cut", "xml-encoding-unreadable", "in its encoding utf-16"),
        ("UTF-32", "xml-not-well-formed", "not well-formed"),
        ("bytes that are no text", "xml-not-well-formed", "not well-formed"),
        ("bytes that are no text in a name", "xml-not-well-formed", "not well-formed"),
        ("characters that XML has not", "xml-not-well-formed", "not well-formed"),
        ("doctype", "xml-doctype-present", "document type declaration"),
        ("nothing", "xml-not-well-formed", "no element found"),
        ("wrong closing tag", "xml-not-well-formed", "mismatched tag"),
        ("unknown entity", "xml-not-well-formed", "undefined entity"),
        ("run as root", "xml-not-well-formed", "junk after document element"),
    ],
)
def test_what_stops_the_reading_is_said(name, rule, said):
    root, report = judged(AWKWARD[name], fast=True, block=1 << 20)
    (found,) = [f for f in report if f.rule.startswith("xml-")]
    assert root is None
    assert (found.rule, said in found.message) == (rule, True), found.message


def test_reading_stops_at_a_doctype_before_its_entities_are_looked_at():
    data = b"<!DOCTYPE a [" + b'<!ENTITY a "b">' * 3 + b"<!ENTITY broken"
    _, report = judged(data, fast=True, block=1 << 20)
    assert [(f.rule, str(f.where)) for f in report] == [("xml-doctype-present", "TASKDATA.XML:1:1")]


@pytest.mark.parametrize("fast", [True, False], ids=["fast", "slow"])
def test_nesting_has_a_bound_with_a_place(fast):
    proof = Version.V4_3 if fast else None
    deepest = "<P1_a>" * MAX_DEPTH + "</P1_a>" * MAX_DEPTH
    assert parse(Source("x", deepest.encode()), proof=proof).root is not None
    with pytest.raises(UnsafeInputError, match=rf"x:2:{6 * (MAX_DEPTH - 1) + 1}: elements are nested more than"):
        parse(Source("x", f"<P1_a>\n{deepest[6:]}".replace("<P1_a></", "<P1_a><a/></").encode()), proof=proof)


def many_lines(points, *, canonical=True):
    """A file whose points stand one to a line, so that the line of a point is known."""
    end = "/>" if canonical else ' E="5"/>'
    lines = "\n".join(f'<PNT A="2" C="54.{n:06d}" D="-1.{n:06d}"{end}' for n in range(points))
    return field_with("\n" + lines + "\n").encode()


@pytest.mark.parametrize(
    ("fast", "canonical"), [(True, True), (True, False), (False, True)], ids=["fast", "fast, with more", "slow"]
)
def test_lines_are_right_above_65535(fast, canonical):
    # libxml2 keeps a line in 16 bits and is wrong from there on.
    data = many_lines(70_000, canonical=canonical)
    broken = data.replace(b'C="54.069000"', b'C="94.069000"')
    _, report = judged(broken, fast=fast, block=1 << 20)
    assert [(f.rule, f.where.line, f.where.column) for f in report] == [("attribute-out-of-range", 69_002, 12)]
    root, _ = judged(data, fast=fast, block=1 << 20)
    ring = next(e for e in root.walk() if e.tag == "LSG")
    points = list(itertools.islice(ring.point_elements(), 69_990, None))
    assert [p.where().line for p in points] == list(range(69_992, 70_002))
    assert [p.ordinal for p in points] == list(range(69_991, 70_001))


def test_half_a_million_points_are_one_slice_with_the_right_columns():
    data = many_lines(500_000)
    source, _ = decode(TASK_FILE, data)
    root = parse(source, proof=Version.V4_3).root
    (run,) = [run for e in root.walk() for run in e.points()]
    expected = np.arange(500_000) / 1e6
    assert run.canonical
    assert len(run) == 500_000
    assert np.abs(run.lonlat() - np.column_stack([-1 - expected, 54 + expected])).max() < 1e-12
    assert root.elements is not None
    assert sum(1 for _ in root.walk()) == 4


pieces = st.lists(
    st.sampled_from(
        # Whole and broken pieces alike.
        [
            *(ONE, RING, "\n", " ", "<!--", "-->", "<![CDATA[", "]]>", "<?p ", "?>", "text", "&amp;", "é", "--"),
            *(
                '<PNT A="2"',
                "/>",
                "</PNT>",
                '<PNT A="2" C="1" D="2">',
                "<P1_q>",
                "</P1_q>",
                "<LSG>",
                "</LSG>",
                ' B=">"',
            ),
            *('<PNT A="12" C="1" D="2"/>', '<PNT A="2" C="1" D="181"/>', '<PNT A="2" C="1" D="2" E="x"/>', "<", ">"),
        ]
    ),
    max_size=14,
)


@given(pieces, st.sampled_from([1, 3, 16, 1 << 20]))
def test_both_ways_agree_on_whatever_is_strung_together(parts, block):
    data = field_with("".join(parts)).encode()
    fast, fast_report = judged(data, fast=True, block=block)
    slow, slow_report = judged(data, fast=False, block=1 << 20)
    assert told(fast_report) == told(slow_report)
    assert (fast and anatomy(fast)) == (slow and anatomy(slow))


def test_the_tail_of_a_file_matters_as_well():
    root, report = judged(field_with(RING).encode() + b"\n<!-- end -->\n", fast=True, block=16)
    assert root is not None
    assert not report.findings
    assert judged(field_with(RING).encode().replace(TAIL.encode(), b""), fast=True, block=16)[0] is None
