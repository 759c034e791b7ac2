"""``taskkit explain``."""

from __future__ import annotations

from typing import Annotated

import typer

from taskkit.cli.options import FormatOption, OutputFormat, finish

__all__ = ["explain"]


def explain(
    word: Annotated[str, typer.Argument(help="A rule, an element (PFD) or an attribute (PFD@C).")],
    output: FormatOption = OutputFormat.TEXT,
) -> None:
    """Explain a rule, an element or an attribute of task data in plain words.

    Example: taskkit explain PFD@C
    """
    from taskkit import api
    from taskkit.reports import as_json, as_text

    render = as_json.explanation if output is OutputFormat.JSON else as_text.explanation
    finish(render(api.explain(word)), act=False)
