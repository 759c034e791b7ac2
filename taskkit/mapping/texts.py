"""Text attributes: which leaf of the plan stands in which attribute, and texts cut to what the standard holds."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence
from typing import Any

from taskkit.mapping.ledger import Noticed
from taskkit.plan.model import PlanObject
from taskkit.taskdata.dictionary import dictionary
from taskkit.taskdata.document import Element

__all__ = ["became", "cut", "fitted", "read_texts", "unique", "unique_in", "write_texts"]

_JOINERS = "\u200d\u200c"
_SHOWN = 60


def write_texts(
    thing: PlanObject, tag: str, codes: Mapping[str, str], *, path: str, noticed: Noticed, name: str | None = None
) -> dict[str, str]:
    """The attributes for the texts of an object, each within the length that the standard allows.

    Args:
        thing: the object.
        tag: code of its element.
        codes: member of the object -> code of the attribute.
        path: path of the object's leaves, e.g. ``farms``.
        noticed: is told of every text that is cut.
        name: stands for the object's own name, which was made to fit among others (see :func:`fitted`).
    """
    given: dict[str, str] = {}
    for member, code in codes.items():
        text = getattr(thing, member)
        if text is None:
            continue
        fit = name if member == "name" and name is not None else cut(text, _limit(tag, code))
        if fit != text:
            noticed.approximated(f"{path}.{member}", thing.uuid, became(text, fit))
        given[code] = fit
    return given


def read_texts(element: Element, codes: Mapping[str, str]) -> dict[str, Any]:
    """The texts of an object by member; one without a name goes by its identifier."""
    texts: dict[str, Any] = {member: element.get(code) for member, code in codes.items()}
    if texts["name"] is None:
        texts["name"] = element.identity or element.tag
    return texts


def fitted(siblings: Sequence[Any], tag: str, code: str) -> list[str]:
    """The names of siblings as an attribute can hold them; those that are cut differ from all others."""
    return unique_in([sibling.name for sibling in siblings], tag, code)


def unique_in(names: Sequence[str], tag: str, code: str) -> list[str]:
    """Names as an attribute can hold them; those that are cut differ from all others."""
    return unique(names, _limit(tag, code))


def unique(names: Sequence[str], limit: int | None) -> list[str]:
    """Names cut to a limit, those that had to be cut told apart by a number; names that fit stay as they are.

    >>> unique(["Long Acre", "Long Acre, lower", "Long Acre, upper"], 9)
    ['Long Acre', 'Long Ac 2', 'Long Ac 3']
    """
    taken = {name for name in names if cut(name, limit) == name}
    counters: dict[str, int] = {}
    fit: list[str] = []
    for name in names:
        short = plain = cut(name, limit)
        while limit is not None and short != name and short in taken:
            counters[plain] = counters.get(plain, 1) + 1
            suffix = f" {counters[plain]}"
            short = cut(name, limit - len(suffix)) + suffix
        taken.add(short)
        fit.append(short)
    return fit


def cut(text: str, limit: int | None) -> str:
    r"""A text within a limit of characters (code points), never cut inside what people see as one character.

    That is: marks stay with their letter, joined signs together, flags whole, and the letters of a Hangul
    syllable too. (Unicode Standard Annex 29, as far as the standard library knows the properties.)

    >>> cut("ane\u0301mone", 3)
    'an'
    """
    if limit is None or len(text) <= limit:
        return text
    end = limit
    while end and _joined(text, end):
        end -= 1
    # One sign that is longer than the limit has to be cut all the same.
    return text[: end or limit].rstrip(" ") or text[:limit]


def _joined(text: str, at: int) -> bool:
    before, after = text[at - 1], text[at]
    if unicodedata.category(after).startswith("M") or after in _JOINERS or before == "\u200d":
        return True
    if "\U0001f3fb" <= after <= "\U0001f3ff" or "\U000e0020" <= after <= "\U000e007f":  # skin tones, tags
        return True
    if unicodedata.combining(before) == 9:  # a virama joins the next letter to the one before
        return unicodedata.category(after).startswith("L")
    if _is_flag(before) and _is_flag(after):
        run = at
        while run and _is_flag(text[run - 1]):
            run -= 1
        return (at - run) % 2 == 1
    return _hangul(before, after)


def _is_flag(sign: str) -> bool:
    return "\U0001f1e6" <= sign <= "\U0001f1ff"


def _hangul(before: str, after: str) -> bool:
    leading = "\u1100" <= before <= "\u115f"
    is_vowel, is_trailing = "\u1160" <= after <= "\u11a7", "\u11a8" <= after <= "\u11ff"
    return (leading and (is_vowel or "\u1100" <= after <= "\u115f" or "\uac00" <= after <= "\ud7a3")) or (
        ("\u1160" <= before <= "\u11ff" or "\uac00" <= before <= "\ud7a3") and (is_vowel or is_trailing)
    )


def _limit(tag: str, code: str) -> int | None:
    return dictionary().elements[tag].attributes[code].max_length


def became(old: str, new: str) -> str:
    """The note for a text that was cut."""
    return f"{_shown(old)} became {_shown(new)}"


def _shown(text: str) -> str:
    return repr(text if len(text) <= _SHOWN else text[:_SHOWN] + "...")
