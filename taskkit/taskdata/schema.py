"""The verdict of an XML Schema processor (libxml2) on one file, by our own schemas: a check on ourselves."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from lxml import etree

from taskkit.shipped import schema_file
from taskkit.taskdata.dictionary import LINK_ROOT, TASK_ROOT
from taskkit.taskdata.version import Version

__all__ = ["Unable", "available", "verdict"]

_FILES = {TASK_ROOT: "ISO11783_TaskFile", LINK_ROOT: "ISO11783_LinkListFile"}


class Unable(Exception):  # noqa: N818 - no error of anybody: the processor has bounds of its own
    """The processor cannot take the file at all (a bound of its own); the reason is the message."""


def verdict(skeleton: bytes, root: str, version: Version) -> tuple[str, ...]:
    """What the processor has against a file; empty where it is valid.

    Args:
        skeleton: the text in UTF-8; proven points may be left out but for the first of each run.
        root: the root element the file should have.
        version: which schemas.

    Raises:
        Unable: the processor cannot take the file.
    """
    parser = etree.XMLParser(encoding="utf-8", resolve_entities=False, no_network=True, load_dtd=False)
    try:
        tree = etree.fromstring(skeleton, parser)
    except etree.XMLSyntaxError as error:
        raise Unable(str(error)) from error
    schema = _schema(root, version)
    if schema.validate(tree):
        return ()
    log: Any = schema.error_log  # lxml ships no types of its own, and the stubs lack its iteration
    return tuple(f"line {entry.line}: {entry.message}" for entry in log)


def available(root: str, version: Version) -> bool:
    """Whether a schema of this file and version is shipped."""
    try:
        _path(root, version)
    except FileNotFoundError:
        return False
    return True


def _path(root: str, version: Version) -> Path:
    return schema_file("xsd", version.text, f"{_FILES[root]}_V{version.text.replace('.', '-')}.xsd")


@cache
def _schema(root: str, version: Version) -> etree.XMLSchema:
    return etree.XMLSchema(etree.parse(str(_path(root, version))))
