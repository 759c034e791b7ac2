"""A zip opened with every name confined and every size bounded; nothing is written to disk."""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from pathlib import Path, PurePosixPath

from taskkit.errors import InputError, UnsafeInputError

__all__ = ["MAX_ALL_BYTES", "MAX_FILES", "MAX_FILE_BYTES", "MAX_RATIO", "Packed"]

MAX_FILE_BYTES = 1 << 30
"""Largest file that is read: 1 GiB, some twenty million points."""
MAX_ALL_BYTES = 4 << 30
"""Largest zip, unpacked."""
MAX_FILES = 10_000
"""Most files in a zip or a folder."""
MAX_RATIO = 300
"""Most bytes out of one byte, for entries beyond 1 MiB; task data comes to about 6, empty logs to 100."""
_MAX_DIRECTORY_BYTES = 16 << 20
"""Largest directory of a zip; it is taken into memory whole before anybody can count its entries."""
# Beside the first, what zipfile lets through when an archive is broken.
_ERRORS = (
    *(zipfile.BadZipFile, zlib.error, struct.error, EOFError, OSError),
    *(ValueError, IndexError, OverflowError, RuntimeError),
)


class Packed:
    """The files of a zip.

    Attributes:
        path: the zip.
        names: the names of its files, folders with a slash between, in the order of the zip.

    Raises:
        InputError: it is no zip, or packed in a way that is not read.
        UnsafeInputError: a name leaves its folder, entries overlap, or a bound is broken.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            with _Bounded(path) as file, zipfile.ZipFile(file) as archive:
                entries = [entry for entry in archive.infolist() if not entry.is_dir()]
        except _ERRORS as error:
            remedy = "Copy it again, or pack it anew"
            raise InputError(
                f"neither a folder nor a zip that can be opened: {error}", path=path, remedy=remedy
            ) from error
        self._entries: dict[str, zipfile.ZipInfo] = {}
        for entry in entries:
            if self._entries.setdefault(_confined(entry, path), entry) is not entry:
                remedy = "Pack it anew, with one file of each name"
                raise UnsafeInputError(f"the entry {entry.filename!r} is there twice", path=path, remedy=remedy)
        _refuse_bombs(entries, path)
        self.names = tuple(self._entries)

    def read(self, name: str) -> bytes:
        """The bytes of one file.

        Raises:
            InputError: it cannot be unpacked.
            UnsafeInputError: it is not as large as it says.
        """
        entry = self._entries[name]
        try:
            with zipfile.ZipFile(self.path) as archive, archive.open(entry) as stream:
                # The directory of a zip may lie about sizes: never take more than it declares.
                data = stream.read(entry.file_size + 1)
        except _ERRORS as error:
            message = f"the entry {entry.filename!r} cannot be read: {error}"
            raise InputError(message, path=self.path, remedy="Copy the zip again, or pack it anew") from error
        if len(data) != entry.file_size:
            raise UnsafeInputError(f"the entry {entry.filename!r} is not as large as it says", path=self.path)
        return data


class _Bounded(io.FileIO):
    """A file that refuses to give more at once than the largest directory of a zip."""

    def read(self, size: int | None = -1, /) -> bytes:
        if size is not None and size > _MAX_DIRECTORY_BYTES:
            raise UnsafeInputError("the directory of the zip is too large", path=str(self.name))
        return super().read(size) or b""


def _confined(entry: zipfile.ZipInfo, path: Path) -> str:
    # Programs on Windows sometimes write a backslash between folders.
    name = entry.filename.replace("\\", "/")
    parts = PurePosixPath(name).parts
    if not parts or name.startswith("/") or ".." in parts or any(":" in part for part in parts) or "\0" in name:
        remedy = "Pack the folder itself, so that no name begins with a drive or holds `..`"
        raise UnsafeInputError(f"the entry {entry.filename!r} would leave its folder", path=path, remedy=remedy)
    if entry.flag_bits & 1:
        raise InputError(f"the entry {entry.filename!r} is encrypted", path=path, remedy="Pack it without a password")
    if entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        remedy = "Pack it the ordinary way (deflate)"
        raise InputError(f"the entry {entry.filename!r} is packed in an unusual way", path=path, remedy=remedy)
    return "/".join(parts)


def _refuse_bombs(entries: list[zipfile.ZipInfo], path: Path) -> None:
    if len(entries) > MAX_FILES:
        raise UnsafeInputError(f"more than {MAX_FILES:,} files", path=path)
    if sum(entry.file_size for entry in entries) > MAX_ALL_BYTES:
        raise UnsafeInputError(f"larger than {MAX_ALL_BYTES >> 30} GiB unpacked", path=path)
    end = 0
    for entry in sorted(entries, key=lambda entry: entry.header_offset):
        name = repr(entry.filename)
        if entry.file_size > MAX_FILE_BYTES:
            raise UnsafeInputError(f"the entry {name} is larger than {MAX_FILE_BYTES >> 20} MiB", path=path)
        if entry.file_size > 1 << 20 and entry.file_size > MAX_RATIO * entry.compress_size:
            raise UnsafeInputError(f"the entry {name} unpacks to more than {MAX_RATIO} times its size", path=path)
        if entry.header_offset < end:
            raise UnsafeInputError(f"the entry {name} overlaps another", path=path)
        # A name is in UTF-8 if bit 11 says so, else one byte a character (APPNOTE.TXT, 4.4.4 and appendix D).
        name_bytes = len(entry.orig_filename.encode()) if entry.flag_bits & 0x800 else len(entry.orig_filename)
        end = entry.header_offset + 30 + name_bytes + entry.compress_size
