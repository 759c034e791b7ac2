"""XML Schema files generated from the dictionary, in the standard's own split; run as a module, it writes them."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable, Sequence
from decimal import Decimal
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

from taskkit.errors import InternalError
from taskkit.findings import Confidence
from taskkit.shipped import schema_file
from taskkit.taskdata.dictionary import LINK_ROOT, TASK_ROOT, Attribute, ChildRule, Dictionary, Element, dictionary
from taskkit.taskdata.version import Version

__all__ = ["SHIPPED", "schemas"]

SHIPPED = (Version.V4_3,)
"""The versions whose files ship with the program, each in ``schemas/xsd/<version>/``."""

_FILE = """\
<?xml version="1.0" encoding="UTF-8"?>
<!-- {about}
     Generated from the tables in schemas/dictionary, never edited by hand. Recalled from memory, not taken from the
     standard, whose own text decides; what was not surely remembered is left open and says so. -->
<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" version="{version}">
{body}</xs:schema>
"""
_INCLUDE = '  <xs:include schemaLocation="{file}"/>\n'
_ROOT = '  <xs:element name="{root}" type="{root}"/>\n'


def schemas(version: Version = Version.V4_3) -> dict[str, str]:
    """The XSD 1.0 files of one version: file name -> text, the same to the byte each time.

    The common file has the types of all limits and elements; the task file and, from version 4,
    the link list each have their root. There is no target namespace. Each row of the dictionary
    that is of high confidence becomes a limit. Any other is left open (an attribute that may
    be absent and hold any text, an element any number of times) with a note of what is recalled.
    Elements of several kinds may stand in any order, for the standard fixes none.
    """
    words = dictionary(version)
    suffix = f"V{version.major}-{version.minor}.xsd"
    common = f"ISO11783_Common_{suffix}"
    shared = [e for e in words.elements.values() if e.file == "task" and e.code != TASK_ROOT]
    files = {
        common: _file(
            version,
            f"Types that the files of version {version} of ISO 11783-10 share.",
            [*_limits(words), *map(_complex_type, shared)],
        ),
        f"ISO11783_TaskFile_{suffix}": _file(
            version,
            f"TASKDATA.XML of version {version} of ISO 11783-10.",
            [
                _INCLUDE.format(file=common),
                _ROOT.format(root=TASK_ROOT),
                _complex_type(words.elements[TASK_ROOT]),
            ],
        ),
    }
    if LINK_ROOT in words.elements:
        links = [e for e in words.elements.values() if e.file == "linklist"]
        files[f"ISO11783_LinkListFile_{suffix}"] = _file(
            version,
            f"LINKLIST.XML of version {version} of ISO 11783-10.",
            [
                _INCLUDE.format(file=common),
                _ROOT.format(root=LINK_ROOT),
                *map(_complex_type, links),
            ],
        )
    return files


def _file(version: Version, about: str, parts: Iterable[str]) -> str:
    return _FILE.format(about=about, version=version, body="".join(parts))


def _limits(words: Dictionary) -> list[str]:
    named: dict[str, str] = {}
    for element in words.elements.values():
        for attribute in element.attributes.values():
            if attribute.confidence is not Confidence.HIGH or attribute.values or not _facets(attribute):
                continue
            name = _limit_name(attribute)
            text = _restriction(attribute.type, _facets(attribute), name=name)
            if named.setdefault(name, text) != text:
                raise InternalError(f"two different limits would be the type {name}, one of {attribute}")
    return [text for _, text in sorted(named.items())]


def _limit_name(attribute: Attribute) -> str:
    """A name that tells the limits, so that equal limits are one type: ``ID.PFD``, ``decimal.-90.90``."""
    if attribute.pattern is not None:
        return f"{attribute.type}.{attribute.target or attribute.element}"
    bounds = (attribute.minimum, attribute.maximum, attribute.max_length)
    return ".".join(
        [attribute.type, *(f"{b:f}" if isinstance(b, Decimal) else str(b) for b in bounds if b is not None)]
    )


def _facets(attribute: Attribute) -> list[str]:
    facets = []
    if attribute.pattern is not None:
        facets.append(f"<xs:pattern value={quoteattr(attribute.pattern)}/>")
    if attribute.max_length is not None:
        facets.append(f'<xs:maxLength value="{attribute.max_length}"/>')
    if attribute.minimum is not None:
        facets.append(f'<xs:minInclusive value="{attribute.minimum:f}"/>')
    if attribute.maximum is not None:
        facets.append(f'<xs:maxInclusive value="{attribute.maximum:f}"/>')
    return facets


def _restriction(base: str, facets: Iterable[str], *, name: str | None = None) -> str:
    indent = "  " if name else " " * 6
    named = f' name="{name}"' if name else ""
    lines = [
        f"<xs:simpleType{named}>",
        f'  <xs:restriction base="xs:{base}">',
        *(f"    {facet}" for facet in facets),
        "  </xs:restriction>",
        "</xs:simpleType>",
    ]
    return "".join(f"{indent}{line}\n" for line in lines)


def _complex_type(element: Element) -> str:
    children = list(element.children.values())
    body = ""
    if len(children) == 1:
        body = f"    <xs:sequence>\n{_child(children[0])}    </xs:sequence>\n"
    elif children:
        each = "".join(_child(rule, occurs=False) for rule in children)
        body = f'    <xs:choice minOccurs="0" maxOccurs="unbounded">\n{each}    </xs:choice>\n'
    body += "".join(map(_attribute, element.attributes.values()))
    return f'  <xs:complexType name="{element.code}">\n{_note(element.name, 4)}{body}  </xs:complexType>\n'


def _child(rule: ChildRule, *, occurs: bool = True) -> str:
    sure = rule.confidence is Confidence.HIGH
    least = rule.minimum if sure else 0
    most = "unbounded" if rule.maximum is None or not sure else rule.maximum
    occurrence = f' minOccurs="{least}" maxOccurs="{most}"' if occurs else ""
    tag = f'      <xs:element name="{rule.child}" type="{rule.child}"{occurrence}'
    if sure or (rule.minimum == 0 and rule.maximum is None):
        return f"{tag}/>\n"
    count = f"{rule.minimum} to {'any number' if rule.maximum is None else rule.maximum}"
    if rule.minimum == rule.maximum:
        count = f"exactly {rule.minimum}"
    return f"{tag}>\n{_open(count, rule.confidence, 8)}      </xs:element>\n"


def _attribute(attribute: Attribute) -> str:
    tag = f'    <xs:attribute name="{attribute.code}"'
    if attribute.confidence is not Confidence.HIGH:
        note = _open(_recalled(attribute), attribute.confidence, 6, before=f"{attribute.name}. ")
        return f'{tag} type="xs:string">\n{note}    </xs:attribute>\n'
    use = ' use="required"' if attribute.required else ""
    note = _note(attribute.name, 6)
    if attribute.values:
        values = (
            f"<xs:enumeration value={quoteattr(v.value)}><xs:annotation><xs:documentation>{escape(v.meaning)}"
            "</xs:documentation></xs:annotation></xs:enumeration>"
            for v in attribute.values
        )
        return f"{tag}{use}>\n{note}{_restriction(attribute.type, values)}    </xs:attribute>\n"
    name = _limit_name(attribute) if _facets(attribute) else f"xs:{attribute.type}"
    return f'{tag} type="{name}"{use}>\n{note}    </xs:attribute>\n'


def _recalled(attribute: Attribute) -> str:
    said = ["required" if attribute.required else "optional", attribute.type]
    if attribute.minimum is not None:
        said.append(f"{attribute.minimum:f} or more")
    if attribute.maximum is not None:
        said.append(f"{attribute.maximum:f} or less")
    if attribute.max_length is not None:
        said.append(f"at most {attribute.max_length} {'octets' if attribute.type == 'hexBinary' else 'characters'}")
    if attribute.pattern is not None:
        said.append(f"of the form {attribute.pattern}")
    if attribute.values:
        said.append("one of " + ", ".join(f"{v.value} ({v.meaning})" for v in attribute.values))
    return ", ".join(said)


def _open(recalled: str, confidence: Confidence, indent: int, *, before: str = "") -> str:
    return _note(f"{before}Recalled as: {recalled}. From memory, {confidence} confidence: left open.", indent)


def _note(text: str, indent: int) -> str:
    pad = " " * indent
    return f"{pad}<xs:annotation><xs:documentation>{escape(text)}</xs:documentation></xs:annotation>\n"


def _folder(version: Version) -> Path:
    return schema_file("dictionary").parent / "xsd" / version.text


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the shipped files; with ``--check`` only tell whether they are what would be written.

    Returns:
        0 when all is well, 1 when a file differs, is missing or is one too many.
    """
    parser = argparse.ArgumentParser(prog="python -m taskkit.taskdata.xsd", description=__doc__)
    parser.add_argument("--check", action="store_true", help="write nothing; exit 1 if a file differs")
    check = parser.parse_args(arguments).check
    differs = False
    for version in SHIPPED:
        folder = _folder(version)
        expected = {name: text.encode() for name, text in schemas(version).items()}
        found = {path.name: path.read_bytes() for path in folder.glob("*")}
        for name in sorted(expected.keys() | found.keys()):
            if expected.get(name) == found.get(name):
                continue
            differs = True
            print(f"{folder / name}: {'differs' if check else 'written' if name in expected else 'removed'}")
            if check:
                continue
            if name in expected:
                folder.mkdir(parents=True, exist_ok=True)
                (folder / name).write_bytes(expected[name])
            else:
                (folder / name).unlink()
    return 1 if check and differs else 0


if __name__ == "__main__":
    sys.exit(main())
