import collections
import csv
import functools
import json
import os
import random
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
import xmlschema
from lxml import etree
from specimens import RING, WHOLE_SET, field_with, judged, reading_of, report_of, task_file, told, written_set

from taskkit.findings import Severity
from taskkit.shipped import schema_file
from taskkit.taskdata.conformance import DICTIONARY_KINDS, PROPRIETARY_ATTRIBUTE, PROPRIETARY_ELEMENT
from taskkit.taskdata.document import TASK_FILE
from taskkit.taskdata.reader import decode
from taskkit.taskdata.version import Version
from taskkit.taskdata.writer import serialise
from taskkit.taskdata.xsd import schemas

LONG = bool(os.environ.get("TASKKIT_LONG"))
MUTANTS = 50_000 if LONG else 5_100
PARTS = 6
BLOCK = 64

# Sound sets without anything proprietary, so that what is wrong with a mutant is wrong by its mutation.
SETS = [
    re.sub(
        rb' P123_\w+="[^"]*"|<P123_Work.*</P123_Work>', b"", (WHOLE_SET / "TASKDATA.XML").read_bytes(), flags=re.DOTALL
    ),
    serialise(written_set().main),
    field_with(
        f"{RING}<!-- {RING} -->{RING}<?p {RING}?>" + RING.replace("/>", ' E="-120"/>') + RING.replace('"', "'"),
        before='<CTR A="CTR1" B="Ada"/>',
        after='<TSK A="TSK1" G="1" E="PFD1"><TIM A="2026-09-14T07:30:00" D="1"/></TSK>',
    ).encode(),
]
NAMES = {kind.name for kind in DICTIONARY_KINDS}
PROPRIETARY = {PROPRIETARY_ELEMENT.name, PROPRIETARY_ATTRIBUTE.name}


# The operators; each takes the bytes and a source of chance, and gives other bytes.

SPECIAL = [
    b"<",
    b">",
    b"&",
    b'"',
    b"'",
    b"/",
    b"=",
    b" ",
    b"\n",
    b"\r",
    b"\0",
    b"\xff",
    b"\xc3",
    b"-->",
    b"<!--",
    b"]]>",
]
SPECIAL += [b"<![CDATA[", b"<?", b"?>", b"P1_", b"x", b"0", b"-", b".", b":", b"\xc2\xa0", b"&#10;", b"&lt;", b"/>"]


def flip(data, chance, at):
    return data[:at] + bytes([data[at] ^ 1 << chance.randrange(8)]) + data[at + 1 :]


def delete(data, chance, at):
    return data[:at] + data[at + chance.choice([1, 1, 1, 2, 5, 20]) :]


def insert(data, chance, at):
    return data[:at] + chance.choice(SPECIAL) + data[at:]


def duplicate(data, chance, at):
    return data[: at + chance.choice([1, 2, 10, 33, 200])] + data[at:]


def swap(data, chance, at):
    other = chance.randrange(len(data))
    changed = bytearray(data)
    changed[at], changed[other] = data[other], data[at]
    return bytes(changed)


def truncate(data, chance, at):
    return data[:at]


def anywhere(operator):
    def operate(data, chance):
        return operator(data, chance, chance.randrange(len(data)))

    return operate


def at_block_border(operator):
    def operate(data, chance):
        border = chance.randrange(1, len(data) // BLOCK) * BLOCK
        return operator(data, chance, border + chance.choice([-1, 0, 1]))

    return operate


TAG = re.compile(rb"<(\w+)((?: +[\w:]+ *= *(?:\"[^\"]*\"|'[^']*'))*) *(/?)>")
ATTRIBUTE = re.compile(rb" +([\w:]+) *= *(?:\"([^\"]*)\"|'([^']*)')")


def an_element(data, chance):
    """The span of some element below the root, its content and closing tag included."""
    tag = chance.choice(list(TAG.finditer(data))[1:])
    if tag[3]:
        return tag.span()
    depth = 0
    for other in re.compile(rb"<(/?)" + tag[1] + rb"\b[^>]*?(/?)>").finditer(data, tag.start()):
        depth += 0 if other[2] else -1 if other[1] else 1
        if depth == 0:
            return tag.start(), other.end()
    return tag.span()


def drop_element(data, chance):
    begin, end = an_element(data, chance)
    return data[:begin] + data[end:]


def duplicate_element(data, chance):
    begin, end = an_element(data, chance)
    return data[:end] + data[begin:end] + data[end:]


def move_element(data, chance):
    begin, end = an_element(data, chance)
    piece, rest = data[begin:end], data[:begin] + data[end:]
    at = chance.choice([m.end() for m in re.finditer(rb"</?\w[^>]*>", rest)])
    return rest[:at] + piece + rest[at:]


def rename_element(data, chance):
    begin, end = an_element(data, chance)
    old = TAG.match(data, begin)[1]
    new = chance.choice([b"PFD", b"PNT", b"LSG", b"CTR", b"QQQ", b"P1_q", b"P123456_q", b"LGP", b"pnt", b"PLN", b"P_q"])
    piece = re.sub(rb"(</?)" + old + rb"\b", rb"\1" + new, data[begin:end])
    return data[:begin] + piece + data[end:]


def attribute_of(data, chance):
    tag = chance.choice([tag for tag in TAG.finditer(data) if tag[2]])
    return chance.choice(list(ATTRIBUTE.finditer(data, tag.start(2), tag.end(2))))


def drop_attribute(data, chance):
    found = attribute_of(data, chance)
    return data[: found.start()] + data[found.end() :]


def duplicate_attribute(data, chance):
    found = attribute_of(data, chance)
    twin = found[0] if chance.random() < 0.3 else found[0].replace(found[1], chance.choice([b"Z", b"P1_z", b"H"]), 1)
    return data[: found.end()] + twin + data[found.end() :]


def rename_attribute(data, chance):
    found = attribute_of(data, chance)
    new = chance.choice([*"ABCDEFGHIJK", "a", "P9_x", "P_x", "P123456_x", "xml:lang", "xmlns", "xmlns:n", "é", "AA"])
    return data[: found.start(1)] + new.encode() + data[found.end(1) :]


def swap_attributes(data, chance):
    tag = chance.choice([tag for tag in TAG.finditer(data) if len(ATTRIBUTE.findall(tag[2])) > 1])
    pairs = [m[0] for m in ATTRIBUTE.finditer(tag[2])]
    chance.shuffle(pairs)
    return data[: tag.start(2)] + b"".join(pairs) + data[tag.end(2) :]


VALUES = str.split("""
0 1 2 3 12 13 99 -1 -0 +5 05 5. .5 1e5 1,5 NaN INF 90 -90 90.000000000001 180 181 -180.0 254 255 65535 4294967295
4294967296 2147483648 -2147483649 54.1 0.1234567890123 0.000000001 PFD1 PFD-1 PFD01 CTR1 CTR99 XXX1 pfd1 GRD00001 TLG1
0F 0f 0 0G 0043 2026-02-29T00:00:00 2026-02-28T24:00:00 2026-02-28 en-GB &#10; &amp; &#233; &lt; x 1&#32;2 &#9;1 &#160;1
""")
VALUES += ["", " ", " 1 ", "x" * 33, "ü" * 32, "9" * 40, "x" * 300, "a b", "\n1", "1\t", "\u00a01"]


def change_value(data, chance):
    found = attribute_of(data, chance)
    group = 2 if found[2] is not None else 3
    value = chance.choice(VALUES)
    return data[: found.start(group)] + value.encode() + data[found.end(group) :]


def copy_value(data, chance):
    one, other = attribute_of(data, chance), attribute_of(data, chance)
    group = 2 if one[2] is not None else 3
    return data[: one.start(group)] + (other[2] or other[3] or b"") + data[one.end(group) :]


BETWEEN = [
    *(
        b"text",
        b"&#32;",
        b"\xc2\xa0",
        b"<!-- c -->",
        b"<?p i?>",
        b"<![CDATA[ ]]>",
        b"<![CDATA[x]]>",
        b"<P1_a/>",
        b"<Q/>",
    ),
    *(b" ", RING.encode(), b'<PNT A="2" C="1" D="2"/>', b"<PNT/>", b"<!DOCTYPE a>", b"&amp;", b"\n\n", b"\t"),
]


def add_between(data, chance):
    at = chance.choice([m.end() for m in re.finditer(rb"</?\w[^>]*>", data)])
    piece = chance.choice(BETWEEN)
    return data[:at] + piece + data[at:]


BYTES = [flip, delete, insert, duplicate, swap, truncate]
OPERATORS = [
    *map(anywhere, BYTES),
    *map(at_block_border, BYTES),
    *(drop_element, duplicate_element, move_element, rename_element, drop_attribute, duplicate_attribute),
    *(rename_attribute, swap_attributes, add_between, change_value, change_value, change_value, copy_value),
]


def mutants(part):
    """Mutant after mutant, the same each time: of one set after the other, by one operator after the other."""
    chance = random.Random(20_261_125 + part)
    for number in range(part, MUTANTS, PARTS):
        turn, which = divmod(number // PARTS, len(SETS))
        data, operator = SETS[which], OPERATORS[turn % len(OPERATORS)]
        mutant = operator(data, chance)
        if chance.random() < 0.15 and len(mutant) > len(data) // 2:
            mutant = chance.choice(OPERATORS)(mutant, chance)
        yield mutant


# Verdicts.


@pytest.fixture(scope="module")
def schema_of(tmp_path_factory):
    """The schema of the task file in a version, made from the dictionary, for libxml2."""

    @functools.cache
    def schema(version):
        folder = tmp_path_factory.mktemp("xsd")
        for name, text in schemas(version).items():
            (folder / name).write_text(text, "utf-8")
        return etree.XMLSchema(file=str(next(folder.glob("ISO11783_TaskFile*"))))

    return schema


def verdict(data, schema):
    """What libxml2 makes of the whole text by our schemas: ``unreadable``, ``invalid`` or ``valid``."""
    source, problem = decode(TASK_FILE, data)
    if problem is not None:
        return "unreadable"
    try:
        tree = etree.fromstring(source.data, etree.XMLParser(encoding="utf-8", resolve_entities=False))
    except etree.XMLSyntaxError:
        return "unreadable"
    if tree.getroottree().docinfo.doctype:
        return "unreadable"
    return "valid" if schema.validate(tree) else "invalid"


def own_verdict(report):
    if any(f.rule.startswith("xml-") and f.rule not in NAMES for f in report):
        return "unreadable"
    errors = {f.rule for f in report if f.severity is Severity.ERROR}
    notes = {f.rule for f in report if f.severity is Severity.NOTE}
    return "invalid" if errors & NAMES or notes & PROPRIETARY else "valid"


with (Path(__file__).parent / "engine_differences.tsv").open(encoding="utf-8", newline="") as file:
    LISTED = [row for row in csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE) if row["what"] == "file"]


def is_listed(data, mine, theirs):
    return any((row["ours"], row["lxml"]) == (mine, theirs) and re.search(row["sign"].encode(), data) for row in LISTED)


@pytest.mark.parametrize("row", LISTED, ids=lambda row: row["construct"])
def test_the_engines_differ_on_what_is_listed(row, schema_of):
    construct = json.loads(row["construct"])
    data = (construct + task_file("") if construct.startswith("<?xml ") else task_file(construct)).encode()
    assert re.search(row["sign"].encode(), data)
    assert own_verdict(report_of(data)) == row["ours"]
    assert verdict(data, schema_of(Version.V4_3)) == row["lxml"]
    try:
        valid = xmlschema.XMLSchema10(str(schema_file("xsd", "4.3", "ISO11783_TaskFile_V4-3.xsd"))).is_valid(
            data.decode()
        )
    except ElementTree.ParseError:
        assert row["xmlschema"] == "unreadable"
    else:
        assert row["xmlschema"] == ("valid" if valid else "invalid")


def test_the_sets_are_sound(schema_of):
    for data in SETS:
        assert [f.message for f in report_of(data)] == []
        assert verdict(data, schema_of(Version.V4_3)) == "valid"


@pytest.mark.parametrize("part", range(PARTS))
def test_mutants_are_judged_alike_both_ways_and_by_the_schema(part, schema_of):
    seen = collections.Counter()
    for number, data in enumerate(mutants(part)):
        reading = reading_of(data, fast=False)
        slow = reading.findings.report()
        by_blocks = (
            number % 2 and reading.version is Version.V4_3 and not any(f.rule == "version-unknown" for f in slow)
        )
        fast = judged(data, fast=True, block=BLOCK)[1] if by_blocks else report_of(data)
        assert told(fast) == told(slow), data
        mine = own_verdict(fast)
        seen[mine] += 1
        if mine == "valid" and any(f.rule == "identifier-duplicate" for f in fast):
            continue  # ids are rules of our own
        theirs = verdict(data, schema_of(reading.version))
        assert mine == theirs or is_listed(data, mine, theirs), (data, mine, theirs, [f.message for f in fast])
    assert min(seen[word] for word in ("unreadable", "invalid", "valid")) > MUTANTS // PARTS // 20, seen
