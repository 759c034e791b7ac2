"""The wire types: which attribute texts XML Schema allows for a type, a range, a length, a pattern, a list of values.

One table of types (``LEXICAL``) serves the conformance engine, which says what is wrong with a
text, and the reader's fast path, which takes points in bulk once a pattern made from the same
dictionary row has proved them.
"""

from __future__ import annotations

import calendar
import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from functools import cache

from taskkit.taskdata.dictionary import Attribute

__all__ = ["LEXICAL", "Problem", "canonical_pattern", "problem_finder"]

_BLANKS = re.compile(r"[ \t\r\n]+")
# XML 1.0, fifth edition, productions NameStartChar and NameChar; the colon is added where it may stand.
_NAME_START = (
    "A-Za-z_\u00c0-\u00d6\u00d8-\u00f6\u00f8-\u02ff\u0370-\u037d\u037f-\u1fff\u200c\u200d\u2070-\u218f"
    "\u2c00-\u2fef\u3001-\ud7ff\uf900-\ufdcf\ufdf0-\ufffd\U00010000-\U000effff"
)
_NAME_PART = _NAME_START + r"\-.0-9\u00b7\u0300-\u036f\u203f-\u2040"

# The numbers that the integer types hold by themselves (XML Schema 1.0 part 2, section 3.3).
_INTEGERS: dict[str, tuple[int, int]] = {
    "long": (-(2**63), 2**63 - 1),
    "unsignedLong": (0, 2**64 - 1),
    "unsignedShort": (0, 2**16 - 1),
    "unsignedByte": (0, 2**8 - 1),
}
LEXICAL: dict[str, str] = {
    "string": r"(?s:.*)",
    "token": r"(?s:.*)",
    "anyURI": r"(?s:.*)",
    "language": r"[A-Za-z]{1,8}(-[A-Za-z0-9]{1,8})*",
    "NMTOKEN": f"[{_NAME_PART}:]+",
    "NCName": f"[{_NAME_START}][{_NAME_PART}]*",
    "ID": f"[{_NAME_START}][{_NAME_PART}]*",
    "IDREF": f"[{_NAME_START}][{_NAME_PART}]*",
    "hexBinary": r"([0-9A-Fa-f]{2})*",
    "decimal": r"[-+]?([0-9]+(\.[0-9]*)?|\.[0-9]+)",
    "double": r"[-+]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][-+]?[0-9]+)?|-?INF|NaN",
    "dateTime": r"-?([1-9][0-9]{4,}|[0-9]{4})-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])T"
    r"(([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9](\.[0-9]+)?|24:00:00(\.0+)?)"
    r"(Z|[-+]((0[0-9]|1[0-3]):[0-5][0-9]|14:00))?",
} | dict.fromkeys(_INTEGERS, r"[-+]?[0-9]+")
"""What XML Schema 1.0 part 2 lets each type look like, once white space is collapsed."""

_KEEPS_BLANKS = {"string"}
_WORDS = {
    "decimal": "a decimal number, with a dot and no exponent",
    "double": "a number",
    "dateTime": "a date and time such as 2026-04-30T14:05:00",
    "hexBinary": "pairs of hexadecimal digits",
    "NMTOKEN": "one word without blanks",
    "NCName": "a name without blanks",
    "language": "a language code such as en",
} | dict.fromkeys(_INTEGERS, "a whole number")


@dataclass(frozen=True, slots=True)
class Problem:
    """Why a text is not allowed.

    Attributes:
        what: ``malformed``, ``out-of-range``, ``too-long`` or ``not-in-list``.
        expected: what is allowed, in words.
        length: how long the text is, in the unit of ``expected``, where it is too long.
    """

    what: str
    expected: str
    length: int | None = None


@cache
def problem_finder(attribute: Attribute) -> Callable[[str], Problem | None]:
    """A function that tells what is wrong with a text as the value of this attribute, or None."""
    lexical = re.compile(LEXICAL[attribute.type])
    low, high = _limits(attribute)
    pattern = re.compile(attribute.pattern) if attribute.pattern else None
    values = {value.value for value in attribute.values}
    keeps_blanks = attribute.type in _KEEPS_BLANKS
    malformed = Problem("malformed", _expected(attribute))
    out_of_range = Problem("out-of-range", f"from {low} to {high}")
    inside = _inside_as_double if attribute.type == "double" else _inside
    is_octets = attribute.type == "hexBinary"
    shorter = f"at most {attribute.max_length} {'bytes' if is_octets else 'characters'}"
    not_in_list = Problem(
        "not-in-list", "one of " + ", ".join(f"{value.value} ({value.meaning})" for value in attribute.values)
    )

    quick = re.compile(_quick_pattern(attribute))

    def find(text: str) -> Problem | None:
        # Nearly all texts are plain: one match settles them.
        if quick.fullmatch(text) is not None:
            return None
        if not keeps_blanks:
            text = _collapsed(text)
        if values:
            if text not in values:
                return not_in_list
        elif lexical.fullmatch(text) is None or (attribute.type == "dateTime" and not _is_a_day(text)):
            return malformed
        length = len(text) // 2 if is_octets else len(text)
        if attribute.max_length is not None and length > attribute.max_length:
            return Problem("too-long", shorter, length)
        if pattern is not None and pattern.fullmatch(text) is None:
            return malformed
        if (low is not None or high is not None) and not inside(text, low, high):
            return out_of_range
        return None

    return find


def _quick_pattern(attribute: Attribute) -> str:
    try:
        return canonical_pattern(attribute)
    except ValueError:
        if attribute.type == "string" and attribute.pattern is None:
            most = "" if attribute.max_length is None else attribute.max_length
            return f"(?s:.{{0,{most}}})"
        if attribute.pattern is not None and attribute.max_length is not None:
            return rf"(?=.{{0,{attribute.max_length}}}\Z)(?:{attribute.pattern})"
        return r"(?!)"


def canonical_pattern(attribute: Attribute) -> str:
    """A regular expression for the plain ways to write an allowed value of this attribute.

    It accepts less than the standard does, never more: what it accepts needs no second look, and
    is a JSON number for the number types. Leading zeros, plus signs and more than 12 decimals are
    left to the careful way.

    Raises:
        ValueError: the attribute is of a type that has no such pattern.
    """
    if attribute.values:
        return "(?:" + "|".join(sorted((re.escape(v.value) for v in attribute.values), key=len, reverse=True)) + ")"
    low, high = _limits(attribute)
    if attribute.type != "decimal" or low is None or high is None or low != -high or high != int(high):
        raise ValueError(f"{attribute.element}@{attribute.code} has no canonical pattern")
    return rf"-?(?:(?:{_below(int(high))})(?:\.[0-9]{{1,12}})?|{int(high)}(?:\.0{{1,12}})?)"


def _below(limit: int) -> str:
    """A regular expression for the whole numbers 0 to limit - 1, without leading zeros."""
    digits = str(limit - 1)
    choices = ["[0-9]"] if len(digits) > 1 else [f"[0-{digits}]"]
    choices += ["[1-9]" + "[0-9]" * (n - 1) for n in range(2, len(digits))]
    if len(digits) > 1:
        for place, digit in enumerate(digits):
            least = 1 if place == 0 else 0
            if int(digit) > least:
                choices.append(digits[:place] + f"[{least}-{int(digit) - 1}]" + "[0-9]" * (len(digits) - place - 1))
        choices.append(digits)
    return "|".join(sorted(choices, key=len, reverse=True))


def _limits(attribute: Attribute) -> tuple[Decimal | None, Decimal | None]:
    own = _INTEGERS.get(attribute.type)
    low, high = attribute.minimum, attribute.maximum
    if own is not None:
        low = Decimal(own[0]) if low is None else max(low, Decimal(own[0]))
        high = Decimal(own[1]) if high is None else min(high, Decimal(own[1]))
    return low, high


def _expected(attribute: Attribute) -> str:
    if attribute.type in ("ID", "IDREF") and attribute.pattern:
        letters = attribute.pattern[:3]
        return f"an identifier such as {letters}1" if letters.isalpha() else "an identifier such as CTR1"
    if attribute.pattern:
        return f"text of the form {attribute.pattern}"
    return _WORDS.get(attribute.type, f"a value of type {attribute.type}")


def _collapsed(text: str) -> str:
    """White space collapsed, as XML Schema does it for every type but string."""
    return _BLANKS.sub(" ", text).strip(" ")


def _inside(text: str, low: Decimal | None, high: Decimal | None) -> bool:
    value = Decimal(text)
    return (low is None or value >= low) and (high is None or value <= high)


def _inside_as_double(text: str, low: Decimal | None, high: Decimal | None) -> bool:
    # Not by Decimal: it raises on NaN and on exponents of many digits. NaN lies in no range.
    value = float(text)
    return (low is None or value >= float(low)) and (high is None or value <= float(high))


def _is_a_day(text: str) -> bool:
    year, month, day = text.lstrip("-").partition("T")[0].split("-")
    # The year 0 does not exist. The calendar repeats every 400 years, so the last four digits tell all.
    return year.strip("0") != "" and int(day) <= calendar.monthrange(2000 + int(year[-4:]) % 400, int(month))[1]
