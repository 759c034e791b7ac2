"""The one seam for bytes: a folder or a zip that holds a set, with every name confined and every size bounded."""

from __future__ import annotations

import io
import os
import shutil
import stat
import struct
import tempfile
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path, PurePosixPath
from typing import Protocol

from taskkit.errors import InputError, UnsafeInputError
from taskkit.taskdata.document import TASK_FILE

__all__ = [
    "MAX_FILES",
    "MAX_FILE_BYTES",
    "MAX_RATIO",
    "MAX_SET_BYTES",
    "Companions",
    "Store",
    "open_store",
    "written_beside",
]

MAX_FILE_BYTES = 1 << 30
"""Largest file of a set that is read: 1 GiB, some twenty million points."""
MAX_SET_BYTES = 4 << 30
"""Largest set, unpacked."""
MAX_FILES = 10_000
"""Most files of a set."""
MAX_RATIO = 300
"""Most bytes out of one byte in a zip, for entries beyond 1 MiB; task data comes to about 6, empty logs to 100."""
# Beside the first, what zipfile lets through when an archive is broken.
_ZIP_ERRORS = (
    *(zipfile.BadZipFile, zlib.error, struct.error, EOFError, OSError),
    *(ValueError, IndexError, OverflowError, RuntimeError),
)
_MAX_SEARCH_DEPTH = 3
_MAX_DIRECTORY_BYTES = 16 << 20
"""Largest directory of a zip; it is taken into memory whole before anybody can count its entries."""


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


class _Bounded(io.FileIO):
    """A file that refuses to give more at once than the largest directory of a zip."""

    def read(self, size: int | None = -1, /) -> bytes:
        if size is not None and size > _MAX_DIRECTORY_BYTES:
            raise UnsafeInputError("the directory of the zip is too large", path=str(self.name))
        return super().read(size) or b""


class _ZipStore:
    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            with _Bounded(path) as file, zipfile.ZipFile(file) as archive:
                entries = [entry for entry in archive.infolist() if not entry.is_dir()]
        except _ZIP_ERRORS as error:
            raise InputError(f"neither a folder nor a zip that can be opened: {error}", path=path) from error
        self._entries: dict[str, zipfile.ZipInfo] = {}
        for entry in entries:
            if self._entries.setdefault(_confined(entry, path), entry) is not entry:
                raise UnsafeInputError(f"the entry {entry.filename!r} is there twice", path=path)
        _refuse_bombs(entries, path)
        self.folder, self.names, self.elsewhere = _place(list(self._entries))

    def read(self, name: str) -> bytes:
        entry = self._entries[f"{self.folder}/{name}" if self.folder else name]
        try:
            with zipfile.ZipFile(self.path) as archive, archive.open(entry) as stream:
                # The directory of a zip may lie about sizes: never take more than it declares.
                data = stream.read(entry.file_size + 1)
        except _ZIP_ERRORS as error:
            raise InputError(f"the entry {entry.filename!r} cannot be read: {error}", path=self.path) from error
        if len(data) != entry.file_size:
            raise UnsafeInputError(f"the entry {entry.filename!r} is not as large as it says", path=self.path)
        return data


def _readable(name: str, path: Path) -> str:
    try:
        name.encode()
    except UnicodeEncodeError as error:
        raise InputError(f"the name of the file {name!a} is no text", path=path, remedy="Rename it") from error
    return name


def _confined(entry: zipfile.ZipInfo, path: Path) -> str:
    # Programs on Windows sometimes write a backslash between folders.
    name = entry.filename.replace("\\", "/")
    parts = PurePosixPath(name).parts
    if not parts or name.startswith("/") or ".." in parts or any(":" in part for part in parts) or "\0" in name:
        raise UnsafeInputError(f"the entry {entry.filename!r} would leave its folder", path=path)
    if entry.flag_bits & 1:
        raise InputError(f"the entry {entry.filename!r} is encrypted", path=path, remedy="Pack it without a password")
    if entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        remedy = "Pack it the ordinary way (deflate)"
        raise InputError(f"the entry {entry.filename!r} is packed in an unusual way", path=path, remedy=remedy)
    return "/".join(parts)


def _refuse_bombs(entries: list[zipfile.ZipInfo], path: Path) -> None:
    if len(entries) > MAX_FILES:
        raise UnsafeInputError(f"more than {MAX_FILES:,} files", path=path)
    if sum(entry.file_size for entry in entries) > MAX_SET_BYTES:
        raise UnsafeInputError(f"larger than {MAX_SET_BYTES >> 30} GiB unpacked", path=path)
    end = 0
    for entry in sorted(entries, key=lambda entry: entry.header_offset):
        if entry.file_size > MAX_FILE_BYTES:
            raise UnsafeInputError(f"the entry {entry.filename!r} is larger than {MAX_FILE_BYTES >> 20} MiB", path=path)
        if entry.file_size > 1 << 20 and entry.file_size > MAX_RATIO * entry.compress_size:
            raise UnsafeInputError(
                f"the entry {entry.filename!r} unpacks to more than {MAX_RATIO} times its size", path=path
            )
        if entry.header_offset < end:
            raise UnsafeInputError(f"the entry {entry.filename!r} overlaps another", path=path)
        # A name is in UTF-8 if bit 11 says so, else one byte a character (APPNOTE.TXT, 4.4.4 and appendix D).
        name_bytes = len(entry.orig_filename.encode()) if entry.flag_bits & 0x800 else len(entry.orig_filename)
        end = entry.header_offset + 30 + name_bytes + entry.compress_size


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
