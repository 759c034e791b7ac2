"""plan.yaml: found, read, and written beside its place before it is put there."""

from __future__ import annotations

from pathlib import Path
from uuid import UUID

from taskkit.errors import InputError, InternalError, RefusedError
from taskkit.plan.disk import put_in_place, read_text
from taskkit.plan.dumping import text_of
from taskkit.plan.elsewhere import Resolver
from taskkit.plan.formats import format_in
from taskkit.plan.loading import plan_from
from taskkit.plan.model import Machine, Plan
from taskkit.plan.rewriting import rewrite
from taskkit.plan.yaml_text import Block, Text, read, replace_value, scalar

__all__ = [
    "PLAN_FILE",
    "dump_plan",
    "format_of",
    "load_plan",
    "machines_from_csv",
    "plan_folder",
    "plan_text",
    "replace_value",
    "rewrite",
    "save_changes",
    "save_plan",
    "save_text",
]

PLAN_FILE = "plan.yaml"

_MOST_BYTES = 256 << 20


def plan_folder(path: Path | str) -> Path:
    """The folder of a plan, given as the folder or as the file in it."""
    path = Path(path)
    return path.parent if path.is_file() else path


def load_plan(path: Path | str, *, resolve: Resolver | None = None) -> Plan:
    """The plan in a folder, or in a file; see ``loading.plan_from`` for how it is read.

    A file of an older format is brought up; ``format_of`` tells which it has.

    Args:
        path: the folder or the file.
        resolve: fetches values that stand in a GIS file beside the plan.

    Raises:
        InputError: there is none, or it cannot be used; with line, column and remedy.
    """
    return plan_from(plan_text(path), resolve=resolve)


def format_of(path: Path | str) -> int:
    """The format of the plan in a folder, or in a file; 1 where it does not say.

    Raises:
        InputError: there is none, or it cannot be used.
    """
    text = plan_text(path)
    root = read(text)
    if not isinstance(root, Block):
        raise text.error(root.start if root else 0, "this is no plan", "A plan begins with keys such as `name: ...`")
    return format_in(text, root)


def plan_text(path: Path | str) -> Text:
    """The text of the plan in a folder, or in a file; its ``path`` is that of the file.

    Raises:
        InputError: there is none, or it cannot be read.
    """
    path = Path(path)
    file = path / PLAN_FILE if path.is_dir() else path
    text = read_text(file, most_bytes=_MOST_BYTES)
    if text is None:
        where = f"a folder with {PLAN_FILE} in it, or that file"
        raise InputError(f"there is no {PLAN_FILE}", path=path, remedy=f"Name {where}")
    return Text(text, file)


def machines_from_csv(path: Path | str, *, plan: UUID) -> tuple[Machine, ...]:
    """The machines in a sheet (CSV); see ``sheets.listing_from`` for its form.

    Columns: those of a machine (``name``, ``code``, ``working_speed``, ``turning_speed``, ``transport_speed``), of its
    tractor (``tractor_name``, ``tractor_turning_radius`` and so on) and of a tool (``tool_name``,
    ``tool_working_width`` and so on), with units in the cells: ``6 m``, ``5 ft``. One row a machine; a row without a
    name, or with that of the row above, adds a tool. References (``row_end``) only make sense in a plan, which takes
    a sheet as ``machines: {sheet: machines.csv}``.

    Args:
        path: the sheet.
        plan: UUID of the plan, from which that of a machine without one follows.

    Raises:
        InputError: there is none, or it cannot be understood; with line, column and remedy.
    """
    file = Path(path)
    if not file.exists():
        raise InputError("there is no such sheet", path=file, remedy="Name a file of cells parted by commas (CSV)")
    here = Text(f"uuid: {plan}\nname: plan\nmachines: {{sheet: {scalar(file.name, flow=True)}}}\n", file)
    return plan_from(here).machines


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
        raise RefusedError(f"{file} is there already; nothing was written. Name another folder")
    save_text(text, file)
    return file


def save_text(text: str, file: Path) -> None:
    """Put the text of a plan in the place of its file, whole or not at all.

    Raises:
        InputError: the folder cannot be written to.
    """
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        put_in_place(file, text)
    except OSError as error:
        message = f"the plan cannot be written here ({error.strerror or error})"
        raise InputError(message, path=file, remedy="Name a folder that can be written to") from error


def save_changes(old: Plan, new: Plan, path: Path | str, *, resolve: Resolver | None = None) -> Path:
    """Change plan.yaml so that it gives another plan, by the bytes of what changed; see ``rewriting.rewrite``.

    Args:
        old: the plan as it was loaded.
        new: the plan as it shall be.
        path: the folder, or the file.
        resolve: as for ``load_plan``.

    Returns:
        The path of the file.

    Raises:
        RefusedError: the file has changed since ``old`` was loaded, or the change needs the plan written anew.
        InputError: the file cannot be read or written.
    """
    text = plan_text(path)
    file = Path(str(text.path))
    if text_of(plan_from(text, resolve=resolve)) != text_of(old):
        raise RefusedError(f"{file} has changed since it was read; nothing was written, run it again")
    save_text(rewrite(text.text, old, new, path=file, resolve=resolve), file)
    return file
