import re
import shutil
import subprocess
import sys
from decimal import Decimal
from importlib import import_module

import pytest
import xmlschema

from taskkit.errors import InternalError
from taskkit.findings import Confidence
from taskkit.shipped import schema_file
from taskkit.taskdata.dictionary import ANY, LINK_ROOT, ROOTS, TASK_ROOT, TYPES, dictionary
from taskkit.taskdata.version import Version

module = import_module("taskkit.taskdata.dictionary")

ALL = [dictionary(v) for v in Version]
ATTRIBUTES = [(d, a) for d in ALL for e in d.elements.values() for a in e.attributes.values()]
RULES = [(d, r) for d in ALL for e in d.elements.values() for r in e.children.values()]


def codes(of, version):
    return set(dictionary(version).elements[of].attributes)


def values(element, attribute, version=Version.V4_3):
    return {v.value: v.meaning for v in dictionary(version).elements[element].attributes[attribute].values}


# The tables agree with themselves.


@pytest.mark.parametrize("table", ["elements", "attributes", "values", "children"])
def test_a_table_is_plain_text_that_ends_in_one_line_break_and_repeats_no_row(table):
    data = schema_file("dictionary", f"{table}.tsv").read_bytes()
    lines = data.decode("utf-8").split("\n")
    assert b"\r" not in data
    assert lines[-1] == ""
    assert all(line == line.strip(" ") != "" for line in lines[:-1])
    assert len(set(lines)) == len(lines)


def test_every_child_names_an_element_that_is_there_as_long_as_it_may_be_held():
    assert all(r.child in d.elements and r.parent in d.elements for d, r in RULES)


def test_a_row_is_no_older_than_what_it_belongs_to():
    for d, rule in RULES:
        assert rule.span.since >= max(d.elements[rule.parent].span.since, d.elements[rule.child].span.since)
    for d, attribute in ATTRIBUTES:
        assert attribute.span.since >= d.elements[attribute.element].span.since
        assert all(v.span.since >= attribute.span.since or attribute.span.until for v in attribute.values)


def test_every_element_is_reached_from_a_root_and_the_file_it_stands_in_is_that_of_the_root():
    for d in ALL:
        reached = {}
        for root in ROOTS:
            todo = [root] if root in d.elements else []
            while todo:
                code = todo.pop()
                if code not in reached:
                    reached[code] = d.elements[root].file
                    todo += d.elements[code].children
        assert reached == {e.code: e.file for e in d.elements.values()}


def test_every_reference_has_a_target_with_an_id_of_the_form_that_the_reference_must_have():
    for d, attribute in ATTRIBUTES:
        assert (attribute.target is not None) == (attribute.type == "IDREF" or attribute.target == ANY)
        if attribute.target not in (None, ANY):
            [own] = [a for a in d.elements[attribute.target].attributes.values() if a.type == "ID"]
            assert (own.pattern, own.max_length) == (attribute.pattern, attribute.max_length)


def test_no_element_has_two_ids():
    # XML Schema 1.0 part 1, 3.4.6: a type may have one attribute of type ID.
    assert all(sum(a.type == "ID" for a in e.attributes.values()) <= 1 for d in ALL for e in d.elements.values())


def test_a_name_token_is_always_an_enumeration_and_nothing_else_is():
    for _, attribute in ATTRIBUTES:
        assert (attribute.type == "NMTOKEN") == bool(attribute.values), attribute
        names = [v.value for v in attribute.values]
        assert names == sorted(set(names), key=int)
        assert all(v.meaning for v in attribute.values)


def test_limits_are_in_order_and_within_the_type():
    # xmlschema's built-in types stand for XML Schema 1.0 part 2.
    types = xmlschema.XMLSchema10.builtin_types()
    numbers = {"decimal", "double", "long", "unsignedByte", "unsignedLong", "unsignedShort"}
    assert set(TYPES) <= types.keys()
    for _, attribute in ATTRIBUTES:
        assert (attribute.minimum is not None) == (attribute.maximum is not None) == (attribute.type in numbers), (
            attribute
        )
        if attribute.minimum is not None:
            assert attribute.minimum < attribute.maximum
            assert all(types[attribute.type].is_valid(f"{n:f}") for n in (attribute.minimum, attribute.maximum))
        assert attribute.max_length is None or attribute.max_length > 0


def test_a_child_may_be_there_at_least_as_often_as_it_must():
    assert all(r.minimum >= 0 and (r.maximum is None or r.minimum <= r.maximum > 0) for _, r in RULES)


def test_a_sure_limit_of_children_stands_only_where_a_schema_without_order_can_say_it():
    # XML Schema 1.0 has no way to count children of several kinds in any order.
    for d, rule in RULES:
        limited = rule.minimum > 0 or rule.maximum is not None
        several = len(d.elements[rule.parent].children) > 1
        assert not (limited and several and rule.confidence is Confidence.HIGH), rule


def test_patterns_mean_the_same_in_python_and_in_a_schema():
    # The common subset: no anchors, no escapes, no classes beyond ASCII.
    for _, attribute in ATTRIBUTES:
        if attribute.pattern is not None:
            re.compile(attribute.pattern)
            assert re.fullmatch(r"([A-Z]{3}|\[A-Z\]\{3\})(-\?\[0-9\]\+|\[0-9\]\{5\})", attribute.pattern)


def test_every_row_says_what_it_is_and_where_it_comes_from():
    for d in ALL:
        for element in d.elements.values():
            assert element.name
            assert element.about.endswith(".")
            assert element.source.startswith("ISO 11783-10, ")
    for _, attribute in ATTRIBUTES:
        assert attribute.name
        assert attribute.about.endswith(".")
        assert attribute.source.startswith("ISO 11783-10, ")
    assert all(r.source.startswith("ISO 11783-10, ") for _, r in RULES)


def test_a_number_has_a_scale_exactly_where_it_has_a_unit():
    for _, attribute in ATTRIBUTES:
        assert (attribute.unit is None) == (attribute.scale is None)
        assert attribute.unit is None or (attribute.scale > 0 and attribute.minimum is not None)


# Versions.


def test_version_three_lacks_what_came_with_version_four():
    # From memory of both editions of ISO 11783-10.
    new, old = dictionary(Version.V4_3).elements, dictionary(Version.V3_3).elements
    assert new.keys() - old.keys() == {
        *("AFE", "BSN", "CAT", "GAN", "GGP", "GPN", "GST", "ISO11783LinkList", "LGP", "LNK", "PRN", "TCC")
    }
    assert old.keys() <= new.keys()
    lost = {e: codes(e, Version.V4_3) - codes(e, Version.V3_3) for e in old}
    assert {e: c for e, c in lost.items() if c} == {
        "ISO11783_TaskData": {"lang"},
        "CTP": {"C"},
        "CVT": {"C"},
        "LSG": {"F"},
        "PAN": {"G"},
        "PDT": {"F", "G", "H", "I", "J"},
        "PDV": {"F", "G"},
        "PGP": {"C"},
        "PLN": {"E"},
        "PNT": {"G", "H", "I", "J", "K"},
    }
    assert "GGP" not in old["PFD"].children
    assert "GAN" not in old["TSK"].children
    assert not old["PDT"].children


def test_a_limit_that_changed_is_that_of_the_version():
    # From memory: the structure label grew from 7 to 39 octets.
    lengths = {v: dictionary(v).elements["DVC"].attributes["F"].max_length for v in Version}
    assert lengths == {v: 7 if v.major == 3 else 39 for v in Version}
    assert dictionary(Version.V3_3).elements["DVC"].attributes["F"].span.until is Version.V3_3


def test_values_of_version_four_are_not_in_version_three():
    assert set(values("TSK", "G", Version.V3_3)) == {"1", "2", "3", "4"}
    assert set(values("PLN", "A", Version.V3_3)) == set("12345678")


def test_a_list_that_is_short_only_by_a_doubt_is_itself_in_doubt():
    assert dictionary(Version.V4_3).elements["LSG"].attributes["A"].confidence is Confidence.HIGH
    assert dictionary(Version.V3_3).elements["LSG"].attributes["A"].confidence is Confidence.MEDIUM
    assert dictionary(Version.V3_3).elements["TSK"].attributes["G"].confidence is Confidence.HIGH


def test_no_difference_is_made_up_between_the_minor_versions():
    for major in (3, 4):
        same = [dictionary(v).elements for v in Version if v.major == major]
        assert all(other == same[0] for other in same)


# Facts of ISO 11783-10, all from memory.


@pytest.mark.parametrize(
    ("element", "code", "name", "kind", "required", "minimum", "maximum", "length"),
    [
        ("CTR", "A", "CustomerId", "ID", True, None, None, 14),
        ("CTR", "F", "CustomerPostalCode", "string", False, None, None, 10),
        ("CTR", "M", "CustomerEMail", "string", False, None, None, 64),
        ("FRM", "I", "CustomerIdRef", "IDREF", False, None, None, 14),
        ("PFD", "C", "PartfieldDesignator", "string", True, None, None, 32),
        ("PFD", "D", "PartfieldArea", "unsignedLong", True, 0, 4294967294, None),
        ("PNT", "C", "PointNorth", "decimal", True, -90, 90, None),
        ("PNT", "D", "PointEast", "decimal", True, -180, 180, None),
        ("PNT", "E", "PointUp", "long", False, -2147483648, 2147483647, None),
        ("LSG", "C", "LineStringWidth", "unsignedLong", False, 0, 4294967294, None),
        ("GPN", "G", "GuidancePatternHeading", "decimal", False, 0, 360, None),
        ("TZN", "A", "TreatmentZoneCode", "unsignedByte", True, 0, 254, None),
        ("DVC", "D", "ClientNAME", "hexBinary", True, None, None, 8),
        ("DLV", "A", "ProcessDataDDI", "hexBinary", True, None, None, 2),
        ("VPN", "C", "Scale", "decimal", True, Decimal("1e-9"), 100000000, None),
        ("TSK", "A", "TaskId", "ID", True, None, None, 14),
    ],
)
def test_attributes_are_as_the_standard_has_them(element, code, name, kind, required, minimum, maximum, length):
    attribute = dictionary().elements[element].attributes[code]
    said = (attribute.name, attribute.type, attribute.required, attribute.minimum, attribute.maximum)
    assert (*said, attribute.max_length) == (name, kind, required, minimum, maximum, length)
    assert attribute.confidence is Confidence.HIGH


def test_enumerations_are_as_the_standard_has_them():
    assert values("GPN", "C")["1"].startswith("AB")
    assert list(values("GPN", "C").values())[2:] == ["curve", "pivot", "spiral"]
    assert (values("PLN", "A")["1"], values("PLN", "A")["10"]) == ("partfield boundary", "headland")
    assert (values("LSG", "A")["1"], values("LSG", "A")["5"]) == ("polygon, exterior ring", "guidance pattern")
    assert (values("PNT", "A")["6"], values("PNT", "A")["7"]) == ("guidance reference A", "guidance reference B")
    assert values("TIM", "D").keys() == {"1", "2", "4", "5", "6", "7", "8"}
    assert values("PTN", "D").keys() == {*"012345678", "14", "15"}


def test_units_are_as_the_standard_has_them():
    said = {(e, c): dictionary().elements[e].attributes[c] for e, c in [("PFD", "D"), ("LSG", "C"), ("GPN", "G")]}
    assert [(a.unit, a.scale) for a in said.values()] == [
        ("m²", Decimal(1)),
        ("mm", Decimal("0.001")),
        ("degree", Decimal(1)),
    ]


def test_fields_and_lines_hold_what_the_standard_lets_them_hold():
    elements = dictionary().elements
    assert elements["PFD"].children.keys() == {"GGP", "LSG", "PLN", "PNT"}
    assert (elements["LSG"].children["PNT"].minimum, elements["LSG"].children["PNT"].maximum) == (1, None)
    assert elements[TASK_ROOT].children.keys() >= {"AFE", "CTR", "FRM", "PFD", "TSK", "XFR"}
    assert elements[LINK_ROOT].children.keys() == {"LGP"}


# Loading.


def test_the_dictionary_is_read_once_and_cannot_be_changed():
    assert dictionary(Version.V4_3) is dictionary(Version.V4_3)
    with pytest.raises(TypeError):
        dictionary().elements["PFD"] = None
    with pytest.raises(TypeError):
        dictionary().elements["PFD"].attributes["A"] = None


def test_loading_is_quick_and_needs_no_library_from_outside():
    code = (
        "import sys, time; from taskkit.taskdata.dictionary import dictionary; start = time.process_time();"
        "dictionary(); print(time.process_time() - start); print(*{m.split('.')[0] for m in sys.modules})"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60).stdout
    seconds, modules = out.splitlines()
    # 6 ms where it was written; the margin is for a busy machine.
    assert float(seconds) < 0.05
    assert not {"lxml", "numpy", "orjson", "pydantic", "pyproj", "shapely", "yaml"} & set(modules.split())


@pytest.fixture
def tables(tmp_path, monkeypatch):
    """A copy of the tables that a test may break; afterwards the true ones are read again."""
    shutil.copytree(schema_file("dictionary"), tmp_path / "dictionary")

    def shipped(*parts):
        return tmp_path.joinpath(*parts)

    def forget():
        dictionary.cache_clear()
        module._tables.cache_clear()

    monkeypatch.setattr(module, "schema_file", shipped)
    forget()
    yield tmp_path / "dictionary"
    monkeypatch.undo()
    forget()


@pytest.mark.parametrize(
    ("table", "old", "new", "message"),
    [
        ("elements.tsv", "\ttask\t", "\tfarm\t", r"elements\.tsv:2: 'farm' is neither task nor linklist"),
        ("elements.tsv", "confidence", "certainty", r"elements\.tsv: there is no column 'confidence'"),
        ("elements.tsv", "PFD\tPartfield\t", "PFE\tPartfield\t", r"rows for elements that it lacks: \['PFD'\]"),
        ("elements.tsv", "\nWKR\t", "\nWAN\t", r"two rows hold at once"),
        (
            "attributes.tsv",
            "PFD\tD\tPartfieldArea\tunsignedLong",
            "PFD\tD\tPartfieldArea\tint",
            r"attributes\.tsv:\d+: 'int' is",
        ),
        (
            "attributes.tsv",
            "PartfieldCode\tstring\tno",
            "PartfieldCode\tstring\to",
            r"required is 'o', neither yes nor no",
        ),
        ("attributes.tsv", "\t-90\t90\t", "\tsouth\t90\t", r"attributes\.tsv:\d+: .*ConversionSyntax"),
        ("attributes.tsv", "\thigh\t", "\tsure\t", r"attributes\.tsv:\d+: 'sure' is not a valid Confidence"),
        ("attributes.tsv", "\nPFD\tC\t", "\nPFD\tB\t", r"two rows hold at once"),
        ("values.tsv", "\t3.0\t", "\t2.9\t", r"values\.tsv:\d+: '2\.9' is no version known here"),
        ("values.tsv", "PLN\tA\t1\t", "PLN\tZ\t1\t", r"values for attributes that do not exist: \[\('PLN', 'Z'\)\]"),
        ("children.tsv", "PFD\tGGP\t0\t*\t", "PFD\tGGP\t0\t", r"children\.tsv:\d+: zip"),
        ("children.tsv", "PFD\tGGP\t0\t*\t", "PFD\tGGP\t0\tmany\t", r"children\.tsv:\d+: invalid literal"),
    ],
)
def test_a_malformed_table_stops_the_program_with_its_line(tables, table, old, new, message):
    text = (tables / table).read_text("utf-8")
    assert old in text
    (tables / table).write_text(text.replace(old, new, 1), "utf-8", newline="\n")
    with pytest.raises(InternalError, match=message):
        dictionary()
