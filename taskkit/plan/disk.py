"""Whole files: read within a bound, put in place whole or not at all."""

from __future__ import annotations

import contextlib
import os
import secrets
import stat
from pathlib import Path

from taskkit.errors import InputError, UnsafeInputError

__all__ = ["put_in_place", "read_text"]


def read_text(path: Path, *, most_bytes: int) -> str | None:
    """The text of a UTF-8 file, line ends as they are, without a byte order mark; None where there is no such file.

    Raises:
        InputError: it is no file, cannot be read or is not UTF-8.
        UnsafeInputError: it is longer than ``most_bytes``.
    """
    try:
        # A pipe would keep us waiting for its first byte.
        descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
        with os.fdopen(descriptor, "rb") as file:
            if not stat.S_ISREG(os.fstat(descriptor).st_mode):
                raise InputError("this is no file", path=path, remedy="Name a file, or the folder that holds it")
            data = file.read(most_bytes + 1)
    except (FileNotFoundError, NotADirectoryError):
        return None
    except IsADirectoryError:
        raise InputError("this is a folder, where a file is expected", path=path) from None
    except (OSError, ValueError) as error:
        raise InputError(f"the file cannot be read ({_reason(error)})", path=path) from error
    if len(data) > most_bytes:
        raise UnsafeInputError(f"the file is longer than {most_bytes >> 20} MiB", path=path)
    try:
        return data.decode("utf-8").removeprefix("\ufeff")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        begin = data.rfind(b"\n", 0, error.start) + 1
        column = len(data[begin : error.start].decode("utf-8")) + 1
        raise InputError(
            "the file is not UTF-8", path=path, line=line, column=column, remedy="Save it with the encoding UTF-8"
        ) from None


def put_in_place(path: Path, text: str) -> None:
    """Write a file beside its place, then rename it: readers see the old file or the new one, never half of one.

    Raises:
        OSError: it cannot be written; what was there is untouched.
    """
    beside = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    try:
        with beside.open("xb") as file:
            file.write(text.encode("utf-8"))
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise


def _reason(error: Exception) -> str:
    return (isinstance(error, OSError) and error.strerror) or str(error)
