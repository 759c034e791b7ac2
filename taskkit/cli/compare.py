"""``taskkit compare``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from taskkit.cli.options import FormatOption, OutputFormat, finish

__all__ = ["compare"]


def compare(
    a: Annotated[Path, typer.Argument(metavar="A", help="A plan or a set.")],
    b: Annotated[Path, typer.Argument(metavar="B", help="A plan or a set.")],
    tolerance: Annotated[str, typer.Option(help="Moves up to this length are no difference.")] = "1 mm",
    output: FormatOption = OutputFormat.TEXT,
) -> None:
    """Compare two plans, two sets, or one with the other, on the ground.

    Example: taskkit compare samples/larkmoor stick/TASKDATA --tolerance "1 cm"
    """
    from taskkit import api
    from taskkit.reports import as_json, as_text

    compared = api.compare(a, b, tolerance=tolerance)
    render = as_json.comparison if output is OutputFormat.JSON else as_text.comparison
    finish(render(compared), act=not compared.comparison.equal)
