"""``taskkit ready``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from taskkit.cli.options import FormatOption, OutputFormat, finish

__all__ = ["ready"]


def ready(
    plan: Annotated[Path, typer.Argument(help="A plan: a folder with plan.yaml in it, or that file.")],
    field: Annotated[str | None, typer.Option(help="Only this field: its name, code or UUID.")] = None,
    job: Annotated[str | None, typer.Option(help="Only this job: its name or UUID.")] = None,
    boundary: Annotated[
        str,
        typer.Option(
            metavar="PURPOSE[:SEASON]", help="Outlines that count; else worked, physical, official, in order."
        ),
    ] = "",
    full: Annotated[bool, typer.Option("--full", help="Show what is fine too, and what is there.")] = False,
    output: FormatOption = OutputFormat.TEXT,
) -> None:
    """Look at each field and job: is everything there that export, and turning by itself, needs.

    Ends with 1 where something is missing; what only needs attention ends with 0.

    Example: taskkit ready samples/larkmoor --field "Skew Piece"
    """
    from taskkit import api
    from taskkit.reports import as_json, as_text

    asked = api.ready(plan, field=field, job=job, boundary=boundary)
    text = as_json.readiness(asked) if output is OutputFormat.JSON else as_text.readiness(asked, full=full)
    finish(text, act=asked.state == "missing")
