"""Rules on the set's files: names, places, and whether what the task file names is there."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import PurePosixPath

from taskkit.checks.context import NamedFile, SetContext
from taskkit.checks.example import Example
from taskkit.checks.rule import Hit, Need, rule
from taskkit.findings import Confidence, Severity, Where
from taskkit.taskdata.document import TASK_FILE
from taskkit.taskdata.writer import FOLDER

__all__: list[str] = []

_FILE_SET = "ISO 11783-10, file set and file names (recalled)"
_LENGTHS = "ISO 11783-10, file length attributes (recalled)"
_OLD = ".old"
"""Ending of the folder in which we keep what an export replaces."""
_SHOWN = 40

_ATTACHED = '<AFE A="NOTES.TXT" B="1" C="" D="129"/>'
_GRID = (
    '<TSK A="TSK1" G="1">\n  <TZN A="1"/>\n'
    '  <GRD A="54" B="9.5" C="0.001" D="0.001" E="2" F="2" G="GRD00001" H="{length}" I="1"/>\n</TSK>'
)


@rule(
    "task-file-name-case",
    Severity.WARNING,
    f"The task file is called {{name}}, not {TASK_FILE}.",
    hint=f"Rename it to {TASK_FILE}, in capital letters.",
    why="A terminal whose file system tells small letters from capitals does not see the file.",
    source=_FILE_SET,
    needs=Need.FILES,
    failing=Example(name="TaskData.xml"),
    passing=Example(),
)
def task_file_name_case(checked: SetContext) -> Iterator[Hit]:
    """The task file's name has small letters."""
    name = checked.task_file
    if name is not None and name != TASK_FILE:
        yield Hit(Where(name), {"name": name})


@rule(
    "task-file-several",
    Severity.WARNING,
    "There is another task file, {other}, beside the one that was checked.",
    hint="Keep one set on the medium, and move the others away.",
    why="The terminal takes whichever it finds first, or asks the driver, who cannot know.",
    source="common practice",
    needs=Need.FILES,
    failing=Example(elsewhere={"BACKUP/TASKDATA.XML": b"<ISO11783_TaskData/>"}),
    passing=Example(elsewhere={"PHOTOS/GATE.JPG": b""}),
)
def task_file_several(checked: SetContext) -> Iterator[Hit]:
    """More task files than the one that was read."""
    twins = [name for name in checked.store.names if name.upper() == TASK_FILE and name != checked.task_file]
    others = [name for name in checked.store.elsewhere if PurePosixPath(name).name.upper() == TASK_FILE]
    for other in (*twins, *others):
        kept = PurePosixPath(other).parent.name.endswith(_OLD)
        yield Hit(Where(other), {"other": other[-80:]}, Severity.NOTE if kept else None)


@rule(
    "set-folder-misnamed",
    Severity.WARNING,
    f"The set lies in {{place}}, not in a folder called {FOLDER}.",
    hint=f"Put its files into a folder called {FOLDER}, in capital letters, at the top of the medium.",
    why=f"Many terminals look into the folder {FOLDER} of the medium and nowhere else.",
    source=_FILE_SET,
    needs=Need.FILES,
    failing=Example(folder="SPRING26"),
    passing=Example(),
)
def set_folder_misnamed(checked: SetContext) -> Iterator[Hit]:
    """The folder is called otherwise; the top of a zip, which is no folder yet, weighs less."""
    path, folder = checked.store.path, PurePosixPath(checked.store.folder).name
    if not folder and path.is_dir():
        folder = path.resolve().name
    if checked.task_file is None or folder == FOLDER:
        return
    if folder:
        yield Hit(Where(checked.task_file), {"place": f"the folder {folder[:_SHOWN]}"})
    else:
        yield Hit(Where(checked.task_file), {"place": "the top of the zip"}, Severity.NOTE)


@rule(
    "set-folder-too-deep",
    Severity.WARNING,
    "The set lies {depth} folders deep, in {folder}.",
    hint=f"Move the folder {FOLDER} to the top of the medium or zip.",
    why=f"A terminal looks for the folder {FOLDER} at the top of the medium; further down it finds nothing.",
    source=_FILE_SET,
    needs=Need.FILES,
    failing=Example(folder="EXPORT/FARM/TASKDATA"),
    passing=Example(),
)
def set_folder_too_deep(checked: SetContext) -> Iterator[Hit]:
    """The folder lies in another folder of what was checked."""
    folder = checked.store.folder
    depth = len(PurePosixPath(folder).parts)
    if checked.task_file is not None and depth > 1:
        yield Hit(Where(checked.task_file), {"depth": depth, "folder": folder[-80:]})


@rule(
    "named-file-missing",
    Severity.ERROR,
    "{element} {attribute} names the file {file}, which is not in the folder of the set{elsewhere}.",
    hint="Put {file} beside the task file, or remove what names it.",
    why="The terminal ends the import here, or opens the task without what the file holds.",
    source=_FILE_SET,
    failing=Example(_ATTACHED),
    passing=Example(_ATTACHED, beside={"NOTES.TXT": b"Mind the ditch."}),
)
def named_file_missing(checked: SetContext) -> Iterator[Hit]:
    """A file that an element names is not there; of binary point files we are less sure, which weighs less."""
    present = {name.upper() for name in checked.store.names}
    further = {PurePosixPath(name).name.upper(): name for name in reversed(checked.store.elsewhere)}
    for named in checked.named_files:
        if named.name.upper() not in present:
            other = further.get(named.name.upper())
            facts = _facts(named) | {"elsewhere": f"; there is one in {other[-80:]}" if other else ""}
            unsure = named.element.tag == "PNT"
            yield Hit(named.element.where(named.attribute), facts, Severity.WARNING if unsure else None)


@rule(
    "named-file-case",
    Severity.WARNING,
    "{element} {attribute} names the file {file}, which is called {present} in the folder of the set.",
    hint="Rename the file to {file}.",
    why="It opens on an office computer, and is not found on a terminal that tells small letters from capitals.",
    source=_FILE_SET,
    failing=Example(_ATTACHED, beside={"notes.txt": b"Mind the ditch."}),
    passing=Example(_ATTACHED, beside={"NOTES.TXT": b"Mind the ditch."}),
)
def named_file_case(checked: SetContext) -> Iterator[Hit]:
    """A file that an element names is there in other letters only."""
    present = {name.upper(): name for name in checked.store.names}
    for named in checked.named_files:
        name = present.get(named.name.upper())
        if name is not None and named.name not in checked.store.names:
            yield Hit(named.element.where(named.attribute), _facts(named) | {"present": name[:_SHOWN]})


@rule(
    "file-length-differs",
    Severity.WARNING,
    "{element} {attribute} says that {file} is {declared} bytes long; it has {actual}.",
    hint="Copy the file again from where it was written. Correct the length only if you know that the file is whole.",
    why="A terminal that trusts the number refuses the file, or reads past its end.",
    source=_LENGTHS,
    confidence=Confidence.MEDIUM,
    failing=Example(_GRID.format(length="5"), beside={"GRD00001.BIN": bytes([1, 1, 1, 1])}),
    passing=Example(_GRID.format(length="4"), beside={"GRD00001.BIN": bytes([1, 1, 1, 1])}),
)
def file_length_differs(checked: SetContext) -> Iterator[Hit]:
    """The length that an element gives of its file is not the file's; 0, which may mean unknown, weighs less."""
    names = {name.upper(): name for name in checked.store.names}
    # Any number of elements may name one large file.
    length = cache(lambda name: len(checked.store.read(name)))
    for named in checked.named_files:
        text = (named.element.get(named.length_attribute) or "").strip() if named.length_attribute else ""
        name = names.get(named.name.upper())
        if name is None or not (text.isascii() and text.isdecimal()):
            continue
        declared, actual = int(text[:20]), length(name)
        if declared != actual:
            facts = _facts(named) | {"attribute": named.length_attribute, "declared": declared, "actual": actual}
            yield Hit(named.element.where(named.length_attribute), facts, None if declared else Severity.NOTE)


def _facts(named: NamedFile) -> dict[str, str | int | None]:
    return {"element": named.element.tag, "attribute": named.attribute, "file": named.name[:_SHOWN]}
