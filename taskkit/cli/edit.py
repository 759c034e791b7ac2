"""``taskkit edit``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from taskkit.cli.options import FormatOption, OutputFormat, finish

__all__ = ["edit"]


def edit(
    plan: Annotated[Path, typer.Argument(help="A plan: a folder with plan.yaml in it, or that file.")],
    field: Annotated[str | None, typer.Argument(metavar="FIELD", help="Its name, code or UUID.")] = None,
    shift_outline: Annotated[
        str, typer.Option(metavar="LENGTH", help="Move a driven outline outward: half the width of what was driven.")
    ] = "",
    extend_lines: Annotated[
        str, typer.Option(metavar="LENGTH", help="Move A and B at least this far beyond the edge, on the same line.")
    ] = "",
    boundary: Annotated[
        str, typer.Option(metavar="PURPOSE[:SEASON]", help="Which outline; else worked, physical, official, in order.")
    ] = "",
    new_identity: Annotated[
        bool, typer.Option("--new-identity", help="Give blocks that were copied with their UUIDs new ones.")
    ] = False,
    output: FormatOption = OutputFormat.TEXT,
) -> None:
    """Change a plan in its place: only the bytes of what changes, and with a note of what was done.

    The file as it was is kept beside it, as plan.before-DATE.yaml.

    Example: taskkit edit myfarm "Skew Piece" --shift-outline "1.5 m" --extend-lines "20 m"
    """
    from taskkit import api
    from taskkit.reports import as_json, as_text

    edited = api.edit(
        plan,
        field,
        shift_outline=shift_outline,
        extend_lines=extend_lines,
        boundary=boundary,
        new_identity=new_identity,
    )
    render = as_json.edit if output is OutputFormat.JSON else as_text.edit
    finish(render(edited), act=False)
