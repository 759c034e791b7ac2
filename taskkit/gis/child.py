"""The child process that opens or makes one GIS file: a private folder, one driver, no network, bounds of its own.

It is run as ``python -m taskkit.gis.child``, is asked on its standard input and answers on its standard output: a
head in JSON, and shapes as well-known binary behind it. Only it imports pyogrio.
"""

from __future__ import annotations

import json
import struct
import sys
from collections.abc import Mapping, Sequence
from typing import Any

__all__ = ["MEMORY_BYTES", "SECONDS", "Unusable", "pack", "unpack"]

MEMORY_BYTES = 2 << 30
"""Address space of the child."""
SECONDS = 120
"""Processor time of the child, and the time that its parent waits for it."""
_HEAD = struct.Struct("<QQ")
"""Before a message: the length of its head in JSON, and the length of all shapes."""


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


def main() -> None:
    """Do what is asked for, and answer."""
    _bound()
    request = unpack(sys.stdin.buffer.read())
    if request is None:
        raise SystemExit("the question was cut")
    job, shapes = request
    if others := _others(job["driver"]):
        sys.stdout.buffer.write(pack({"others": others}, []))
        return
    from taskkit.gis.child_reading import read
    from taskkit.gis.child_writing import write

    try:
        answer, found = read(**job) if job.pop("do") == "read" else (write(**job, shapes=shapes), [])
    except Unusable as error:
        message, *remedy = error.args
        answer, found = {"error": message, "remedy": remedy[0] if remedy else None}, []
    sys.stdout.buffer.write(pack(answer, found))


def _bound() -> None:
    try:
        import resource
    except ImportError:
        # Windows has none; the parent's time limit remains.
        return
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS + 5))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _others(wanted: str) -> list[str]:
    """Drivers that are loaded beside the one that is wanted: a GDAL newer than our list has some."""
    import pyogrio

    return sorted(set(pyogrio.list_drivers()) - {wanted})


if __name__ == "__main__":
    main()
