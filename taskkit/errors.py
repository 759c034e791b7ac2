"""The exceptions of taskkit.

::

    TaskkitError
    |-- InputError         what we were given cannot be used
    |   `-- UnsafeInputError   it breaks a bound that keeps the reader safe
    |-- RefusedError       we could, but will not: it would lose or overwrite something
    `-- InternalError      our own bug

A defect in somebody's *data* is a finding (see ``taskkit.findings``), never an exception;
an exception means that we cannot go on.
"""

from __future__ import annotations

from pathlib import Path

__all__ = ["InputError", "InternalError", "RefusedError", "TaskkitError", "UnsafeInputError"]


class TaskkitError(Exception):
    """The root of all errors that taskkit raises on purpose."""


class InputError(TaskkitError):
    """The input cannot be used.

    ``str()`` gives one line of the form ``file:line:column: message. Remedy.``

    Args:
        message: what is wrong, without a closing full stop.
        path: the file, or None where it is not known.
        line: 1-based line number in it.
        column: 1-based column in characters.
        remedy: what to do about it, in the imperative, without a closing full stop.
    """

    def __init__(
        self,
        message: str,
        *,
        path: Path | str | None = None,
        line: int | None = None,
        column: int | None = None,
        remedy: str | None = None,
    ) -> None:
        self.message = message
        self.path = None if path is None else str(path)
        self.line = line
        self.column = column
        self.remedy = remedy
        super().__init__(str(self))

    def __str__(self) -> str:
        place = ":".join(str(part) for part in (self.path, self.line, self.column) if part is not None)
        text = f"{place}: {self.message}." if place else f"{self.message}."
        if not self.remedy:
            return text
        return f"{text} {self.remedy}{'?' if self.remedy.startswith('Did you mean') else '.'}"


class UnsafeInputError(InputError):
    """The input breaks a bound that keeps the reader safe (size, depth, ratio, a name that leaves its folder)."""


class RefusedError(TaskkitError):
    """We will not do it: something would be lost or overwritten. The message says what, and the way round."""


class InternalError(TaskkitError):
    """A bug of ours: our own proof of our own output failed."""
