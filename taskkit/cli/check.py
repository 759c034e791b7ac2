"""``taskkit check``."""

from __future__ import annotations

import enum
from pathlib import Path
from typing import Annotated

import typer

from taskkit.cli.options import FailOn, FormatOption, OutputFormat, finish

__all__ = ["check"]


class _Level(enum.StrEnum):
    OFFICE = "office"
    RECEIVER = "receiver"
    STRICT = "strict"


def check(
    sets: Annotated[list[Path], typer.Argument(metavar="SET...", help="Folders or zips that hold a TASKDATA.XML.")],
    level: Annotated[_Level, typer.Option(help="Who asks: a farm office, one who makes receivers, or all rules.")] = (
        _Level.OFFICE
    ),
    fail_on: Annotated[FailOn, typer.Option(help="From which severity on to end with status 1.")] = FailOn.ERROR,
    notes: Annotated[bool, typer.Option("--notes", help="Show notes too.")] = False,
    output: FormatOption = OutputFormat.TEXT,
) -> None:
    """Validate sets of task data: against the standard's dictionary, and by rules that a schema cannot say.

    Example: taskkit check stick/TASKDATA
    """
    from taskkit import api
    from taskkit.findings import Level, Severity
    from taskkit.reports import as_json, as_text

    checked = [api.check(path, level=Level[level.name]) for path in sets]
    threshold = Severity[fail_on.name]
    act = any(found.severity >= threshold for one in checked for found in one.report)
    text = as_json.checks(checked) if output is OutputFormat.JSON else as_text.checks(checked, notes=notes)
    if any(one.report.crashed for one in checked):
        typer.echo(text)
        raise typer.Exit(2)
    finish(text, act=act)
