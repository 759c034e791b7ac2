"""The real program, as a person calls it: what it prints, what it writes, how it ends."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "samples" / "larkmoor"


def run(*words: object, cwd: Path | None = None, env: dict[str, str] | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "taskkit", *map(str, words)],
        capture_output=True,
        text=True,
        cwd=cwd or ROOT,
        env={**os.environ, **(env or {})},
        timeout=120,
        check=False,
    )


@pytest.fixture(scope="module")
def stick(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample farm, exported by the program."""
    folder = tmp_path_factory.mktemp("stick")
    done = run("export", SAMPLE, "--out", folder)
    assert done.returncode == 0, done.stdout + done.stderr
    return folder


def test_the_sample_is_exported_and_the_driver_is_told_what_is_missing(stick: Path) -> None:
    done = run("export", SAMPLE, "--out", stick)

    assert done.returncode == 0
    assert {path.name for path in (stick / "TASKDATA").iterdir()} == {"TASKDATA.XML", "LINKLIST.XML", "HEADLAND.XML"}
    assert "What the driver will miss" in done.stdout
    assert "stay in the seat" in done.stdout
    assert max(len(line) for line in done.stdout.splitlines() if str(stick) not in line) <= 80


def test_what_was_exported_passes_the_check_in_at_most_five_lines(stick: Path) -> None:
    done = run("check", stick)

    assert done.returncode == 0
    assert len(done.stdout.splitlines()) <= 5


def test_a_plan_read_back_is_equal_to_the_plan(stick: Path, tmp_path: Path) -> None:
    assert run("read", stick, "--out", tmp_path / "back").returncode == 0

    done = run("compare", SAMPLE, stick, "--format", "json")
    assert done.returncode == 0
    facts = json.loads(done.stdout)
    assert facts["version"] == 1
    assert facts["equal"] is True
    assert facts["largest_move_mm"] <= 0.1
    assert facts["differences"] == []
    assert facts["common_shift"] is None


def test_a_boundary_point_moved_one_metre_north_is_reported_as_one_metre_north(stick: Path, tmp_path: Path) -> None:
    moved = tmp_path / "moved" / "TASKDATA"
    moved.mkdir(parents=True)
    for file in (stick / "TASKDATA").iterdir():
        (moved / file.name).write_bytes(file.read_bytes())
    text = (moved / "TASKDATA.XML").read_text("utf-8")
    before = text.split('<PNT A="2" C="')[2].partition('"')[0]
    # One degree of latitude at 54.5 degrees north is 111,323 m (WGS 84, meridian arc), so one metre is:
    after = f"{float(before) + 1 / 111_323.0:.9f}"
    (moved / "TASKDATA.XML").write_text(text.replace(before, after), "utf-8")

    done = run("compare", SAMPLE, moved, "--format", "json")

    facts = json.loads(done.stdout)
    assert done.returncode == 1
    assert facts["largest_move_mm"] == pytest.approx(1000, abs=1)
    assert any("north" in d["what"] or "0 degrees" in d["what"] for d in facts["differences"]), facts["differences"]


def test_without_the_attached_file_only_attached_values_are_lost(stick: Path, tmp_path: Path) -> None:
    bare = tmp_path / "bare" / "TASKDATA"
    bare.mkdir(parents=True)
    for name in ("TASKDATA.XML", "LINKLIST.XML"):
        (bare / name).write_bytes((stick / "TASKDATA" / name).read_bytes())

    done = run("compare", SAMPLE, bare, "--format", "json")

    facts = json.loads(done.stdout)
    assert done.returncode == 1
    assert facts["largest_move_mm"] <= 0.1
    lost = " ".join(d["what"] + d["where"] for d in facts["differences"])
    assert "headland" in lost
    assert "row-end" in lost
    assert not any("boundary" in d["where"] for d in facts["differences"])


def test_two_exports_are_byte_identical(tmp_path: Path) -> None:
    hashes = []
    for name in ("one.zip", "two.zip"):
        assert run("export", SAMPLE, "--out", tmp_path / name).returncode == 0
        hashes.append(hashlib.sha256((tmp_path / name).read_bytes()).hexdigest())
    assert hashes[0] == hashes[1]

    assert run("export", SAMPLE, "--out", tmp_path / "plain.zip", "--stored").returncode == 0
    with zipfile.ZipFile(tmp_path / "plain.zip") as archive:
        assert {entry.compress_type for entry in archive.infolist()} == {zipfile.ZIP_STORED}
        assert archive.namelist()[0] == "TASKDATA/TASKDATA.XML"


def test_a_second_export_keeps_the_first_beside_it(tmp_path: Path) -> None:
    for _ in range(2):
        assert run("export", SAMPLE, "--out", tmp_path / "stick").returncode == 0

    assert sorted(path.name for path in (tmp_path / "stick").iterdir()) == ["TASKDATA", "TASKDATA.old"]


def test_headland_passes_go_out_closed_or_as_a_line_a_side(stick: Path, tmp_path: Path) -> None:
    # A copy, because more passes are given more numbers.
    shutil.copytree(SAMPLE, tmp_path / "plan")
    done = run("export", tmp_path / "plan", "--out", tmp_path, "--one-line-per-side")

    assert done.returncode == 0
    closed, by_side = ((place / "TASKDATA" / "TASKDATA.XML").read_text("utf-8") for place in (stick, tmp_path))
    # Lines along sides are more than rings, and every ring of the sample follows several sides or none.
    assert by_side.count("<GPN ") > closed.count("<GPN ")
    assert run("compare", SAMPLE, tmp_path / "TASKDATA").returncode == 0


def test_somebody_elses_set_is_not_overwritten(tmp_path: Path) -> None:
    theirs = tmp_path / "TASKDATA"
    theirs.mkdir()
    (theirs / "TASKDATA.XML").write_text("<ISO11783_TaskData/>", "utf-8")

    done = run("export", SAMPLE, "--out", tmp_path)

    assert done.returncode == 2
    assert "was not written from this plan" in done.stderr
    assert (theirs / "TASKDATA.XML").read_text("utf-8") == "<ISO11783_TaskData/>"


def test_what_a_machine_left_in_our_set_is_never_pushed_out(tmp_path: Path) -> None:
    assert run("export", SAMPLE, "--out", tmp_path).returncode == 0
    log = tmp_path / "TASKDATA" / "TLG00001.BIN"
    log.write_bytes(b"a season of work")

    done = run("export", SAMPLE, "--out", tmp_path)

    assert done.returncode == 2
    assert "holds files that we did not write: TLG00001.BIN" in done.stderr
    (tmp_path / "TASKDATA").rename(tmp_path / "TASKDATA.old")
    assert run("export", SAMPLE, "--out", tmp_path).returncode == 2
    assert (tmp_path / "TASKDATA.old" / "TLG00001.BIN").read_bytes() == b"a season of work"


def test_a_bad_set_ends_with_one_and_its_place(stick: Path, tmp_path: Path) -> None:
    bad = tmp_path / "TASKDATA"
    bad.mkdir()
    text = (stick / "TASKDATA" / "TASKDATA.XML").read_text("utf-8")
    (bad / "TASKDATA.XML").write_text(text.replace('<PNT A="2"', '<PNT A="77"', 1), "utf-8")

    done = run("check", bad, "--format", "json")

    assert done.returncode == 1
    (one,) = json.loads(done.stdout)["sets"]
    found = next(f for f in one["findings"] if f["rule"] == "attribute-value-unknown")
    assert (found["file"], found["facts"]["value"]) == ("TASKDATA.XML", '"77"')
    assert text.splitlines()[found["line"] - 1].lstrip().startswith('<PNT A="2"')
    assert set(found) == {
        "rule", "severity", "message", "file", "line", "column", "element", "id", "facts", "hint", "fingerprint",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["check", "nowhere"], "no such folder or file"),
        (["export", "nowhere", "--out", "x"], "no plan.yaml"),
        (["explain", "nonsense"], "nothing is known"),
        (["compare", SAMPLE, SAMPLE, "--tolerance", "wide"], "is no length"),
        (["compare", SAMPLE, SAMPLE, "--tolerance", "-1 mm"], "is below nothing"),
        (["export", SAMPLE, "--out", "x", "--version", "9.9"], "cannot be written"),
        (["read", ROOT / "samples", "--out", "x"], "cannot be read"),
    ],
)
def test_what_cannot_be_done_ends_with_two_and_one_line(words: list[object], said: str, tmp_path: Path) -> None:
    done = run(*words, cwd=tmp_path)

    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("word", ["PFD", "PFD@C", "pnt@a", "attribute-out-of-range", "ISO11783_TaskData"])
def test_words_are_explained_in_text_and_json(word: str) -> None:
    text, as_json = run("explain", word), run("explain", word, "--format", "json")

    assert text.returncode == as_json.returncode == 0
    assert json.loads(as_json.stdout)["name"].upper() == word.upper()
    assert len(text.stdout.splitlines()) >= 5


def test_a_new_plan_can_be_exported_at_once(tmp_path: Path) -> None:
    assert run("new", tmp_path / "farm").returncode == 0

    assert run("export", tmp_path / "farm", "--out", tmp_path / "stick").returncode == 0
    assert run("new", tmp_path / "farm").returncode == 2


@pytest.mark.parametrize("command", ["new", "edit", "ready", "export", "check", "read", "compare", "explain"])
def test_every_command_has_help_with_an_example(command: str) -> None:
    done = run(command, "--help")

    assert done.returncode == 0
    assert f"Example: taskkit {command}" in " ".join(done.stdout.split())


def test_a_full_disk_or_a_file_in_the_way_leaves_nothing_behind(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way", "utf-8")

    done = run("export", SAMPLE, "--out", tmp_path / "file" / "below")

    assert done.returncode == 2
    assert "cannot be written" in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_checking_a_set_loads_neither_the_plans_libraries_nor_pyproj(stick: Path) -> None:
    program = (
        "import sys; sys.argv = ['taskkit', 'check', sys.argv[1]]\n"
        "from taskkit.cli.main import app\n"
        "try: app()\n"
        "except SystemExit as end: assert end.code == 0\n"
        "print(sorted(m for m in ('numpy', 'pyproj', 'pydantic', 'yaml', 'pyogrio', 'xmlschema') if m in sys.modules))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, stick], capture_output=True, text=True, check=True, timeout=60
    )

    assert done.stdout.splitlines()[-1] == "['numpy']"
