"""Holds reading, checking and writing against general tools on the same set, and prints a table of ratios.

    .venv/bin/python tests/bench/run.py [--points 500000] [--runs 7]

Whole processes, run in turn (A B C, A B C, ...), medians; nothing is asserted, for a busy machine is no defect. This
file imports nothing but the standard library: a child's peak memory never reads lower than its parent's.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
SCHEMA = ROOT / "schemas" / "xsd" / "4.3" / "ISO11783_TaskFile_V4-3.xsd"


@dataclass
class Case:
    """One command, and what its runs took.

    Attributes:
        words: the command.
        inner: whether it prints its own seconds, which count instead of those of the process.
    """

    words: list[str]
    inner: bool = False
    seconds: list[float] = field(default_factory=list)
    peaks_mb: list[float] = field(default_factory=list)
    said: str = ""

    def run(self) -> None:
        begin = time.perf_counter()
        child = subprocess.Popen(self.words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, cwd=ROOT)
        assert child.stdout
        self.said = child.stdout.read()
        # wait4 and not wait: it tells the memory of this child alone.
        _, status, usage = os.wait4(child.pid, 0)
        took = time.perf_counter() - begin
        child.returncode = os.waitstatus_to_exitcode(status)
        if child.returncode:
            sys.exit(f"{' '.join(self.words)} ended with {child.returncode}:\n{self.said}")
        self.seconds.append(float(self.said.split()[0]) if self.inner else took)
        self.peaks_mb.append(usage.ru_maxrss / 1024)

    @property
    def median_s(self) -> float:
        return statistics.median(self.seconds)

    @property
    def peak_mb(self) -> float:
        return statistics.median(self.peaks_mb)


def machine() -> str:
    """The machine and the versions that the ratios depend on."""
    processor = platform.processor() or platform.machine()
    information = Path("/proc/cpuinfo")
    if information.exists():
        names = [line for line in information.read_text().splitlines() if line.startswith("model name")]
        processor = names[0].partition(":")[2].strip() if names else processor
    lint = subprocess.run(["xmllint", "--version"], capture_output=True, text=True, check=True)
    words = "from lxml import etree as e; print('.'.join(map(str, e.LXML_VERSION[:3])))"
    lxml = subprocess.run([sys.executable, "-c", words], capture_output=True, text=True, check=True).stdout.strip()
    number = int((lint.stdout + lint.stderr).split()[4])  # 20914 is 2.9.14
    libxml2 = f"{number // 10000}.{number // 100 % 100}.{number % 100}"
    return (
        f"{processor}, {os.cpu_count()} processors, {platform.system()}, Python {platform.python_version()}, "
        f"lxml {lxml}, xmllint {libxml2}"
    )


def main() -> None:
    """Make the set, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--points", type=int, default=500_000)
    parser.add_argument("--runs", type=int, default=7)
    options = parser.parse_args()
    if shutil.which("xmllint") is None:
        sys.exit("xmllint is not installed (Debian: libxml2-utils)")
    with tempfile.TemporaryDirectory() as name:
        measure(Path(name), options.points, options.runs)


def measure(folder: Path, points: int, runs: int) -> None:
    python = sys.executable
    work = [python, str(HERE / "work.py")]
    subprocess.run([*work, "make", str(folder), str(points)], check=True, cwd=ROOT)
    plain, other, numbers = folder / "canonical", folder / "other", str(folder / "points.npy")
    file = str(plain / "TASKDATA.XML")
    check = Case([python, "-m", "taskkit", "check", str(plain)])
    slow = Case([python, "-m", "taskkit", "check", str(other)])
    lint = Case(["xmllint", "--noout", "--schema", str(SCHEMA), file])
    parse = Case([python, "-c", "import sys; from lxml import etree; etree.parse(sys.argv[1])", file])
    write, join, idle = (Case([*work, step, numbers], inner=True) for step in ("write", "join", "idle"))
    cases = [check, slow, lint, parse, write, join, idle]
    for case in cases:
        case.run()
        case.seconds.clear()
        case.peaks_mb.clear()
    for _ in range(runs):
        for case in cases:
            case.run()
    if write.said.split()[1:] != join.said.split()[1:]:
        sys.exit("our writer and the f-strings wrote different bytes")
    size_mb = Path(file).stat().st_size / 1e6
    rows = [
        ("check, against `xmllint --noout --schema`", check, lint, 0.0),
        ("check, against a plain lxml parse", check, parse, 0.0),
        ("check of points in another spelling, against `xmllint --noout --schema`", slow, lint, 0.0),
        ("writing points, against an f-string join of the same numbers", write, join, idle.peak_mb),
    ]
    print("| what | time | peak memory |")
    print("| --- | --- | --- |")
    for what, ours, theirs, base_mb in rows:
        memory = (ours.peak_mb - base_mb) / (theirs.peak_mb - base_mb)
        print(f"| {what} | {ours.median_s / theirs.median_s:.2f} | {memory:.2f} |")
    print(f"\n{points:,} points, {size_mb:.1f} MB, medians of {runs} runs in turn; {machine()}.")
    print("Seconds and megabytes of this run:")
    for name, case in (
        ("check", check), ("check, other spelling", slow), ("xmllint", lint), ("lxml parse", parse),
        ("write", write), ("join", join), ("arrays alone", idle),
    ):  # fmt: skip
        print(f"  {name:<22}{case.median_s:7.3f}{case.peak_mb:8.0f}")


if __name__ == "__main__":
    main()
