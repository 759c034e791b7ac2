import pytest
from specimens import RING, WHOLE_SET, Held, field_with, reading_of, report_of, task_file, told

from taskkit.findings import Confidence, Severity
from taskkit.findings.finding import SHOWN_OF_A_KIND
from taskkit.taskdata import conformance, schema, sets
from taskkit.taskdata.conformance import DICTIONARY_KINDS
from taskkit.taskdata.dictionary import TASK_ROOT, dictionary
from taskkit.taskdata.sets import read_set
from taskkit.taskdata.store import open_store
from taskkit.taskdata.version import Version

HEAD_END = ' DataTransferOrigin="1">'


def only(report):
    (found,) = report
    return found


def lines(*inside):
    """A task file whose root stands in line 1 and each of these in a line of its own from line 2 on."""
    return task_file("\n" + "\n".join(inside) + "\n")


def test_a_sound_set_has_no_findings_and_the_schema_agrees():
    whole = [(WHOLE_SET / name).read_bytes() for name in ("TASKDATA.XML", "LINKLIST.XML")]
    report = report_of(*whole, oracle=True)
    assert {f.rule for f in report} == {"proprietary-element", "proprietary-attribute"}
    assert (report.crashed, report.skipped) == ((), ())


# One defect each: where it is told, and how.

CTR = '<CTR A="CTR1" B="Ada"/>'
RING_OF = '<PFD A="PFD1" C="Long Acre" D="1"><PLN A="1"><LSG A="1">{}</LSG></PLN></PFD>'

DEFECTS = {
    "element-unknown": (
        lines(CTR, "  <QQQ/>"), "error", 3, 3, "/ISO11783_TaskData/QQQ[1]", None,
        "This version of the standard has no element QQQ (in ISO11783_TaskData).",
        "Remove it, or name it as a proprietary element: P, the manufacturer's code, an underscore, a name.",
    ),
    "element-misplaced": (
        lines('<CTR A="CTR1" B="Ada"> <FRM A="FRM1" B="x"/></CTR>'), "error", 2, 24,
        "/ISO11783_TaskData/CTR[1]/FRM[1]", "FRM1", "FRM does not belong into CTR.",
        "Move it: FRM may stand in ISO11783_TaskData.",
    ),
    "root-element-wrong": (
        '<?xml version="1.0"?>\n <CTR A="CTR1" B="Ada"/>', "error", 2, 2, "/CTR", "CTR1",
        "The file begins with the element CTR, not with ISO11783_TaskData.",
        "Is this the right file? Its root must be ISO11783_TaskData.",
    ),
    "element-missing": (
        lines('<PFD A="PFD1" C="x" D="1"><PLN A="1"/></PFD>'), "error", 2, 27, "/ISO11783_TaskData/PFD[1]/PLN[1]", None,
        "PLN has 0 LSG, at least 1 needed.", "Add what is missing, or remove the PLN.",
    ),
    "element-too-often": (
        lines('<CCT A="CCT1" B="x" C="1"/>', '<TSK A="TSK1" G="1">', '<DAN A="0F"><ASP A="2026-09-14T07:30:00" D="1"/>'
              '<ASP A="2026-09-14T07:30:00" D="1"/></DAN></TSK>'),
        "error", 4, 1, "/ISO11783_TaskData/TSK[1]/DAN[1]", None, "DAN has 2 ASP, at most 1 allowed.",
        "Keep the one that is meant.",
    ),
    "attribute-unknown": (
        lines('<CTR A="CTR1" B="Ada" Z="1"/>'), "error", 2, 23, "/ISO11783_TaskData/CTR[1]", "CTR1",
        "CTR has no attribute Z in this version of the standard.",
        "Remove it, or name it as a proprietary attribute: P, the manufacturer's code, an underscore, a name.",
    ),
    "attribute-missing": (
        lines(CTR, ' <FRM A="FRM-7"/>'), "error", 3, 2, "/ISO11783_TaskData/FRM[1]", "FRM-7",
        "FRM lacks its attribute B (FarmDesignator).", "Give it a value.",
    ),
    "attribute-malformed": (
        lines('<PFD A="PFD1" C="Øst" D="4 ha"/>'), "error", 2, 23, "/ISO11783_TaskData/PFD[1]", "PFD1",
        'PFD D (PartfieldArea) is "4 ha": not a whole number.', "Write a whole number.",
    ),
    "attribute-out-of-range": (
        lines(RING_OF.format(RING + '\n<PNT A="2" C="90.1" D="1"/>')), "error", 3, 12,
        "/ISO11783_TaskData/PFD[1]/PLN[1]/LSG[1]/PNT[5]", None,
        'PNT C (PointNorth) is "90.1", allowed is from -90 to 90.', "Correct the value; is its unit right?",
    ),
    "attribute-too-long": (
        lines(f'<CTR A="CTR1" B="{"ø" * 33}"/>'), "error", 2, 15, "/ISO11783_TaskData/CTR[1]", "CTR1",
        f'CTR B (CustomerLastName) is "{"ø" * 33}": 33 long, allowed is at most 32 characters.',
        "Shorten it yourself; a terminal cuts it where it likes.",
    ),
    "attribute-value-unknown": (
        lines('<TSK A="TSK1" G="9"/>'), "error", 2, 15, "/ISO11783_TaskData/TSK[1]", "TSK1", None,
        "Choose one of the values of the list.",
    ),
    "text-between-elements": (
        lines(CTR, ' <FRM A="FRM1" B="x">text</FRM>'), "error", 3, 2, "/ISO11783_TaskData/FRM[1]", "FRM1",
        "There is text inside FRM; all data of the standard stand in attributes.",
        "Remove the text, or put what it says into an attribute.",
    ),
    "xml-namespace-present": (
        lines('<CTR A="CTR1" B="Ada" xmlns="urn:x"/>'), "error", 2, 23, "/ISO11783_TaskData/CTR[1]", "CTR1",
        'CTR declares the default namespace "urn:x"; the standard\'s elements have none.',
        "Remove the xmlns attribute.",
    ),
    "proprietary-element": (
        lines(CTR, "<P123_Shed/>"), "note", 3, 1, "/ISO11783_TaskData/P123_Shed[1]", None,
        "P123_Shed is a manufacturer's own element; it is kept as it is.",
        "Nothing to do; receivers of other makes pass it over.",
    ),
    "proprietary-attribute": (
        lines(RING_OF.format(RING + '<PNT P9_x="a" A="2" C="1" D="2"/>')), "note", 2,
        len(RING_OF.partition("{")[0] + RING + "<PNT P"),
        "/ISO11783_TaskData/PFD[1]/PLN[1]/LSG[1]/PNT[5]", None,
        "PNT has the manufacturer's own attribute P9_x; it is kept as it is.",
        "Nothing to do; receivers of other makes pass it over.",
    ),
    "identifier-duplicate": (
        lines(CTR, '<FRM A="FRM1" B="x"/>', '<CTR A="CTR1" B="Bo"/>'), "error", 4, 1,
        "/ISO11783_TaskData/CTR[2]", "CTR1",
        "The identifier CTR1 is given twice; the first stands in line 2.",
        "Give one of the two a number of its own, and mend what refers to it.",
    ),
    "reference-without-target": (
        lines('<FRM A="FRM1" B="x" I="CTR7"/>'), "error", 2, 21, "/ISO11783_TaskData/FRM[1]", "FRM1",
        'FRM I (CustomerIdRef) refers to "CTR7", which is not in the set.',
        "Add the CTR that is meant, or remove the reference.",
    ),
}  # fmt: skip


@pytest.mark.parametrize("fast", [True, False], ids=["fast", "slow"])
@pytest.mark.parametrize("rule", DEFECTS)
def test_a_defect_is_told_once_at_its_place_in_words(rule, fast):
    text, severity, line, column, element, identity, message, hint = DEFECTS[rule]
    report = report_of(text, fast=fast, oracle=True)
    found = only(report)
    assert (found.rule, found.severity.word) == (rule, severity)
    assert (found.where.file, found.where.line, found.where.column) == ("TASKDATA.XML", line, column)
    assert (found.where.element, found.where.id) == (element, identity)
    assert message is None or found.message == message
    assert found.hint == hint
    assert (report.crashed, report.skipped) == ((), ())


def test_a_reference_to_another_element_is_told():
    # The pattern of every sure reference has its target's letters: what points elsewhere is malformed as well.
    report = report_of(lines(CTR, '<TSK A="TSK1" G="1" E="CTR1"/>'))
    malformed, wrong = report
    assert (malformed.rule, malformed.message) == (
        "attribute-malformed", 'TSK E (PartfieldIdRef) is "CTR1": not an identifier such as PFD1.'
    )  # fmt: skip
    assert (wrong.rule, str(wrong.where)) == ("reference-to-wrong-element", "TASKDATA.XML:3:21")
    assert wrong.message == 'TSK E (PartfieldIdRef) refers to "CTR1", which is no PFD.'
    assert wrong.hint == "Refer to a PFD."


def test_every_kind_has_its_test_here():
    tested = {*DEFECTS, "reference-to-wrong-element"}
    declared = {kind.name for kind in vars(conformance).values() if isinstance(kind, conformance.Kind)}
    assert tested == declared
    assert {kind.name for kind in DICTIONARY_KINDS} == {
        name for name in declared if not name.startswith(("reference-", "identifier-"))
    }


def test_an_unknown_value_names_those_that_are_known():
    message = only(report_of(lines('<TSK A="TSK1" G="9"/>'))).message
    assert message.startswith('TSK G (TaskStatus) is "9", not one of 1 (')
    assert message.endswith(").")


def test_octets_are_counted_as_octets():
    tag = '<DVC A="DVC1" D="{}" F="00" G="00"><DET A="DET1" B="1" C="1" E="0" F="0"/></DVC>'
    assert list(report_of(lines(tag.format("0F" * 8)))) == []
    assert "9 long, allowed is at most 8 bytes" in only(report_of(lines(tag.format("0F" * 9)))).message


def test_long_values_and_names_are_cut_in_messages():
    report = report_of(lines(f'<CTR A="CTR1" B="{"x" * 100}" {"y" * 100}="1"/>', f"<{'z' * 100}/>"))
    messages = [f.message for f in report]
    assert 'is "' + "x" * 60 + '...": 100 long' in messages[0]
    assert "no attribute " + "y" * 60 + "... in" in messages[1]
    assert "no element " + "z" * 60 + "... (in" in messages[2]


@pytest.mark.parametrize("fast", [True, False], ids=["fast", "slow"])
@pytest.mark.parametrize(
    ("point", "rules"),
    [
        ('<PNT A="2" C="1" D="2"/>', []),
        ("<PNT D='2' A='2' C='1'></PNT>", []),
        ('<PNT A="2" C="1" D="2" B="x" E="-5" F="4" H="0.1" I="0.1" K="7"/>', []),
        ('<PNT A="2" C="1" D="2" G="PNT1"/>', []),
        ("<PNT/>", ["attribute-missing"] * 3),
        ('<PNT A="2" D="2"/>', ["attribute-missing"]),
        ('<PNT A="2" C="1" D="2" E="x"/>', ["attribute-malformed"]),
        ('<PNT A="2" C="1" D="2" G="PFD1"/>', ["attribute-malformed", "identifier-duplicate"]),
        ('<PNT A="2" C="1" D="2" L="1"/>', ["attribute-unknown"]),
        ('<PNT A="2" C="1" D="2" P1_x="1"/>', ["proprietary-attribute"]),
        ('<PNT A="2" C="1" D="2">x</PNT>', ["text-between-elements"]),
        ('<PNT A="2" C="1" D="2"><PNT A="2" C="1" D="2"/></PNT>', ["element-misplaced"]),
        ('<PNT A="2" C="1" D="2"><P1_x/></PNT>', ["proprietary-element"]),
    ],
)
def test_points_are_judged_like_any_other_element(point, rules, fast):
    report = report_of(field_with(RING + point + RING), fast=fast, oracle=True)
    assert sorted(f.rule for f in report) == rules
    assert report.crashed == ()


def test_points_in_the_wrong_place_are_each_told():
    report = report_of(task_file(RING + f"<P1_x>{RING}</P1_x>"))
    assert [f.rule for f in report] == ["element-misplaced"] * 4 + ["proprietary-element"]


# What is not surely remembered.


@pytest.mark.parametrize(
    ("text", "rule", "said"),
    [
        (lines('<PFD A="PFD1" C="x" D="1"><GGP A="GGP1"/></PFD>'), "element-missing", "GGP has 0 GPN, at least 1"),
        (
            lines('<TSK A="TSK1" G="1"><OTP A="CPC1"/><OTP A="CPC1"/></TSK>', '<CPC A="CPC1" B="x"/>'),
            "element-too-often", "TSK has 2 OTP, at most 1 allowed",
        ),
        (task_file("").replace(' ManagementSoftwareVersion="1"', ""), "attribute-missing", "lacks its attribute"),
        (lines('<TCC A="0F" B="x" C="9" D="1" E="1" F="1" G="1"/>'), "attribute-value-unknown", 'is "9", not one of'),
        (lines('<TCC A="0F" B="x" C="4" D="64" E="1" F="1" G="1"/>'), "attribute-out-of-range", 'is "64", allowed is'),
        (lines('<TCC A="F" B="x" C="4" D="1" E="1" F="1" G="1"/>'), "attribute-malformed", "not pairs of hexadecimal"),
        (lines(f'<AFE A="{"x" * 13}" B="1" C="y" D="1"/>'), "attribute-too-long", "at most 12 characters"),
    ],
)  # fmt: skip
def test_what_is_not_surely_remembered_makes_a_warning_that_says_so(text, rule, said):
    report = report_of(text, oracle=True)
    found = only(report)
    assert (found.rule, found.severity) == (rule, Severity.WARNING)
    assert said in found.message
    assert "(recalled with medium confidence: look it up in the standard)." in found.message
    assert report.crashed == ()


def test_no_error_cites_a_row_that_is_not_sure():
    head, first, rest = (WHOLE_SET / "TASKDATA.XML").read_text("utf-8").partition("<AFE")
    report = report_of(head + first + rest.replace('="', '="~'))
    assert len(report.findings) > 250
    for found in report:
        if found.rule.startswith(("attribute-", "reference-")):
            row = dictionary().elements[found.facts["element"]].attributes[found.facts["attribute"]]
            assert (found.severity is Severity.ERROR) == (row.confidence is Confidence.HIGH), found.message
            assert ("recalled with" in found.message) == (found.severity is Severity.WARNING), found.message


# More than one defect.


def test_a_bad_sibling_hides_none_of_those_after_it():
    # libxml2 stops judging the children of an element at the first one it does not know.
    report = report_of(lines("<QQQ/>", '<CTR A="CTR1"/>', "<P1_a/>", '<FRM A="x" B="y"/>', "text", '<PFD A="PFD1"/>'))
    assert [(f.rule, f.where.line) for f in report] == [
        ("text-between-elements", 1), ("element-unknown", 2), ("attribute-missing", 3), ("proprietary-element", 4),
        ("attribute-malformed", 5), ("attribute-missing", 7), ("attribute-missing", 7),
    ]  # fmt: skip


def test_inside_an_element_that_is_not_the_standards_nothing_is_judged():
    inside = f'<CTR/>text<P2_b z="1"/><QQQ/><LSG>{RING}</LSG><PNT A="99"/>'
    assert [f.rule for f in report_of(lines(f"<QQQ>{inside}</QQQ>"))] == ["element-unknown"]
    assert [f.rule for f in report_of(lines(f"<P1_a>{inside}</P1_a>"))] == ["proprietary-element"]
    assert [f.rule for f in report_of(f"<QQQ>{inside}</QQQ>")] == ["root-element-wrong"]
    assert [f.rule for f in report_of(f"<CTR>{inside}</CTR>")] == ["root-element-wrong"]
    after = lines(f"<QQQ>{inside}</QQQ>", "<QQQ/>", '<CTR A="CTR1"/>')
    assert [(f.rule, f.where.line) for f in report_of(after)] == [
        ("element-unknown", 2), ("element-unknown", 3), ("attribute-missing", 4),
    ]  # fmt: skip


def test_a_misplaced_element_is_judged_like_any_other():
    report = report_of(lines('<CTR A="CTR1" B="Ada"><FRM A="FRM1" Q="1"/><LGP/></CTR>'))
    assert [f.rule for f in report] == [
        *("attribute-missing", "element-misplaced", "attribute-unknown"),
        *["attribute-missing"] * 2, "element-misplaced", "element-missing",
    ]  # fmt: skip


@pytest.mark.parametrize("fast", [True, False], ids=["fast", "slow"])
def test_of_a_repeated_finding_a_bounded_number_is_listed_and_all_are_counted(fast):
    bad = '<PNT A="2" C="91" D="x"/>\n'
    report = report_of(field_with(bad * 3000), fast=fast)
    assert len(report.findings) == 2 * SHOWN_OF_A_KIND
    assert dict(report.unlisted) == {
        ("attribute-malformed", Severity.ERROR): 2000, ("attribute-out-of-range", Severity.ERROR): 2000,
    }  # fmt: skip
    assert report.counts()["error"] == 6000
    assert [f.where.line for f in report] == sorted([*range(1, 1001)] * 2)


# References and identifiers.

LINKS = (
    '<ISO11783LinkList VersionMajor="4" VersionMinor="3" ManagementSoftwareManufacturer="Marlow"'
    ' ManagementSoftwareVersion="1" DataTransferOrigin="1">\n<LGP A="LGP1" B="1">\n{}\n</LGP></ISO11783LinkList>'
)


def test_references_lead_from_the_link_list_into_the_task_file():
    links = LINKS.format('<LNK A="CTR1" B="{x}"/>\n<LNK A="CTR2" B="{y}"/>')
    found = only(report_of(lines(CTR), links, oracle=True))
    assert (found.rule, found.severity) == ("reference-without-target", Severity.WARNING)
    assert str(found.where) == "LINKLIST.XML:4:6"
    assert found.message.startswith('LNK A (ObjectIdRef) refers to "CTR2", which is not in the set (recalled with low')
    assert found.hint == "Add the element that is meant, or remove the reference."


def test_an_identifier_is_unique_in_the_whole_set():
    report = report_of(lines('<CTR A="LGP1" B="x"/>'), LINKS.format('<LNK A="LGP1" B="{x}"/>'))
    assert [(f.rule, str(f.where)) for f in report] == [
        ("identifier-duplicate", "LINKLIST.XML:2:1"), ("attribute-malformed", "TASKDATA.XML:2:6"),
    ]  # fmt: skip


def test_references_forward_and_with_blanks_around_are_found():
    assert list(report_of(lines('<FRM A="FRM1" B="x" I=" CTR1 "/>', '<CTR A=" CTR1" B="y"/>'))) == []


def test_points_may_carry_identifiers_too():
    ring = RING.replace("/>", ' G="PNT1"/>')
    report = report_of(field_with(ring))
    assert [f.rule for f in report] == ["identifier-duplicate"] * 3
    assert [f.where.element.rpartition("/")[2] for f in report] == ["PNT[2]", "PNT[3]", "PNT[4]"]


def test_nothing_refers_into_a_part_that_is_not_judged():
    report = report_of(lines(f"<P1_a>{CTR}</P1_a>", '<FRM A="FRM1" B="x" I="CTR1"/>'))
    assert [f.rule for f in report] == ["proprietary-element", "reference-without-target"]


# Namespaces.

XSI = "http://www.w3.org/2001/XMLSchema-instance"


@pytest.mark.parametrize(
    ("attributes", "rules"),
    [
        (f'xmlns:xsi="{XSI}" xsi:noNamespaceSchemaLocation="x.xsd"', []),
        (f'xmlns:xsi="{XSI}" xsi:schemaLocation="a b"', []),
        (f'xmlns:s="{XSI}" s:schemaLocation="a b"', []),
        ('xmlns:other="urn:other"', []),
        ('xmlns=""', []),
        ('xsi:schemaLocation="a b"', ["attribute-unknown"]),
        ('xmlns:xsi="urn:other" xsi:schemaLocation="a b"', ["attribute-unknown"]),
        ('schemaLocation="a b"', ["attribute-unknown"]),
        (f'xmlns:xsi="{XSI}" xsi:type="PFD"', ["attribute-unknown"]),
        ('xml:lang="en"', ["attribute-unknown"]),
        ('xmlns="urn:other"', ["xml-namespace-present"]),
    ],
)
def test_attributes_of_xml_itself(attributes, rules):
    for text in (
        task_file("").replace(HEAD_END, f" {attributes}{HEAD_END}"),
        lines(CTR.replace("/>", f" {attributes}/>")),
    ):
        report = report_of(text, oracle=True)
        assert [f.rule for f in report] == rules
        assert report.crashed == ()


def test_a_prefix_is_looked_for_upwards():
    text = task_file(CTR.replace("/>", ' xsi:schemaLocation="a b"/>')).replace(
        HEAD_END, f' xmlns:xsi="{XSI}"{HEAD_END}'
    )
    report = report_of(text, oracle=True)
    assert (list(report), report.crashed) == ([], ())


# Whole sets.


def test_a_folder_without_a_task_file_is_told():
    reading = read_set(Held({"LINKLIST.XML": b"x"}))
    found = only(reading.findings.report())
    assert reading.data is None
    assert (found.rule, found.message) == ("task-file-missing", "There is no file TASKDATA.XML in held.")


def test_file_names_are_known_in_any_case():
    store = Held({"taskdata.xml": lines(CTR).encode(), "LinkList.xml": LINKS.format("<LNK/>").encode(), "a": b""})
    reading = read_set(store)
    assert reading.data.links is not None
    assert list(reading.data.companions) == ["a"]
    assert {f.where.file for f in reading.findings.report()} == {"LinkList.xml"}


@pytest.mark.parametrize(
    ("major", "minor", "taken", "told_so"),
    [
        ("4", "3", Version.V4_3, False),
        ("4", "0", Version.V4_0, False),
        ("3", "3", Version.V3_3, False),
        (" 4", "2 ", Version.V4_2, False),
        ("4", "9", Version.V4_3, True),
        ("3", "9", Version.V3_3, True),
        ("2", "0", Version.V3_3, True),
        ("5", "0", Version.V4_3, True),
        ("x", "3", Version.V4_3, True),
        ("999999999999", "3", Version.V4_3, True),
    ],
)
def test_a_set_is_held_against_the_known_version_nearest_to_its_own(major, minor, taken, told_so):
    text = task_file("").replace('Major="4" VersionMinor="3"', f'Major="{major}" VersionMinor="{minor}"')
    reading = reading_of(text)
    said = [f for f in reading.findings.report() if f.rule == "version-unknown"]
    assert reading.version is taken
    assert len(said) == told_so
    assert all(f.severity is Severity.WARNING and taken.text in f.message for f in said)


def test_a_version_in_utf_16_is_seen_too():
    text = '<?xml version="1.0" encoding="UTF-16"?>' + task_file("").replace('Major="4"', 'Major="3"')
    assert reading_of(text.encode("utf-16")).version is Version.V3_3


def test_before_version_4_a_link_list_is_any_other_file():
    text = task_file("").replace('Major="4"', 'Major="3"')
    reading = reading_of(text, "no xml at all")
    assert list(reading.data.companions) == ["LINKLIST.XML"]
    assert reading.data.links is None
    assert list(reading.findings.report()) == []


def test_what_came_later_is_told_as_unknown_in_an_older_version():
    text = field_with(RING).replace("</PFD>", '<GGP A="GGP1"/></PFD>').replace('Major="4"', 'Major="3"')
    assert [f.rule for f in report_of(text)] == ["element-unknown"]


# The schema beside the engine.


def test_a_disagreement_with_the_schema_is_a_bug_of_ours_and_no_finding(monkeypatch):
    monkeypatch.setattr(schema, "verdict", lambda *_: ("line 1: nonsense",))
    report = report_of(lines(CTR), oracle=True)
    assert list(report) == []
    assert [c.error for c in report.crashed] == [
        "TASKDATA.XML: the schema says line 1: nonsense; our own findings say otherwise"
    ]
    monkeypatch.setattr(schema, "verdict", lambda *_: ())
    report = report_of(lines("<QQQ/>"), oracle=True)
    assert [c.error for c in report.crashed] == ["TASKDATA.XML: the schema says valid; our own findings say otherwise"]


def test_the_schema_is_not_asked_about_identifiers():
    report = report_of(lines(CTR, CTR), oracle=True)
    assert [f.rule for f in report] == ["identifier-duplicate"]
    assert report.crashed == ()


def test_where_the_schema_cannot_be_asked_the_check_is_listed_as_skipped(monkeypatch):
    older = task_file("").replace('Minor="3"', 'Minor="1"')
    assert "no schema is shipped for version 4.1" in report_of(older, oracle=True).skipped[0].reason
    spaced = lines('<CTR A="CTR1" B="Ada" n:x="1"/>')
    assert "prefix n" in report_of(spaced, oracle=True).skipped[0].reason
    monkeypatch.setattr(sets, "_ORACLE_FINDINGS", 2)
    assert "more than 2 findings" in report_of(lines("<Q/>", "<Q/>", "<Q/>"), oracle=True).skipped[0].reason
    monkeypatch.setattr(sets, "_ORACLE_BYTES", 100)
    assert "beside the plain points" in report_of(lines(CTR), oracle=True).skipped[0].reason
    assert report_of(lines(CTR), oracle=False).skipped == ()


def test_the_verdict_names_lines():
    said = schema.verdict(lines(CTR, "<QQQ/>").encode(), TASK_ROOT, Version.V4_3)
    assert len(said) == 1
    assert said[0].startswith("line 3: Element 'QQQ'")
    with pytest.raises(schema.Unable):
        schema.verdict(b"<broken", TASK_ROOT, Version.V4_3)


def test_both_ways_say_the_same_of_every_defect():
    for text, *_ in DEFECTS.values():
        assert told(report_of(text)) == told(report_of(text, fast=False))


def test_links_are_not_blamed_when_the_task_file_could_not_be_read(tmp_path):
    folder = tmp_path / "TASKDATA"
    folder.mkdir()
    (folder / "TASKDATA.XML").write_text("<ISO11783_TaskData", "utf-8")
    (folder / "LINKLIST.XML").write_text(
        '<ISO11783LinkList VersionMajor="4" VersionMinor="3" DataTransferOrigin="1"'
        ' ManagementSoftwareManufacturer="x" ManagementSoftwareVersion="1">'
        '<LGP A="LGP1" B="1"><LNK A="PFD1" B="b7cf06df-98b0-4347-a9cf-3c21012c7c72"/></LGP></ISO11783LinkList>',
        "utf-8",
    )

    report = read_set(open_store(tmp_path)).findings.report()

    assert [found.rule for found in report] == ["xml-not-well-formed"]
