import functools
import json
import os
import struct
import subprocess
import sys
import textwrap
import zipfile
import zlib

import pytest
from specimens import HEAD, RING, TAIL, field_with, report_of, task_file

from taskkit.errors import UnsafeInputError
from taskkit.taskdata import reader

POINT = '<PNT A="2" C="54.1" D="-1.25"/>'

CHILD = textwrap.dedent("""
    import json, resource, sys

    memory, cpu = int(sys.argv[1]) << 20, int(sys.argv[2])
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    resource.setrlimit(resource.RLIMIT_CPU, (cpu, cpu))

    from taskkit.errors import TaskkitError
    from taskkit.taskdata.sets import read_set
    from taskkit.taskdata.store import open_store

    for path in sys.argv[3:]:
        for fast in (True, False):
            try:
                reading = read_set(open_store(path), fast=fast)
                report = reading.findings.report()
                said = {"rules": sorted({f.rule for f in report}), "counts": report.counts()}
                said |= {"crashed": [c.error for c in report.crashed], "skipped": [s.reason for s in report.skipped]}
                said |= {"longest": max((len(f.message) for f in report), default=0), "read": reading.data is not None}
                if reading.data is not None:
                    said["points"] = sum(len(e.lonlat()) for e in reading.data.main.walk())
            except TaskkitError as error:
                said = {"refused": type(error).__name__, "message": str(error)}
            print(json.dumps(said), flush=True)
""")


def outcomes(paths, *, memory_mib=1024, cpu_s=10):
    """What a child process with little memory and time says of sets, one after the other: each read both ways."""
    # A measured child needs more of both.
    unmeasured = {name: value for name, value in os.environ.items() if not name.startswith("COVERAGE")}
    run = subprocess.run(
        [sys.executable, "-c", CHILD, str(memory_mib), str(cpu_s), *map(str, paths)],
        capture_output=True, text=True, timeout=300, check=False, env={**unmeasured, "OPENBLAS_NUM_THREADS": "1"},
    )  # fmt: skip
    lines = [json.loads(line) for line in run.stdout.splitlines()]
    assert run.returncode == 0, (f"ended with {run.returncode} after {len(lines)} readings", run.stderr[-2000:])
    return list(zip(lines[::2], lines[1::2], strict=True))


def outcome(path, **limits):
    """The same of one set: what both ways say of it."""
    [(fast, slow)] = outcomes([path], **limits)
    assert fast == slow
    return fast


def folder_with(folder, text):
    folder.mkdir(exist_ok=True)
    (folder / "TASKDATA.XML").write_bytes(text if isinstance(text, bytes) else text.encode())
    return folder


@pytest.fixture(scope="module")
def outcomes_of(tmp_path_factory):
    """Outcomes of a whole table of files, which share one child and its limits: name -> what it says."""

    @functools.cache
    def said(table, **limits):
        folder = tmp_path_factory.mktemp("hostile")
        paths = [folder_with(folder / str(n), make()) for n, (make, _) in enumerate(TABLES[table].values())]
        return dict(zip(TABLES[table], outcomes(paths, **limits), strict=True))

    return said


def test_a_plain_set_passes_in_the_same_narrow_room(tmp_path):
    said = outcome(folder_with(tmp_path, field_with(RING)), memory_mib=512, cpu_s=5)
    assert said["read"]
    assert (said["rules"], said["crashed"], said["skipped"]) == ([], [], [])


BILLION = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 10))
DOCTYPES = {
    "billion laughs": (lambda: f'<!DOCTYPE x [<!ENTITY a0 "ha">{BILLION}]>{task_file("<P1_q>&a9;</P1_q>")}', None),
    "entity from a file": (
        lambda: f'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>{task_file("<P1_q>&a;</P1_q>")}',
        None,
    ),
    "parameter entity": (
        lambda: f'<!DOCTYPE x [<!ENTITY % a SYSTEM "http://farm.invalid/a">%a;]>{task_file("")}',
        None,
    ),
    "external subset": (lambda: f'<!DOCTYPE x SYSTEM "http://farm.invalid/x.dtd">{task_file("")}', None),
    "default attributes": (lambda: f'<!DOCTYPE x [<!ATTLIST PFD A CDATA "PFD1">]>{task_file("")}', None),
}


@pytest.mark.parametrize("name", DOCTYPES)
def test_a_document_type_is_refused_unread(name, outcomes_of):
    for said in outcomes_of("DOCTYPES", memory_mib=512, cpu_s=5)[name]:
        assert (said["rules"], said["read"], said["crashed"]) == (["xml-doctype-present"], False, [])


BIG = 8 << 20
TOO_LONG = "a tag or comment is longer than"
REFUSED = {
    "attribute of 8 MB": (lambda: field_with(RING).replace("Long", "L" * BIG), TOO_LONG),
    "attributes by the million": (
        lambda: task_file("<CTR " + " ".join(f"a{n}='x'" for n in range(800_000)) + "/>"),
        "a tag or",
    ),
    "name of 10 MB": (lambda: task_file(f"<P1_{'q' * 10_000_000}/>"), TOO_LONG),
    "comment of 8 MB": (
        lambda: task_file(f"<!-- {POINT * (BIG // len(POINT))} -->"),
        TOO_LONG,
    ),
    "tag that never ends": (lambda: HEAD + "<PFD A='" + "x" * (40 << 20), TOO_LONG),
    "nesting": (lambda: task_file("<P1_q>" * 10_000 + "</P1_q>" * 10_000), "elements are nested more than 100 deep"),
    "nesting of the standard": (lambda: task_file("<PDV>" * 10_000), "elements are nested more than 100 deep"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_too_much_is_refused_in_bounds(name, outcomes_of):
    for said in outcomes_of("REFUSED")[name]:
        assert said["refused"] == "UnsafeInputError"
        assert REFUSED[name][1] in said["message"]
        assert len(said["message"]) < 500


MANY = {
    "elements": (lambda: task_file("<P1_q/>" * 2_000_000), "more than 1,000,000 elements"),
    "elements of the standard": (lambda: task_file('<CTR A="CTR1" B="x"/>' * 1_100_000), "more than 1,000,000"),
    "comments": (lambda: task_file("<!---->" * 1_100_000), "more than 1,000,000 elements, comments and runs"),
    "points parted by comments": (lambda: field_with((POINT + "<!---->") * 1_000_000), "more than 1,000,000"),
    "points that hold something": (lambda: field_with('<PNT A="2"><a/></PNT>' * 1_000_000), "more than 1,000,000"),
}


@pytest.mark.parametrize(
    "name", ["comments", *(pytest.param(n, marks=pytest.mark.long) for n in MANY if n != "comments")]
)
def test_millions_are_refused_in_bounds(tmp_path, name):
    make, message = MANY[name]
    fast, slow = outcomes([folder_with(tmp_path, make())], cpu_s=40)[0]
    assert (fast["refused"], slow["refused"]) == ("UnsafeInputError", "UnsafeInputError")
    assert message in fast["message"]


@pytest.mark.parametrize("fast", [True, False], ids=["fast", "slow"])
@pytest.mark.parametrize("inside", ["<P1_q/>", "<!---->", f"{POINT}<!---->", '<PNT A="2"><a/></PNT>', "<?p?>", "x<a/>"])
def test_all_that_is_kept_is_counted(monkeypatch, inside, fast):
    monkeypatch.setattr(reader, "MAX_ELEMENTS", 1000)
    assert report_of(field_with(inside * 400), fast=fast) is not None
    with pytest.raises(UnsafeInputError, match="more than 1,000 elements, comments and runs of points"):
        report_of(field_with(inside * 1001), fast=fast)


MB3 = "q" * (3 << 20)
FOUND = {
    "attribute of 3 MB": (lambda: field_with(RING).replace("Long", MB3), {"attribute-too-long"}),
    "name of 3 MB": (lambda: task_file(f"<{MB3}/>"), {"element-unknown"}),
    "attribute name of 3 MB": (lambda: task_file(f'<CTR A="CTR1" B="x" {MB3}="1"/>'), {"attribute-unknown"}),
    "digits by the million": (lambda: field_with(POINT.replace("54.1", "5" * len(MB3))), {"attribute-out-of-range"}),
    "digits and a letter": (lambda: field_with(POINT.replace("54.1", "5" * len(MB3) + "x")), {"attribute-malformed"}),
    "comment with points": (lambda: task_file(f"<!-- {(POINT + 'x') * 100_000} -->"), set()),
    "comments that never end": (lambda: HEAD + "<!-- " * 600_000, {"xml-not-well-formed"}),
    "instructions that never end": (lambda: HEAD + "<? " * 1_000_000, {"xml-not-well-formed"}),
    "sections that never end": (lambda: task_file("<![CDATA[" * 400_000), {"xml-not-well-formed"}),
    "a long text": (lambda: task_file("word " * 2_000_000), {"text-between-elements"}),
    "white space": (lambda: task_file(" \n" * 2_000_000), set()),
    "white space before all": (lambda: " " * 8_000_000 + task_file(""), set()),
    "bad points in one line": (lambda: field_with('<PNT A="2" C="94" D="x"/>' * 25_000),
                               {"attribute-out-of-range", "attribute-malformed"}),
    "empty points": (lambda: field_with("<PNT/>" * 25_000), {"attribute-missing"}),
    "text before each point": (lambda: field_with(f"x{POINT}" * 20_000), {"text-between-elements"}),
    "unknown names, each another": (lambda: task_file("".join(f"<q{n}/>" for n in range(25_000))), {"element-unknown"}),
}  # fmt: skip


TABLES = {"DOCTYPES": DOCTYPES, "REFUSED": REFUSED, "FOUND": FOUND}


@pytest.mark.parametrize("name", FOUND)
def test_what_can_be_read_is_told_in_bounds(name, outcomes_of):
    fast, slow = outcomes_of("FOUND", cpu_s=20)[name]
    assert fast == slow
    assert set(fast["rules"]) == FOUND[name][1]
    assert fast["crashed"] == []
    assert fast["longest"] < 1000


# Zips.


def bomb(path, *, entries=1, size=100 << 20, shared=False):
    """A zip whose entries unpack to many zeros; ``shared`` lets all of them use the same packed bytes."""
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    packed = b"".join(packer.compress(bytes(1 << 20)) for _ in range(size >> 20)) + packer.flush()
    crc = 0
    for _ in range(size >> 20):
        crc = zlib.crc32(bytes(1 << 20), crc)
    with path.open("wb") as file:
        places = []
        for number in range(entries):
            name = b"TASKDATA.XML" if number == 0 else b"%011d" % number + b"X"
            if number == 0 or not shared:
                offset = file.tell()
                file.write(struct.pack("<IHHHHHIIIHH", 0x04034B50, 20, 0, 8, 0, 33, crc, len(packed), size, 12, 0))
                file.write(name + packed)
            places.append((name, offset))
        begin = file.tell()
        for name, offset in places:
            record = (0x02014B50, 20, 20, 0, 8, 0, 33, crc, len(packed), size, 12, 0, 0, 0, 0, 0, offset)
            file.write(struct.pack("<IHHHHHHIIIHHHHHII", *record) + name)
        length = file.tell() - begin
        count = min(entries, 65_535)
        file.write(struct.pack("<IHHHHIIH", 0x06054B50, 0, 0, count, count, length, begin, 0))
    return path


def test_a_bomb_is_refused_unpacked_by_its_ratio(tmp_path):
    said = outcome(bomb(tmp_path / "set.zip"), memory_mib=512, cpu_s=3)
    assert said["refused"] == "UnsafeInputError"
    assert "unpacks to more than 300 times its size" in said["message"]


def test_a_bomb_of_overlapping_entries_is_refused(tmp_path):
    # A megabyte and less an entry, so that no ratio is asked for; together a gigabyte.
    said = outcome(bomb(tmp_path / "set.zip", entries=1000, size=1 << 20, shared=True), memory_mib=512, cpu_s=3)
    assert said["refused"] == "UnsafeInputError"
    assert "overlaps another" in said["message"]


def test_a_zip_of_a_million_entries_is_refused(tmp_path):
    said = outcome(bomb(tmp_path / "set.zip", entries=1_000_000, size=1 << 20, shared=True), memory_mib=512, cpu_s=5)
    assert said["refused"] == "UnsafeInputError"
    assert "the directory of the zip is too large" in said["message"]


def test_a_zip_of_many_entries_is_refused(tmp_path):
    said = outcome(bomb(tmp_path / "set.zip", entries=60_000, size=1 << 20, shared=True), memory_mib=512, cpu_s=5)
    assert said["refused"] == "UnsafeInputError"
    assert "more than 10,000 files" in said["message"]


def test_a_zip_that_names_a_file_outside_is_refused(tmp_path):
    with zipfile.ZipFile(tmp_path / "set.zip", "w") as archive:
        archive.writestr("TASKDATA.XML", field_with(RING))
        archive.writestr("../../outside.bin", "x")
    said = outcome(tmp_path / "set.zip", memory_mib=512, cpu_s=3)
    assert said["refused"] == "UnsafeInputError"
    assert not list(tmp_path.parent.glob("outside*"))


def test_a_hostile_file_inside_a_zip_has_the_same_bounds(tmp_path):
    with zipfile.ZipFile(tmp_path / "set.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("TASKDATA/TASKDATA.XML", task_file("<P1_q>" * 10_000) + TAIL)
    said = outcome(tmp_path / "set.zip", memory_mib=512, cpu_s=3)
    assert (said["refused"], "nested more than" in said["message"]) == ("UnsafeInputError", True)


def test_a_large_sound_set_stays_within_memory(tmp_path):
    points = "\n".join(f'<PNT A="2" C="54.{n:09d}" D="-1.{n:09d}"/>' for n in range(60_000))
    said = outcome(folder_with(tmp_path, field_with(points)), memory_mib=512, cpu_s=5)
    assert (said["read"], said["rules"], said["crashed"]) == (True, [], [])
