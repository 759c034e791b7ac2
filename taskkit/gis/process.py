"""The child process seen from its parent: what it is told before it starts, what it is asked, what it answers."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from taskkit.errors import InputError, UnsafeInputError
from taskkit.gis.child import SECONDS
from taskkit.gis.formats import ALL_DRIVERS
from taskkit.gis.messages import pack, unpack

__all__ = ["ARC_STEP_DEG", "ask", "environment"]

ARC_STEP_DEG = 0.5
"""Arcs are drawn as corners so far apart: at a radius of 500 m, 5 mm off (radius times 1 - cos of half the step)."""
_NOBODY = "http://127.0.0.1:0"
_NO_CLOCK = "2000-01-01T00:00:00.000Z"


def ask(
    job: Mapping[str, Any], *, driver: str, folder: str, path: Path, shapes: Sequence[bytes] = ()
) -> tuple[dict[str, Any], list[bytes]]:
    """Have a child process do a job of reading or writing; what it says, and shapes.

    Args:
        job: what to do, the arguments of a function of ``taskkit.gis.child`` by name.
        driver: the one driver of GDAL that it loads.
        folder: a private folder; it works there.
        path: the user's file, for messages.
        shapes: what it is to write, as well-known binary.

    Raises:
        InputError: the file cannot be taken, or the child ended early.
        UnsafeInputError: it took too long.
    """
    question = pack({**job, "driver": driver}, shapes)
    head, found = _answer(question, environment(folder, driver), folder, path)
    if others := head.get("others"):
        head, found = _answer(question, environment(folder, driver, others=others), folder, path)
        if head.get("others"):
            raise InputError(f"GDAL does not let go of its drivers {', '.join(others)}", path=path)
    if head.get("error"):
        raise InputError(head["error"], path=path, remedy=head["remedy"])
    return head, found


def _answer(
    question: bytes, settings: Mapping[str, str], folder: str, path: Path
) -> tuple[dict[str, Any], list[bytes]]:
    try:
        done = subprocess.run(
            # -P: what lies in the folder is never taken for a module.
            [sys.executable, "-P", "-m", "taskkit.gis.child"],
            input=question,
            capture_output=True,
            timeout=SECONDS,
            env=settings,
            cwd=folder,
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise UnsafeInputError(f"it could not be done within {SECONDS} seconds", path=path) from None
    answer = unpack(done.stdout) if done.returncode == 0 else None
    if answer is None:
        said = done.stderr.decode("utf-8", "replace").strip().splitlines()
        raise InputError(f"GDAL gave up: {said[-1] if said else 'it ended early'}"[:300], path=path)
    return answer


def environment(folder: str, driver: str, *, others: Sequence[str] = ()) -> dict[str, str]:
    """What GDAL is told before it starts: it reads its settings and registers its drivers only then."""
    package = str(Path(__file__).resolve().parents[2])
    kept = {name: os.environ[name] for name in ("PATH", "LANG", "LC_ALL", "SYSTEMROOT") if name in os.environ}
    inherited = {name: value for name, value in os.environ.items() if name.startswith(("COVERAGE", "COV_"))}
    return {
        **kept,
        **inherited,
        "PYTHONPATH": os.pathsep.join(filter(None, (package, os.environ.get("PYTHONPATH")))),
        "TMPDIR": folder,
        "OPENBLAS_NUM_THREADS": "1",
        "OGR_SKIP": ",".join(other for other in (*ALL_DRIVERS, *others) if other != driver),
        "GDAL_DRIVER_PATH": "disable",
        "GDAL_DISABLE_READDIR_ON_OPEN": "TRUE",
        "GDAL_PAM_ENABLED": "NO",
        # Whatever in a file still makes GDAL call somebody, calls a port at which nobody can listen.
        "GDAL_HTTP_PROXY": _NOBODY,
        "GDAL_HTTP_MAX_RETRY": "0",
        "CPL_VSIL_CURL_ALLOWED_EXTENSIONS": ".none",
        "CPL_TMPDIR": folder,
        "OGR_SQLITE_LOAD_EXTENSIONS": "NO",
        "SHAPE_RESTORE_SHX": "NO",
        "GML_DOWNLOAD_SCHEMA": "NO",
        "GML_SKIP_RESOLVE_ELEMS": "ALL",
        "OGR_ARC_STEPSIZE": str(ARC_STEP_DEG),
        "OGR_CURRENT_DATE": _NO_CLOCK,
        "LIBKML_NAME_FIELD": "name",
        # Outlines that cross themselves are written too: judging is for checks.
        "LIBKML_STRICT_COMPLIANCE": "FALSE",
        "PROJ_NETWORK": "OFF",
    }
