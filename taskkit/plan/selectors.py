"""Objects that a person names on the command line: by UUID, code or exact name."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

from taskkit.errors import InputError
from taskkit.plan.base import PlanObject
from taskkit.plan.references import Directory, nearest

__all__ = ["selected"]

_Object = TypeVar("_Object", bound=PlanObject)


def selected(objects: Sequence[_Object], word: str, *, kind: str) -> _Object:
    """The one object that a word means.

    Args:
        objects: among which.
        word: its UUID, its code or its exact name.
        kind: what such an object is called.

    Raises:
        InputError: it means none of them, or several.
    """
    directory = Directory((str(one.uuid), getattr(one, "code", None), getattr(one, "name", None)) for one in objects)
    found = directory.find(word)
    if len(found) > 1:
        which = ", ".join(found[:5]) + (", ..." if len(found) > 5 else "")
        raise InputError(f"{word[:60]!r} means {len(found)} {kind}s", remedy=f"Name one by its UUID: {which}")
    if not found:
        like = nearest(word, directory.words())
        remedy = f"Did you mean {like!r}" if like else f"Name a {kind} by its name, its code or its UUID"
        raise InputError(f"the plan has no {kind} {word[:60]!r}", remedy=remedy)
    return next(one for one in objects if str(one.uuid) == found[0])
