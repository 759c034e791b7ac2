"""What README.md and DEVELOPERS.md say of the program, held against the program."""

from __future__ import annotations

import re
import shlex
import subprocess
import tomllib
from collections.abc import Callable
from pathlib import Path

import typer

from taskkit.cli.main import app

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")


def block(mark: str) -> str:
    """The fenced block that follows a marker of the README."""
    found = re.search(rf"^<!-- {mark} -->\n```\w*\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    assert found, f"README.md has no block after {mark!r}"
    return found[1]


def tables(text: str, head: str) -> list[str]:
    """The first cells of the rows of each table whose first column has this head."""
    rows = re.findall(rf"^\| {head} \|[^\n]*\n\|[- |]+\n((?:\|[^\n]*\n)+)", text, re.MULTILINE)
    return [row.split("|")[1].strip() for table in rows for row in table.splitlines()]


def test_the_readme_shows_what_its_main_command_prints(
    taskkit: Callable[..., subprocess.CompletedProcess[str]], tmp_path: Path
) -> None:
    venv, install, run = (shlex.split(command) for command in block("the main command").split("&&"))
    assert (venv[0], install[1], run[0]) == ("python3", "install", ".venv/bin/taskkit")
    out = run[run.index("--out") + 1]
    words = [str(tmp_path / "stick") if word == out else word for word in run[1:]]

    done = taskkit(*words)

    assert done.returncode == 0, done.stderr
    assert done.stdout.replace(str(tmp_path / "stick"), out) == block("what it prints")


def test_the_readme_lists_every_command_and_no_other() -> None:
    listed = [re.match(r"`taskkit (\w+)", cell)[1] for cell in tables(README, "command")]  # type: ignore[index]

    assert sorted(listed) == sorted(typer.main.get_command(app).commands)


def test_every_dependency_is_argued_for_once() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["dev"]]

    argued = ", ".join([*tables(DEVELOPERS, "needed"), *tables(DEVELOPERS, "for development")]).split(", ")

    assert sorted(argued) == sorted(re.match(r"[\w-]+", one)[0] for one in wanted)  # type: ignore[index]


def test_every_room_is_on_the_map() -> None:
    cells = ", ".join(tables(DEVELOPERS, "room"))

    rooms = {path.name for path in (ROOT / "taskkit").iterdir() if (path / "__init__.py").is_file()}

    assert rooms <= set(re.findall(r"`(\w+)`", cells))


def test_files_that_the_texts_name_are_there() -> None:
    named = set(re.findall(r"`((?:taskkit|schemas|samples|tests|\.ci)/[\w./-]*)`", README + DEVELOPERS))

    assert len(named) >= 5
    assert [name for name in named if not (ROOT / name).exists()] == []
