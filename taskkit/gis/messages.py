"""What goes between the child process and its parent: a head in JSON, and shapes as well-known binary behind it."""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping, Sequence
from typing import Any

__all__ = ["Unusable", "pack", "unpack"]

_HEAD = struct.Struct("<QQ")
"""Before a message: the length of its head, and the length of all shapes."""


class Unusable(Exception):  # noqa: N818 - not an error of ours: the file cannot be taken
    """The file cannot be taken; arguments: what is wrong, what to do."""


def pack(head: Mapping[str, Any], shapes: Sequence[bytes]) -> bytes:
    """A message between parent and child."""
    text = json.dumps({**head, "lengths": [len(shape) for shape in shapes]}).encode()
    body = b"".join(shapes)
    return _HEAD.pack(len(text), len(body)) + text + body


def unpack(message: bytes) -> tuple[dict[str, Any], list[bytes]] | None:
    """The head and the shapes of a message; None where it is cut."""
    if len(message) < _HEAD.size:
        return None
    head_bytes, body_bytes = _HEAD.unpack_from(message)
    begin = _HEAD.size + head_bytes
    if len(message) != begin + body_bytes:
        return None
    head = json.loads(message[_HEAD.size : begin])
    shapes = []
    for length in head.pop("lengths"):
        shapes.append(message[begin : begin + length])
        begin += length
    return head, shapes
