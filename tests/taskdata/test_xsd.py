import copy
import itertools
import os
import shutil
import subprocess
from dataclasses import dataclass, replace
from importlib import import_module

import pytest
import xmlschema
from lxml import etree

from taskkit.errors import InternalError
from taskkit.findings import Confidence
from taskkit.shipped import schema_file
from taskkit.taskdata.dictionary import LINK_ROOT, TASK_ROOT, Dictionary, dictionary
from taskkit.taskdata.version import Version
from taskkit.taskdata.xsd import SHIPPED, main, schemas

module = import_module("taskkit.taskdata.xsd")

LONG = bool(os.environ.get("TASKKIT_LONG"))
WORDS = dictionary(Version.V4_3)
FILE = {TASK_ROOT: "ISO11783_TaskFile_V4-3.xsd", LINK_ROOT: "ISO11783_LinkListFile_V4-3.xsd"}
SURE = Confidence.HIGH


# A set with every element and every attribute, made from the dictionary alone.


def sample(attribute, number, *, top=True):
    """A text on the upper or lower edge of every limit; an id has its own number, a reference names the first one."""
    if attribute.type in ("ID", "NCName"):
        lead = attribute.pattern[:3]
        return f"{lead}{number:05d}" if "{5}" in attribute.pattern else f"{lead}{number}"
    if attribute.target:
        return f"{attribute.target.replace('*', 'PFD')}1"
    if attribute.values:
        return attribute.values[-1 if top else 0].value
    if attribute.minimum is not None:
        return f"{attribute.maximum if top else attribute.minimum:f}"
    length = attribute.max_length if top and attribute.max_length else 1
    return {
        "hexBinary": "0F" * length,
        "dateTime": "2026-03-14T08:30:00+01:00",
        "language": "en",
        "anyURI": "urn:x",
    }.get(attribute.type, "ü" * length)


def whole(root, *, top=True):
    numbers = {code: itertools.count(1) for code in WORDS.elements}

    def grow(code, above):
        element = etree.Element(code)
        number = next(numbers[code])
        for attribute in WORDS.elements[code].attributes.values():
            element.set(attribute.code, sample(attribute, number, top=top))
        for child in WORDS.elements[code].children:
            if child not in above:
                element.append(grow(child, (*above, child)))
        return element

    return grow(root, (root,))


@dataclass(frozen=True)
class Defect:
    what: str
    root: str
    sure: bool
    document: etree._Element


def wrong_texts(attribute):
    """Texts that each break one limit of an attribute, with the limit's name."""
    if attribute.values:
        yield "value", "99"
    elif attribute.minimum is not None:
        yield "type", "ten"
        yield "minimum", f"{attribute.minimum - 1:f}"
        yield "maximum", f"{attribute.maximum + 1:f}"
        if attribute.type not in ("decimal", "double"):
            yield "type", "1.5"
    elif attribute.pattern:
        yield "pattern", "XX-1"
        if "{5}" not in attribute.pattern:
            yield "length", f"{(attribute.target or attribute.element).replace('*', 'PFD')}{'1' * attribute.max_length}"
    elif attribute.type == "hexBinary":
        yield "type", "0G"
        yield "length", "0F" * (attribute.max_length + 1)
    elif attribute.type == "dateTime":
        yield "type", "yesterday"
    elif attribute.max_length:
        yield "length", "x" * (attribute.max_length + 1)


def drop(tag):
    return lambda element: [element.remove(child) for child in element.findall(tag)]


def repeat(tag, times):
    """Add copies of a child, with ids of their own."""

    def breaking(element):
        for number in range(1000, 1000 + times):
            twin = copy.deepcopy(element.find(tag))
            for part in twin.iter():
                for attribute in WORDS.elements[part.tag].attributes.values():
                    if attribute.type == "ID":
                        part.set(attribute.code, sample(attribute, number))
            element.append(twin)

    return breaking


def breakings(element):
    """What breaks one row that concerns an element, whether the row is sure, and a function that breaks it."""
    for a in element.attributes.values():
        sure = a.confidence is SURE
        for limit, text in wrong_texts(a):
            yield f"{a.code} {limit} {text[:20]}", sure, lambda e, code=a.code, text=text: e.set(code, text)
        if a.required:
            yield f"{a.code} missing", sure, lambda e, code=a.code: e.attrib.pop(code)
    for rule in element.children.values():
        sure = rule.confidence is SURE
        if rule.minimum:
            yield f"no {rule.child}", sure, drop(rule.child)
        if rule.maximum is not None:
            yield f"several {rule.child}", sure, repeat(rule.child, rule.maximum)
    yield "unknown attribute", True, lambda e: e.set("Q", "1")
    yield "unknown proprietary attribute", True, lambda e: e.set("P123_x", "1")
    yield "unknown child", True, lambda e: etree.SubElement(e, "QQQ")
    yield "unknown text", True, lambda e: setattr(e, "text", "text")


def defects(root):
    """Every way to break one row of the dictionary, each in a whole document of its own."""
    good = whole(root)
    for element in WORDS.elements.values():
        if element.file == WORDS.elements[root].file:
            for what, sure, breaking in breakings(element):
                document = copy.deepcopy(good)
                breaking(next(document.iter(element.code)))
                yield Defect(f"{element.code} {what}", root, sure, document)


KINDS = {"type", "minimum", "maximum", "length", "pattern", "value", "missing", "no", "several", "unknown"}
DEFECTS = [*defects(TASK_ROOT), *defects(LINK_ROOT)]


LEFT_DANGLING = {"lxml": set(), "xmlschema": {"DVC no DET"}}
"""Defects that leave references to nothing, which only some engines look for."""


# The three engines.


@pytest.fixture(scope="module")
def engines():
    """Engine -> root -> a function that takes documents and says of each whether it is valid."""
    folder = schema_file("xsd", "4.3")

    def by_lxml(root):
        schema = etree.XMLSchema(file=str(folder / FILE[root]))
        return lambda documents: [schema.validate(d) for d in documents]

    def by_xmlschema(root):
        schema = xmlschema.XMLSchema10(str(folder / FILE[root]))
        return lambda documents: [schema.is_valid(d) for d in documents]

    return {
        name: {root: make(root) for root in FILE} for name, make in [("lxml", by_lxml), ("xmlschema", by_xmlschema)]
    }


def by_xmllint(root, documents, folder):
    names = [str(folder / f"{n}.xml") for n in range(len(documents))]
    for name, document in zip(names, documents, strict=True):
        etree.ElementTree(document).write(name, encoding="UTF-8", xml_declaration=True)
    schema = str(schema_file("xsd", "4.3", FILE[root]))
    run = subprocess.run(
        ["xmllint", "--nonet", "--noout", "--schema", schema, *names],
        capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    said = run.stderr.splitlines()
    verdicts = {f"{n} validates": True for n in names} | {f"{n} fails to validate": False for n in names}
    found = [verdicts[line] for line in said if line in verdicts]
    assert len(found) == len(names), run.stderr[:2000]
    return found


needs_xmllint = pytest.mark.skipif(shutil.which("xmllint") is None, reason="xmllint is not installed")


def by_root(chosen):
    return [(root, [d for d in chosen if d.root == root]) for root in FILE]


# What ships.


@pytest.mark.parametrize("version", SHIPPED, ids=str)
def test_the_shipped_files_are_what_the_dictionary_gives_to_the_byte(version):
    folder = schema_file("xsd", version.text)
    shipped = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert shipped == {name: text.encode() for name, text in schemas(version).items()}


def test_the_files_are_split_as_the_standard_splits_them():
    # From memory of the file names that come with ISO 11783-10.
    assert list(schemas(Version.V4_3)) == [
        *("ISO11783_Common_V4-3.xsd", "ISO11783_TaskFile_V4-3.xsd", "ISO11783_LinkListFile_V4-3.xsd")
    ]
    assert list(schemas(Version.V3_3)) == ["ISO11783_Common_V3-3.xsd", "ISO11783_TaskFile_V3-3.xsd"]


@pytest.mark.parametrize("version", Version, ids=str)
def test_every_file_of_every_version_loads(version, tmp_path):
    for name, text in schemas(version).items():
        (tmp_path / name).write_text(text, "utf-8", newline="\n")
    for name in schemas(version):
        etree.XMLSchema(file=str(tmp_path / name))
        if LONG or version in SHIPPED:
            xmlschema.XMLSchema10(str(tmp_path / name))


def test_the_files_have_no_namespace_and_only_the_roots_may_lead_a_file():
    for name, text in schemas().items():
        tree = etree.fromstring(text.encode())
        tops = [e.get("name") for e in tree.iterfind("{*}element")]
        assert "targetNamespace" not in tree.attrib
        assert tops == [root for root, file in FILE.items() if file == name]


def test_no_wildcard_lets_unknown_names_through():
    assert not any("xs:any" in text.replace("xs:anyURI", "") for text in schemas().values())


def test_a_limit_left_open_says_what_is_recalled():
    text = schemas()["ISO11783_LinkListFile_V4-3.xsd"]
    assert "ObjectIdRef. Recalled as: required, string, at most 14 characters, of the form [A-Z]{3}-?[0-9]+." in text
    assert "From memory, low confidence: left open." in text
    assert "Recalled as: exactly 1." in schemas()["ISO11783_Common_V4-3.xsd"]


# Verdicts.


@pytest.mark.parametrize("top", [True, False], ids=["upper edge", "lower edge"])
def test_a_set_with_everything_on_the_edge_of_its_limits_is_valid(engines, top):
    for engine in engines.values():
        for root, valid in engine.items():
            assert valid([whole(root, top=top)]) == [True]


def test_the_whole_set_has_every_element_and_attribute():
    documents = [whole(root) for root in FILE]
    seen = {(e.tag, code) for d in documents for e in d.iter() for code in e.attrib}
    assert seen == {(a.element, a.code) for e in WORDS.elements.values() for a in e.attributes.values()}


@pytest.mark.parametrize(("engine", "every"), [("lxml", 1), ("xmlschema", 1 if LONG else 5)], ids=["lxml", "xmlschema"])
def test_one_defect_makes_a_set_invalid_exactly_where_the_row_is_sure(engines, engine, every):
    for root, chosen in by_root(DEFECTS[::every]):
        valid = engines[engine][root]([d.document for d in chosen])
        wrong = {d.what for d, v in zip(chosen, valid, strict=True) if v == d.sure}
        assert wrong - LEFT_DANGLING[engine] == set()


@needs_xmllint
def test_a_reference_to_nothing_is_invalid_in_xmlschema_alone(engines, tmp_path):
    # XML Schema 1.0 part 1, 3.15.4 asks for it; libxml2 leaves it out. Our own findings judge references.
    document = etree.fromstring(SMALL.replace('I="CTR1"', 'I="CTR2"'))
    verdicts = {name: engine[TASK_ROOT]([document]) for name, engine in engines.items()}
    assert verdicts == {"lxml": [True], "xmlschema": [False]}
    assert by_xmllint(TASK_ROOT, [document], tmp_path) == [True]


@needs_xmllint
def test_xmllint_gives_the_same_verdicts(tmp_path):
    for root, chosen in by_root(DEFECTS):
        edges = [whole(root), whole(root, top=False)]
        valid = by_xmllint(root, [*edges, *(d.document for d in chosen)], tmp_path)
        assert valid[:2] == [True, True]
        assert [d.what for d, v in zip(chosen, valid[2:], strict=True) if v == d.sure] == []


def test_the_defects_reach_every_kind_of_limit_of_rows_sure_and_unsure():
    kinds = {(kind, d.sure) for d in DEFECTS for kind in set(d.what.split()[1:3]) & KINDS}
    assert kinds == {*itertools.product(KINDS, (True, False))} - {("unknown", False)}
    assert sum(d.sure for d in DEFECTS) > 600
    assert sum(not d.sure for d in DEFECTS) > 60


SMALL = """<ISO11783_TaskData VersionMajor="4" VersionMinor="3" DataTransferOrigin="1"
 ManagementSoftwareManufacturer="x" ManagementSoftwareVersion="1">
<CTR A="CTR1" B="Larkmoor Estate"/><FRM A="FRM1" B="Home Farm" I="CTR1"/>
<PFD A="PFD1" C="Long Acre" D="40000" E="CTR1" F="FRM1"><PLN A="1"><LSG A="1"><PNT A="2" C="54.1" D="9.5"/>
<PNT A="2" C="54.1" D="9.503"/><PNT A="2" C="54.102" D="9.503"/></LSG></PLN><GGP A="GGP1"><GPN A="GPN1" C="1">
<LSG A="5" C="3000"><PNT A="6" C="54.1" D="9.5"/><PNT A="7" C="54.102" D="9.5"/></LSG></GPN></GGP></PFD>
</ISO11783_TaskData>"""


@needs_xmllint
@pytest.mark.parametrize(
    ("old", "new", "valid"),
    [
        ("", "", True),
        ('VersionMajor="4"', 'VersionMajor="IV"', True),
        ('ManagementSoftwareVersion="1"', "", True),
        ('<PLN A="1">', '<PLN A="13">', False),
        ('D="40000"', 'D="4 ha"', False),
        ('C="Long Acre"', "", False),
        ('C="54.1"', 'C="90.1"', False),
        ('I="CTR1"', 'I="FRM1"', False),
        ('A="GGP1"', 'A="PFD1"', False),
        ('A="FRM1" B', 'A="CTR1" B', False),
        ('B="Home Farm"', f'B="{"m" * 33}"', False),
        ("<GGP", "<GGX", False),
        ("ISO11783_TaskData", "CTR", False),
    ],
)
def test_three_engines_agree_on_a_small_set(engines, tmp_path, old, new, valid):
    document = etree.fromstring(SMALL.replace(old, new).replace("GGP>", f"{new[1:]}>" if new == "<GGX" else "GGP>"))
    verdicts = [engine[TASK_ROOT]([document]) for engine in engines.values()]
    assert [*verdicts, by_xmllint(TASK_ROOT, [document], tmp_path)] == [[valid]] * 3


def test_children_of_several_kinds_stand_in_any_order(engines):
    document = whole(TASK_ROOT)
    for element in document.iter():
        element[:] = reversed(element)
    assert all(engine[TASK_ROOT]([document]) == [True] for engine in engines.values())


def test_an_element_alone_is_no_file(engines):
    document = etree.fromstring('<CTR A="CTR1" B="x"/>')
    assert all(valid([document]) == [False] for engine in engines.values() for valid in engine.values())


# The generator.


def test_two_limits_of_one_name_stop_the_generator(monkeypatch):
    elements = dict(WORDS.elements)
    narrower = replace(elements["PFD"].attributes["I"], max_length=9)
    changed = {**elements["PFD"].attributes, "I": narrower}
    elements["PFD"] = replace(elements["PFD"], attributes=changed)
    monkeypatch.setattr(module, "dictionary", lambda version: Dictionary(version, elements))
    with pytest.raises(InternalError, match=r"two different limits would be the type IDREF\.PFD"):
        schemas()


def test_texts_of_the_dictionary_are_escaped(monkeypatch):
    elements = dict(WORDS.elements)
    elements["CTR"] = replace(elements["CTR"], name='a < b & "c"')
    monkeypatch.setattr(module, "dictionary", lambda version: Dictionary(version, elements))
    tree = etree.fromstring(schemas()["ISO11783_Common_V4-3.xsd"].encode())
    [note] = tree.iterfind("{*}complexType[@name='CTR']/{*}annotation/{*}documentation")
    assert note.text == 'a < b & "c"'


def test_the_command_writes_what_is_missing_removes_what_is_left_over_and_then_finds_nothing(
    tmp_path, monkeypatch, capsys
):
    monkeypatch.setattr(module, "_folder", lambda version: tmp_path / version.text)
    assert main(["--check"]) == 1
    assert list(tmp_path.iterdir()) == []
    assert main([]) == 0
    assert main(["--check"]) == 0
    (tmp_path / "4.3" / "old.xsd").write_text("")
    (tmp_path / "4.3" / "ISO11783_Common_V4-3.xsd").write_text("")
    capsys.readouterr()
    assert main(["--check"]) == 1
    assert [line.rsplit(" ", 1)[1] for line in capsys.readouterr().out.splitlines()] == ["differs", "differs"]
    assert main([]) == 0
    assert main(["--check"]) == 0
    assert not (tmp_path / "4.3" / "old.xsd").exists()
