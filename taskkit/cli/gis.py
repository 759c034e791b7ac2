"""``taskkit gis``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from taskkit.cli.options import FormatOption, OutputFormat, finish

__all__ = ["gis"]


def gis(
    plan_or_set: Annotated[Path, typer.Argument(metavar="PLAN_OR_SET", help="A plan, or a set of task data.")],
    out: Annotated[Path, typer.Option(metavar="FILE", help="The file; its ending says the format.")],
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace a file that is there already.")] = False,
    output: FormatOption = OutputFormat.TEXT,
) -> None:
    """Write fields, outlines, lines, features, main fields and headlands, with names and areas, as a GIS file.

    Endings: .gpkg, .shp, .geojson, .kml, .fgb, .csv. The coordinates stay in the frame of the plan, and the
    file names it as well as its format can.

    Example: taskkit gis samples/larkmoor --out out/larkmoor.gpkg
    """
    from taskkit import api
    from taskkit.reports import as_json, as_text

    written = api.gis(plan_or_set, out, replace=overwrite)
    render = as_json.gis if output is OutputFormat.JSON else as_text.gis
    finish(render(written), act=False)
