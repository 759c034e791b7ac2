"""plan.yaml: found, read, and written beside its place before it is put there."""

from __future__ import annotations

from pathlib import Path

from taskkit.errors import InputError, InternalError, RefusedError
from taskkit.plan.disk import put_in_place, read_text
from taskkit.plan.dumping import text_of
from taskkit.plan.loading import plan_from
from taskkit.plan.model import Plan
from taskkit.plan.yaml_text import Text, replace_value

__all__ = ["PLAN_FILE", "dump_plan", "load_plan", "plan_folder", "replace_value", "save_plan"]

PLAN_FILE = "plan.yaml"

_MOST_BYTES = 256 << 20


def plan_folder(path: Path | str) -> Path:
    """The folder of a plan, given as the folder or as the file in it."""
    path = Path(path)
    return path.parent if path.is_file() else path


def load_plan(path: Path | str) -> Plan:
    """The plan in a folder, or in a file; see ``loading.plan_from`` for how it is read.

    Raises:
        InputError: there is none, or it cannot be used; with line, column and remedy.
    """
    path = Path(path)
    file = path / PLAN_FILE if path.is_dir() else path
    text = read_text(file, most_bytes=_MOST_BYTES)
    if text is None:
        where = f"a folder with {PLAN_FILE} in it, or that file"
        raise InputError(f"there is no {PLAN_FILE}", path=path, remedy=f"Name {where}")
    return plan_from(Text(text, file))


def dump_plan(plan: Plan) -> str:
    """The plan as the text of plan.yaml; loading it gives the plan again.

    Raises:
        RefusedError: the plan is not whole: it refers to what it does not hold, or one UUID stands for two objects.
    """
    text = text_of(plan)
    try:
        again = plan_from(Text(text))
    except InputError as error:
        raise RefusedError(f"the plan cannot be written: {error.message}") from error
    # Outlines are written with 9 decimals: what has more is another plan, but the same text.
    if again != plan and text_of(again) != text:
        raise InternalError("a plan was written that reads back as another")
    return text


def save_plan(plan: Plan, folder: Path | str, *, overwrite: bool = False) -> Path:
    """Write plan.yaml into a folder, which is made where it is missing; the path of the file.

    Args:
        plan: what to write.
        folder: where to.
        overwrite: whether a plan.yaml that is there may be replaced.

    Raises:
        RefusedError: a plan.yaml is there already, or the plan is not whole.
        InputError: the folder cannot be written to.
    """
    text = dump_plan(plan)
    file = Path(folder) / PLAN_FILE
    if not overwrite and file.exists():
        raise RefusedError(f"{file} is there already; it is not overwritten unless you ask for it")
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        put_in_place(file, text)
    except OSError as error:
        message = f"the plan cannot be written here ({error.strerror or error})"
        raise InputError(message, path=file, remedy="Name a folder that can be written to") from error
    return file
