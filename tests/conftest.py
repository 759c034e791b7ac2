"""What all tests share: the neighbours they may look at, the program itself, and how hard properties are tried."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

ROOT = Path(__file__).resolve().parents[1]
SHARED = ROOT.parent / "shared"
LONG = bool(os.environ.get("TASKKIT_LONG"))

# The same examples each time, so that a red run can be had again; how long one takes says more of the machine.
settings.register_profile("ci", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile(
    "long", max_examples=2000, deadline=None, print_blob=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("long" if LONG else "ci")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Leave out what is marked ``long``, unless TASKKIT_LONG is set."""
    if LONG:
        return
    for item in items:
        if item.get_closest_marker("long"):
            item.add_marker(pytest.mark.skip(reason="takes long; set TASKKIT_LONG=1 to run it"))


@pytest.fixture(scope="session")
def long() -> bool:
    """Whether this run may take long: more seeds, more mutants, bigger files."""
    return LONG


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """A folder of real field boundaries beside the repository."""
    folder = SHARED / "data"
    if not folder.is_dir():
        pytest.skip("the real field boundaries (../shared/data beside the repository) are not here")
    return folder


@pytest.fixture(scope="session")
def xmllint() -> str:
    """The path of xmllint, an independent validator (libxml2's own program)."""
    path = shutil.which("xmllint")
    if path is None:
        pytest.skip("xmllint is not installed (Debian: libxml2-utils)")
    return path


@pytest.fixture(scope="session")
def taskkit() -> Callable[..., subprocess.CompletedProcess[str]]:
    """The program as a person calls it: ``taskkit("check", folder)``; what it printed, and how it ended."""

    def run(
        *words: object, cwd: Path | None = None, env: dict[str, str] | None = None
    ) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "taskkit", *map(str, words)],
            capture_output=True,
            text=True,
            encoding="utf-8",
            cwd=cwd or ROOT,
            env={**os.environ, **(env or {})},
            timeout=120,
            check=False,
        )

    return run
