"""``python -m taskkit``."""

from taskkit.cli.main import run

if __name__ == "__main__":
    run()
