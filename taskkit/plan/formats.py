"""The forms of plan.yaml: which one a text has, and how an older one is brought up to the newest."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from types import MappingProxyType

from taskkit.plan.model import FORMAT
from taskkit.plan.yaml_text import Block, Scalar, Text

__all__ = ["brought_up", "format_in"]

_FIRST = 1
"""The form of a text that does not say which it has."""


def format_in(text: Text, root: Block) -> int:
    """The form that a text has.

    Raises:
        InputError: it is none, or newer than this program.
    """
    node = root.values.get("format")
    if node is None or (isinstance(node, Scalar) and node.is_absent):
        return _FIRST
    if not isinstance(node, Scalar) or not re.fullmatch(r"[1-9][0-9]{0,8}", node.text):
        shown = repr(node.text[:60]) if isinstance(node, Scalar) else "this"
        raise text.error(node.start, f"{shown} is no form of plan", f"Write `format: {FORMAT}`")
    if int(node.text) > FORMAT:
        message = f"the plan has format {node.text}, and this program knows none newer than {FORMAT}"
        raise text.error(node.start, message, "Use a newer version of taskkit")
    return int(node.text)


def brought_up(text: Text, root: Block) -> Block:
    """The keys of a plan as the newest form has them, each still at its place in the text; without ``format``.

    Raises:
        InputError: as ``format_in``.
    """
    for step in range(format_in(text, root), FORMAT):
        root = _STEPS[step](root)
    values = {key: node for key, node in root.values.items() if key != "format"}
    return Block(root.start, root.end, root.keys, values)


def _from_1(root: Block) -> Block:
    """Format 2 has more keys and more kinds of line; what format 1 could say it says in the same words."""
    return root


_STEPS: Mapping[int, Callable[[Block], Block]] = MappingProxyType({1: _from_1})
