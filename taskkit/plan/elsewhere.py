"""Values that stand in another file beside the plan: how the plan says so, and who fetches them."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any

from taskkit.plan.yaml_text import Block, Node, Scalar, Text

__all__ = ["Elsewhere", "Found", "Resolver", "elsewhere", "is_elsewhere", "path_beside"]

_KEYS = ("file", "layer", "where", "column", "unit")


@dataclass(frozen=True, slots=True)
class Elsewhere:
    """A value that stands in a GIS file.

    Attributes:
        file: the file, in the folder of the plan or below it.
        layer: which layer, where the file has several.
        where: a column and the value by which the row is known; None where the file has one row.
        column: the column with the value; None where the shape is meant.
        frame: the steering frame of the plan, as it is written there.
    """

    file: Path
    layer: str | None = None
    where: tuple[str, str] | None = None
    column: str | None = None
    frame: str = "unknown"


@dataclass(frozen=True, slots=True)
class Found:
    """What stands there.

    Attributes:
        text: the value as it would be written in plan.yaml: a shape as WKT in the steering frame.
        about: keys of the object that has the value, and their texts, for those that the plan does not give itself:
            where a shape came from, for example ``{"origin": {"crs": "EPSG:25832"}}``.
    """

    text: str
    about: Mapping[str, Any] = field(default_factory=dict)


Resolver = Callable[[Elsewhere], Found]
"""Fetches a value; raises InputError, without a place in the plan, where it cannot."""


def is_elsewhere(node: Node) -> bool:
    """Whether a node says that its value stands in a file."""
    return isinstance(node, Block) and "file" in node.values


def elsewhere(text: Text, node: Block, *, shape: bool, frame: str) -> tuple[Elsewhere, str | None]:
    """What a node like ``{file: outlines.gpkg, layer: fields, where: NAME = Long Acre}`` means, and its unit.

    Args:
        text: what it stands in.
        node: the keys.
        shape: whether a shape is meant, and so no column.
        frame: the steering frame of the plan.

    Raises:
        InputError: it cannot be understood.
        UnsafeInputError: the file lies outside the folder of the plan.
    """
    given: dict[str, str] = {}
    for key, value in node.values.items():
        if key not in _KEYS or (shape and key in ("column", "unit")):
            known = ", ".join(f"`{one}`" for one in (_KEYS[:3] if shape else _KEYS))
            raise text.error(node.keys[key].start, f"a value in a file has no `{key[:60]}`", f"It has {known}")
        if not isinstance(value, Scalar):
            raise text.error(value.start, f"`{key}` takes one single value", "Write it after the colon")
        if not value.is_absent:
            given[key] = value.text
    if "file" not in given:
        raise text.error(node.start, "`file` has no value")
    if not shape and "column" not in given:
        raise text.error(node.start, "`column` is missing", "Name the column that holds the value")
    where = None
    if "where" in given:
        found = re.fullmatch(r"\s*([^=]*?)\s*=\s*(.*?)\s*", given["where"], re.DOTALL)
        if not found or not found[1]:
            at = node.values["where"].start
            raise text.error(at, f"{given['where'][:60]!r} names no row", "Write `where: COLUMN = value`")
        where = (found[1], found[2])
    file = path_beside(text, node.values["file"], given["file"])
    return Elsewhere(file, given.get("layer"), where, given.get("column"), frame), given.get("unit")


def path_beside(text: Text, node: Node, name: str) -> Path:
    """The path of a file in the folder of the plan or below it.

    Raises:
        InputError: the plan is in no file, so that nothing lies beside it.
        UnsafeInputError: the name leads out of the folder.
    """
    if text.path is None:
        raise text.error(node.start, "the plan is in no file, so nothing lies beside it", "Write the value out")
    parts = PurePosixPath(name).parts
    outside = "\\" in name or "\0" in name or PureWindowsPath(name).drive or name.startswith("/") or ".." in parts
    folder = Path(text.path).parent
    if not outside:
        file = folder.joinpath(*parts)
        if file.resolve().is_relative_to(folder.resolve()):
            return file
    message = f"the file {name[:60]!r} is not in the folder of the plan"
    raise text.error(node.start, message, "Put it there, and name it without a folder", unsafe=True)
