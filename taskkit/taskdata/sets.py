"""A whole set: find its files, read them, hold them against the dictionary, and check the engine against the schema."""

from __future__ import annotations

import re
from dataclasses import dataclass

from taskkit.findings import Collector, Crash, Severity, Skip, Where, kind
from taskkit.taskdata import schema
from taskkit.taskdata.conformance import (
    DICTIONARY_KINDS,
    DUPLICATE,
    PROPRIETARY_ATTRIBUTE,
    PROPRIETARY_ELEMENT,
    Conformance,
    References,
)
from taskkit.taskdata.dictionary import LINK_ROOT, TASK_ROOT, dictionary
from taskkit.taskdata.document import LINK_FILE, TASK_FILE, Element, TaskData
from taskkit.taskdata.reader import decode, parse
from taskkit.taskdata.store import Companions, Store
from taskkit.taskdata.version import Version

__all__ = ["SetReading", "read_set"]

MISSING = kind(
    "task-file-missing",
    Severity.ERROR,
    "There is no file TASKDATA.XML in {place}.",
    hint="Name the folder or zip that holds TASKDATA.XML, and check that it was copied whole.",
    why="The terminal offers nothing to import.",
    source="ISO 11783-10, file set (recalled)",
)
VERSION = kind(
    "version-unknown",
    Severity.WARNING,
    "The file says it is version {major}.{minor}; known here are {known}. It was held against {taken}.",
    hint="Is VersionMajor right? 3 is the first edition, 4 the second.",
    why="A terminal may refuse a version that it does not know.",
    source="ISO 11783-10, version attributes (recalled)",
)

_ORACLE = "schema-verdict"
_ORACLE_BYTES = 8 << 20
"""Largest skeleton that the schema processor is asked about: it builds a tree of up to forty times its size."""
_ORACLE_FINDINGS = 10_000
"""Most findings with which it is asked: it keeps all that it has to say."""


@dataclass(frozen=True, slots=True)
class SetReading:
    """What came of reading a set.

    Attributes:
        store: where it lies.
        data: the set; None where its task file could not be read.
        version: the version it was held against.
        findings: the collector with what was found so far; checks add theirs.
        references: the identifiers of the set.
    """

    store: Store
    data: TaskData | None
    version: Version
    findings: Collector
    references: References


def read_set(store: Store, *, fast: bool = True, oracle: bool = True) -> SetReading:
    """Read a set and hold it against the dictionary.

    Args:
        store: the files.
        fast: take proven points in bulk; without it every point goes the careful way, with the same result.
        oracle: ask the schema processor too, and report a disagreement as a bug of ours.

    Raises:
        InputError, UnsafeInputError: a file cannot be read or breaks a bound.
    """
    findings, references = Collector(), References()
    named = {name.upper(): name for name in reversed(store.names)}
    if TASK_FILE not in named:
        place = str(store.path)
        findings.add(MISSING.at(Where(TASK_FILE), place=place))
        return SetReading(store, None, Version.V4_3, findings, references)
    raw = store.read(named[TASK_FILE])
    version = _version(raw)
    roots: dict[str, Element | None] = {}
    for file, root in ((TASK_FILE, TASK_ROOT), (LINK_FILE, LINK_ROOT)):
        if file not in named or (root == LINK_ROOT and version < Version.V4_0):
            continue
        data = raw if file == TASK_FILE else store.read(named[file])
        roots[file] = _read_file(named[file], data, root, version, findings, references, fast=fast, oracle=oracle)
    main = roots[TASK_FILE]
    if main is None:
        # What the link list refers to may stand in the part that could not be read.
        return SetReading(store, None, version, findings, references)
    references.settle(findings)
    taken = {named[file] for file, root in roots.items() if root is not None}
    _judge_version(main, version, findings)
    companions = Companions(store, tuple(name for name in store.names if name not in taken))
    return SetReading(store, TaskData(main, roots.get(LINK_FILE), companions), version, findings, references)


def _version(raw: bytes) -> Version:
    """The known version nearest to what the root declares, told from the head of the file alone."""
    head = raw[:4096].replace(b"\0", b"")  # UTF-16 becomes readable enough
    numbers = [
        re.search(rb"Version" + part + rb"""\s*=\s*["']\s*([0-9]{1,3})\s*["']""", head) for part in (b"Major", b"Minor")
    ]
    major, minor = (int(found[1]) if found else None for found in numbers)
    if major is None:
        return Version.V4_3
    edition = [v for v in Version if v.major == (3 if major <= 3 else 4)]
    return next((v for v in edition if (v.major, v.minor) == (major, minor)), edition[-1])


def _judge_version(main: Element, taken: Version, findings: Collector) -> None:
    major, minor = main.get("VersionMajor"), main.get("VersionMinor")
    if major is not None and minor is not None and f"{major.strip()}.{minor.strip()}" != taken.text:
        known = ", ".join(version.text for version in Version)
        where = main.where("VersionMajor")
        findings.add(VERSION.at(where, major=major[:9], minor=minor[:9], known=known, taken=taken.text))


def _read_file(
    name: str,
    data: bytes,
    root: str,
    version: Version,
    findings: Collector,
    references: References,
    *,
    fast: bool,
    oracle: bool,
) -> Element | None:
    source, problem = decode(name, data)
    if problem is not None:
        findings.add(problem)
        return None
    before = _against_schema(findings)
    duplicates = findings.total(DUPLICATE, severity=Severity.ERROR)
    engine = Conformance(dictionary(version), root, findings, references)
    reading = parse(source, watch=engine, proof=version if fast else None)
    if reading.stopped is not None:
        findings.add(reading.stopped)
        return None
    if oracle and findings.total(DUPLICATE, severity=Severity.ERROR) == duplicates:
        _compare_verdicts(name, reading.skeleton, root, version, findings, told=_against_schema(findings) - before)
    return reading.root


def _against_schema(findings: Collector) -> int:
    """How many findings so far are of the kind that a schema processor must share."""
    return findings.total(*DICTIONARY_KINDS, severity=Severity.ERROR) + findings.total(
        PROPRIETARY_ELEMENT, PROPRIETARY_ATTRIBUTE, severity=Severity.NOTE
    )


def _compare_verdicts(
    name: str, skeleton: bytes, root: str, version: Version, findings: Collector, *, told: int
) -> None:
    if not schema.available(root, version):
        findings.skipped.append(Skip(_ORACLE, f"{name}: no schema is shipped for version {version.text}"))
        return
    if len(skeleton) > _ORACLE_BYTES:
        findings.skipped.append(Skip(_ORACLE, f"{name}: more than {_ORACLE_BYTES >> 20} MiB beside the plain points"))
        return
    if told > _ORACLE_FINDINGS:
        findings.skipped.append(Skip(_ORACLE, f"{name}: more than {_ORACLE_FINDINGS:,} findings as it is"))
        return
    try:
        messages = schema.verdict(skeleton, root, version)
    except schema.Unable as reason:
        findings.skipped.append(Skip(_ORACLE, f"{name}: {reason}"))
        return
    if bool(told) != bool(messages):
        said = messages[0] if messages else "valid"
        findings.crashed.append(Crash(_ORACLE, f"{name}: the schema says {said}; our own findings say otherwise"))
