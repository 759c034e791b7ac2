"""Where the files lie that ship with the program: the standard's dictionary, its schemas, our JSON Schemas."""

from __future__ import annotations

from pathlib import Path

__all__ = ["schema_file"]

_PACKAGE = Path(__file__).parent
# A wheel carries the folder inside the package; a checkout has it beside the package.
_SCHEMAS = next(p for p in (_PACKAGE / "schemas", _PACKAGE.parent / "schemas") if p.is_dir())


def schema_file(*parts: str) -> Path:
    """The path of a shipped file, for example ``schema_file("dictionary", "elements.tsv")``.

    Raises:
        FileNotFoundError: no such file was shipped (a broken installation).
    """
    path = _SCHEMAS.joinpath(*parts)
    if not path.exists():
        raise FileNotFoundError(path)
    return path
