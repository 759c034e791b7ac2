"""``taskkit export``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from taskkit.cli.options import FormatOption, OutputFormat, finish

__all__ = ["export"]


def export(
    plan: Annotated[Path, typer.Argument(help="A plan: a folder with plan.yaml in it, or that file.")],
    out: Annotated[Path, typer.Option(metavar="DIR_OR_ZIP", help="Where to: a folder (a stick) or a file .zip.")],
    version: Annotated[str, typer.Option(help="Version of ISO 11783-10 to write; 4.3 so far.")] = "4.3",
    accept_losses: Annotated[
        str, typer.Option(metavar="FILE|all", help="Losses that are accepted: a list, one a line, or all.")
    ] = "",
    boundary: Annotated[
        str,
        typer.Option(metavar="PURPOSE[:SEASON]", help="Outlines to write; else worked, physical, official, in order."),
    ] = "",
    leave_out_unfit: Annotated[
        bool, typer.Option("--leave-out-unfit", help="Write the other fields where one cannot go out, and name it.")
    ] = False,
    one_line_per_side: Annotated[
        bool, typer.Option("--one-line-per-side", help="Headland passes as a line a side, not as closed curves.")
    ] = False,
    stored: Annotated[bool, typer.Option("--stored", help="Do not pack the zip: the same bytes anywhere.")] = False,
    output: FormatOption = OutputFormat.TEXT,
) -> None:
    """Write a plan as task data, validate it, read it back, compare, and say what the driver will miss.

    Nothing is put in place unless our own proof holds; what lay there is kept as TASKDATA.old.
    What runs by itself at a row end can hurt people: the machine's manual, local rules and
    trained persons decide; stay in the seat and watch the first turns.

    Example: taskkit export samples/larkmoor --out out/larkmoor
    """
    from taskkit import api
    from taskkit.reports import as_json, as_text

    exported = api.export(
        plan,
        out,
        version=version,
        accept_losses=accept_losses,
        stored=stored,
        boundary=boundary,
        leave_out_unfit=leave_out_unfit,
        one_line_per_side=one_line_per_side,
    )
    render = as_json.export if output is OutputFormat.JSON else as_text.export
    finish(render(exported), act=exported.to_act_on)
