"""``python -m taskkit``."""

from taskkit.cli.main import run

run()
