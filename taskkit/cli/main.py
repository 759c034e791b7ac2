"""The program ``taskkit``: its commands, and what becomes of errors. Exit status 0 well, 1 to act on, 2 not done."""

from __future__ import annotations

import os
import sys
import traceback

# Before numpy is imported: its threads double the time to start, and nothing here needs them.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import typer

from taskkit.cli import check, compare, edit, explain, export, gis, new, read, ready
from taskkit.errors import TaskkitError

__all__ = ["app", "run"]

NOT_DONE = 2

app = typer.Typer(
    name="taskkit",
    help="Carry a farm's plan as ISO 11783-10 task data, and prove that it arrived.",
    epilog="taskkit COMMAND --help has an example of each.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.command(short_help="Make a plan folder to start from.")(new.new)
app.command(short_help="Change a plan, and note what was done.")(edit.edit)
app.command(short_help="Say what fields and jobs still lack.")(ready.ready)
app.command(short_help="Write a plan as task data, and prove it.")(export.export)
app.command(short_help="Validate sets of task data.")(check.check)
app.command(short_help="Read a set into a plan folder.")(read.read)
app.command(short_help="Compare plans and sets, on the ground.")(compare.compare)
app.command(short_help="Write a plan or set as a GIS file.")(gis.gis)
app.command(short_help="Explain a rule, element or attribute.")(explain.explain)


def _version(*, value: bool) -> None:
    if value:
        from taskkit import __version__

        typer.echo(f"taskkit {__version__}; its dictionary of ISO 11783-10 is recalled, not audited")
        raise typer.Exit


@app.callback()
def _options(
    version: bool = typer.Option(
        False, "--version", is_eager=True, help="Say the version and stop.", callback=_version
    ),
) -> None:
    """Carry a farm's plan as ISO 11783-10 task data, and prove that it arrived."""


def run() -> None:
    """Run the program; an error on purpose is one line, any other is our bug and says so."""
    try:
        app()
    except TaskkitError as error:
        print(f"taskkit: {error}", file=sys.stderr)
        sys.exit(NOT_DONE)
    except BrokenPipeError:
        # The reader of our output went away (taskkit ... | head).
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(NOT_DONE)
    except Exception as error:
        traceback.print_exc()
        print(f"taskkit: a bug of ours, please report it: {type(error).__name__}: {error}", file=sys.stderr)
        sys.exit(NOT_DONE)
