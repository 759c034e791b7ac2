"""``taskkit read``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from taskkit.cli.options import FormatOption, OutputFormat, finish

__all__ = ["read"]


def read(
    task_data: Annotated[Path, typer.Argument(metavar="SET", help="A folder or zip that holds a TASKDATA.XML.")],
    out: Annotated[Path, typer.Option(metavar="FOLDER", help="A folder for the plan; it must not hold one yet.")],
    output: FormatOption = OutputFormat.TEXT,
) -> None:
    """Read a set of task data, ours or not, into a plan folder.

    Example: taskkit read stick/TASKDATA --out back
    """
    from taskkit import api
    from taskkit.findings import Severity
    from taskkit.reports import as_json, as_text

    back = api.read(task_data, out)
    render = as_json.reading if output is OutputFormat.JSON else as_text.reading
    finish(render(back), act=back.report.worst() is Severity.ERROR)
