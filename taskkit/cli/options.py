"""Options that several commands share, and how a command ends."""

from __future__ import annotations

import enum
from typing import Annotated, NoReturn

import typer

__all__ = ["FailOn", "FormatOption", "OutputFormat", "finish"]


class OutputFormat(enum.StrEnum):
    """How a result is shown."""

    TEXT = "text"
    JSON = "json"


class FailOn(enum.StrEnum):
    """From which severity on there is something to act on."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


FormatOption = Annotated[OutputFormat, typer.Option("--format", help="How to show the result.")]


def finish(text: str, *, act: bool) -> NoReturn:
    """Print the result and leave: 0 if all is well, 1 if there is something to act on."""
    typer.echo(text.rstrip("\n"))
    raise typer.Exit(1 if act else 0)
