"""``taskkit new``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from taskkit.cli.options import FormatOption, OutputFormat, finish

__all__ = ["new"]


def new(
    folder: Annotated[Path, typer.Argument(help="A folder for the plan; it must not hold one yet.")],
    source: Annotated[
        Path | None, typer.Option("--from", metavar="GIS_FILE", help="One field for each area of this file.")
    ] = None,
    name_from: Annotated[str | None, typer.Option(metavar="COLUMN", help="The column with the fields' names.")] = None,
    code_from: Annotated[str | None, typer.Option(metavar="COLUMN", help="The column with the fields' codes.")] = None,
    layer: Annotated[str | None, typer.Option(help="Which layer, where the file has several.")] = None,
    output: FormatOption = OutputFormat.TEXT,
) -> None:
    """Make a plan folder to start from, empty or from field outlines in a GIS file.

    GeoPackage and Shapefile (also zipped) on ETRS89 are read; anything else is refused.

    Example: taskkit new myfarm --from outlines.gpkg --name-from NAME
    """
    from taskkit import api
    from taskkit.reports import as_json, as_text

    made = api.new(folder, source=source, name_from=name_from, code_from=code_from, layer=layer)
    render = as_json.creation if output is OutputFormat.JSON else as_text.creation
    finish(render(made), act=False)
