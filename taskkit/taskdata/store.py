"""The one seam for bytes: a folder or a zip that holds a set, within the bounds of ``taskkit.packed``."""

from __future__ import annotations

import os
import shutil
import stat
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path, PurePosixPath
from typing import Protocol

from taskkit.errors import InputError, UnsafeInputError
from taskkit.packed import MAX_FILE_BYTES, MAX_FILES, Packed
from taskkit.taskdata.document import TASK_FILE

__all__ = ["Companions", "Store", "open_store", "written_beside"]

_MAX_SEARCH_DEPTH = 3


class Store(Protocol):
    """The files of one set.

    Attributes:
        path: what the user named.
        folder: where in it the set lies, e.g. ``TASKDATA``; empty for the top.
        names: the names of the files in that folder, as they are written, sorted.
        elsewhere: other files of the store, with their folders, sorted.
    """

    path: Path
    folder: str
    names: tuple[str, ...]
    elsewhere: tuple[str, ...]

    def read(self, name: str) -> bytes:
        """The bytes of one of ``names``.

        Raises:
            InputError: it cannot be read.
            UnsafeInputError: it is larger than the bounds allow.
        """
        ...


class Companions(Mapping[str, bytes]):
    """Some files of a store by name, each read when it is asked for."""

    def __init__(self, store: Store, names: tuple[str, ...]) -> None:
        self._store = store
        self._names = names

    def __getitem__(self, name: str) -> bytes:
        if name not in self._names:
            raise KeyError(name)
        return self._store.read(name)

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


def open_store(path: Path | str) -> Store:
    """The set at a path: its TASKDATA folder, a folder that holds it, or a zip of either.

    Raises:
        InputError: nothing is there, or it is neither folder nor zip.
        UnsafeInputError: it breaks a bound (size, number of files, names, overlapping zip entries).
    """
    path = Path(path)
    try:
        if path.is_dir():
            return _FolderStore(path)
        if not path.is_file():
            remedy = "Name a TASKDATA folder or a zip of one"
            raise InputError("there is no such folder or file", path=path, remedy=remedy)
        if path.name.upper() == TASK_FILE:
            return _FolderStore(path.parent)
        return _ZipStore(path)
    except OSError as error:
        raise InputError(f"cannot be opened: {error.strerror}", path=path) from error


class _FolderStore:
    def __init__(self, path: Path) -> None:
        self.path = path
        found: list[str] = []
        for folder, folders, files in os.walk(path, followlinks=False):
            relative = Path(folder).relative_to(path)
            if len(relative.parts) >= _MAX_SEARCH_DEPTH:
                folders.clear()
            folders.sort()
            found += [(relative / _readable(name, path)).as_posix() for name in files]
            if len(found) > MAX_FILES:
                raise UnsafeInputError(f"more than {MAX_FILES:,} files", path=path, remedy="Name the TASKDATA folder")
        self.folder, self.names, self.elsewhere = _place(found)

    def read(self, name: str) -> bytes:
        file = self.path / self.folder / name
        try:
            status = file.lstat()
            if not stat.S_ISREG(status.st_mode):
                raise UnsafeInputError("not a plain file (a link, a device)", path=file, remedy="Copy the file itself")
            if status.st_size > MAX_FILE_BYTES:
                raise UnsafeInputError(f"larger than {MAX_FILE_BYTES >> 20} MiB", path=file)
            with file.open("rb") as stream:
                # As many as there are: a buffer of the largest size would be set aside at once.
                return stream.read(status.st_size)
        except OSError as error:
            raise InputError(f"cannot be read: {error.strerror}", path=file) from error


class _ZipStore:
    def __init__(self, path: Path) -> None:
        self.path = path
        self._packed = Packed(path)
        self.folder, self.names, self.elsewhere = _place(list(self._packed.names))

    def read(self, name: str) -> bytes:
        return self._packed.read(f"{self.folder}/{name}" if self.folder else name)


def _readable(name: str, path: Path) -> str:
    try:
        name.encode()
    except UnicodeEncodeError as error:
        raise InputError(f"the name of the file {name!a} is no text", path=path, remedy="Rename it") from error
    return name


def _place(found: list[str]) -> tuple[str, tuple[str, ...], tuple[str, ...]]:
    """Which folder holds the set: the highest that has a task file, TASKDATA before others."""
    homes = {PurePosixPath(name).parent.as_posix() for name in found if PurePosixPath(name).name.upper() == TASK_FILE}
    order = sorted(homes, key=lambda home: (home.count("/") + (home != "."), home.upper() != "TASKDATA", home))
    folder = order[0] if order else "."
    inside = sorted(n for n in found if PurePosixPath(n).parent.as_posix() == folder)
    others = sorted(set(found) - set(inside))
    return "" if folder == "." else folder, tuple(PurePosixPath(n).name for n in inside), tuple(others)


@contextmanager
def written_beside(target: Path) -> Iterator[Path]:
    """Write a file or folder beside its place, and put it there when the block ends well.

    What was at the target is kept as ``NAME.old`` (one generation). If the block raises, the
    target is untouched and nothing is left behind.

    Yields:
        a path, in a folder of its own, to write to.

    Raises:
        InputError: the place cannot be written to.
    """
    target = target.absolute()
    missing = [folder for folder in target.parents if not folder.exists()]
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(prefix=f".{target.name}.", dir=target.parent))
    except OSError as error:
        raise InputError(
            f"cannot be written to: {error.strerror}", path=target, remedy="Choose another place"
        ) from error
    try:
        new = work / target.name
        yield new
        if target.exists():
            old = target.with_name(target.name + ".old")
            if old.is_dir() and not old.is_symlink():
                shutil.rmtree(old)
            else:
                old.unlink(missing_ok=True)
            target.rename(old)
            try:
                new.rename(target)
            except OSError:
                old.rename(target)
                raise
        else:
            new.rename(target)
    except OSError as error:
        raise InputError(
            f"cannot be written: {error.strerror}", path=target, remedy="Is there room, and the right to write?"
        ) from error
    finally:
        shutil.rmtree(work, ignore_errors=True)
        for folder in missing:
            # Only an empty one goes: this is undone when nothing was put into it.
            with suppress(OSError):
                folder.rmdir()
