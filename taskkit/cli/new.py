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
    farm_from: Annotated[str | None, typer.Option(metavar="COLUMN", help="The column with their farms.")] = None,
    customer_from: Annotated[
        str | None, typer.Option(metavar="COLUMN", help="The column with their customers.")
    ] = None,
    layer: Annotated[str | None, typer.Option(help="Which layer, where the file has several.")] = None,
    frame: Annotated[
        str | None, typer.Option(metavar="FRAME", help="The frame of your correction service, e.g. ETRS89.")
    ] = None,
    accept_accuracy: Annotated[
        bool, typer.Option("--accept-accuracy", help="Take a transformation that is stated worse than 0.3 m.")
    ] = False,
    output: FormatOption = OutputFormat.TEXT,
) -> None:
    """Make a plan folder to start from, empty or from field outlines in a GIS file.

    GeoPackage, Shapefile, GeoJSON, KML, FlatGeobuf and GML are read, also zipped. Coordinates on the frame
    that machines steer by where the fields lie (ETRS89 in Europe) are carried as they are; others are
    transformed to it if that can be done well enough, and refused if not.

    Example: taskkit new myfarm --from outlines.gpkg --name-from NAME
    """
    from taskkit import api
    from taskkit.reports import as_json, as_text

    made = api.new(
        folder,
        source=source,
        name_from=name_from,
        code_from=code_from,
        farm_from=farm_from,
        customer_from=customer_from,
        layer=layer,
        frame=frame,
        accept_accuracy=accept_accuracy,
    )
    render = as_json.creation if output is OutputFormat.JSON else as_text.creation
    finish(render(made), act=False)
