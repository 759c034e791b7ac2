"""What the tests of this folder share: sets in memory, awkward files, and how to tell two readings apart."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from taskkit.findings import Collector
from taskkit.taskdata.conformance import Conformance, References
from taskkit.taskdata.dictionary import LINK_ROOT, TASK_ROOT, dictionary
from taskkit.taskdata.document import LINK_FILE, TASK_FILE, Element, Points, TaskData, Verbatim
from taskkit.taskdata.reader import decode, parse
from taskkit.taskdata.sets import read_set
from taskkit.taskdata.version import Version
from taskkit.taskdata.writer import built_points

WHOLE_SET = Path(__file__).parent / "whole_set"
"""Every element of version 4.3, written by hand, with points in many spellings."""

HEAD = (
    '<ISO11783_TaskData VersionMajor="4" VersionMinor="3" ManagementSoftwareManufacturer="Marlow"'
    ' ManagementSoftwareVersion="1" DataTransferOrigin="1">'
)
TAIL = "</ISO11783_TaskData>"


def task_file(inside):
    """A whole task file around some elements."""
    return HEAD + inside + TAIL


def field_with(points, *, before="", after=""):
    """A task file with one field whose boundary holds these points."""
    ring = f'<PLN A="1"><LSG A="1">{points}</LSG></PLN>'
    return task_file(f'{before}<PFD A="PFD1" C="Long Acre" D="41250">{ring}</PFD>{after}')


RING = (
    '<PNT A="2" C="54.1" D="-1.25"/><PNT A="2" C="54.1" D="-1.247"/>'
    '<PNT A="2" C="54.102" D="-1.247"/><PNT A="2" C="54.1" D="-1.25"/>'
)


@dataclass
class Held:
    """A store whose files are in memory."""

    files: dict[str, bytes]
    path: Path = Path("held")
    folder: str = ""
    elsewhere: tuple[str, ...] = ()
    names: tuple[str, ...] = field(init=False)

    def __post_init__(self):
        self.names = tuple(sorted(self.files))

    def read(self, name):
        return self.files[name]


def as_bytes(text):
    return text if isinstance(text, bytes) else text.encode()


def reading_of(text, links=None, *, fast=True, oracle=False):
    files = {TASK_FILE: as_bytes(text)}
    if links is not None:
        files[LINK_FILE] = as_bytes(links)
    return read_set(Held(files), fast=fast, oracle=oracle)


def report_of(text, links=None, *, fast=True, oracle=False):
    return reading_of(text, links, fast=fast, oracle=oracle).findings.report()


def judged(data, *, fast, block, name=TASK_FILE, root=TASK_ROOT):
    """One file read in blocks of a size: its root and findings; references too, if it was read to its end."""
    findings, references = Collector(), References()
    source, problem = decode(name, data)
    if problem is not None:
        findings.add(problem)
        return None, findings.report()
    engine = Conformance(dictionary(Version.V4_3), root, findings, references)
    reading = parse(source, watch=engine, proof=Version.V4_3 if fast else None, block=block)
    if reading.stopped is not None:
        findings.add(reading.stopped)
    else:
        references.settle(findings)
    return reading.root, findings.report()


def told(report):
    """What a person sees of each finding, and how many were only counted."""
    findings = [(f.rule, f.severity.word, str(f.where), f.where.element, f.where.id, f.message) for f in report]
    return findings, dict(report.unlisted)


def anatomy(element):
    """All that a reading keeps of an element, however its points were taken: texts, order, ordinals, places."""
    places = {code: str(element.where(code)) for code in element.attributes}
    inside = []
    for child in element.children:
        if isinstance(child, Points):
            inside += [anatomy(point) for point in child.elements()]
        elif isinstance(child, Verbatim):
            inside.append(child.raw)
        else:
            inside.append(anatomy(child))
    own = (element.tag, list(element.attributes.items()), element.ordinal, str(element.where()), element.path(), places)
    return *own, inside


def columns(root):
    """The columns of all points below each element; zero has no sign here."""
    return [
        (e.path(), [t for run in e.points() for t in run.types()], (e.lonlat() + 0.0).tobytes())
        for e in root.walk()
        if any(e.points())
    ]


def content(element):
    """What is data: names, attribute texts in order, children in order; no places, no white space."""
    inside = []
    for child in element.children:
        if isinstance(child, Points):
            inside += [content(point) for point in child.elements()]
        elif isinstance(child, Verbatim):
            inside.append(child.raw)
        else:
            inside.append(content(child))
    return element.tag, list(element.attributes.items()), inside


def written_set():
    """A set such as the program itself writes: points in bulk, a link list beside it."""
    head = {"VersionMajor": "4", "VersionMinor": "3", "DataTransferOrigin": "1"}
    maker = {"ManagementSoftwareManufacturer": "Marlow", "ManagementSoftwareVersion": "1"}
    main = Element(TASK_ROOT, head | maker)
    main.add(Element("CTR", {"A": "CTR1", "B": "Larkmoor Estate"}))
    main.add(Element("FRM", {"A": "FRM1", "B": "Home Farm", "I": "CTR1"}))
    rng = np.random.default_rng(4)
    for number in (1, 2):
        land = Element("PFD", {"A": f"PFD{number}", "C": f"Field {number}", "D": "41250", "E": "CTR1", "F": "FRM1"})
        outline = Element("PLN", {"A": "1", "B": "Outline"})
        for kind in ("1", "2"):
            ring = Element("LSG", {"A": kind})
            ring.add(built_points("2", rng.uniform([-1.3, 54.1], [-1.2, 54.2], (7, 2))))
            outline.add(ring)
        land.add(outline)
        group = Element("GGP", {"A": f"GGP{number}"})
        line = Element("GPN", {"A": f"GPN{number}", "C": "1", "D": "1"})
        segment = Element("LSG", {"A": "5", "C": "24000"})
        segment.add(built_points(["6", "7"], rng.uniform([-1.3, 54.1], [-1.2, 54.2], (2, 2))))
        line.add(segment)
        group.add(line)
        land.add(group)
        main.add(land)
    links = Element(LINK_ROOT, head | maker)
    group = Element("LGP", {"A": "LGP1", "B": "1"})
    group.add(Element("LNK", {"A": "PFD1", "B": "{1f0c1c2e-6d0b-4d0c-9d67-1a1c9b6d5a02}"}))
    links.add(group)
    return TaskData(main, links, {"NOTES.TXT": b"a b c"})
