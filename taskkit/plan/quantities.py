"""Quantities with a unit, as people write them: one table of units, one pattern."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, ClassVar, Self

if TYPE_CHECKING:
    from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler

__all__ = ["Area", "Duration", "Length", "Speed"]

# Exact by definition. NIST SP 811 (2008), appendix B, and the international yard and pound agreement of 1959:
# 1 yd = 0.9144 m. The acre is 4840 square yards of that yard; the foot and acre of the U.S. survey are not known here.
_YARD = Fraction(9144, 10000)
_FOOT = _YARD / 3
_INCH = _YARD / 36
_MILE = _YARD * 1760
_HOUR = 3600
_MINUTE = 60

_LONGEST = 64
"""Characters of the longest text that is looked at."""

_DECIMALS = 30
"""Decimals of the longest number; far below any float's need."""


class _Quantity:
    """The common part of all quantities; not for use by itself."""

    __slots__ = ("_si", "_text")
    _si: float
    _text: str
    word: ClassVar[str]
    example: ClassVar[str]
    units: ClassVar[Mapping[str, Fraction]]
    pattern: ClassVar[str]
    _compiled: ClassVar[re.Pattern[str]]

    def __init_subclass__(cls) -> None:
        units = "|".join(re.escape(unit).replace(r"\ ", " ") for unit in cls.units)
        number = rf"[0-9]{{1,12}}(?:\.[0-9]{{1,{_DECIMALS}}}|,[0-9]{{1,2}})?"
        cls.pattern = f"^([+-]?)({number}) ?({units})$"
        cls._compiled = re.compile(cls.pattern.removeprefix("^").removesuffix("$"))

    def __init__(self, text: str) -> None:
        if len(text) > _LONGEST or not (found := self._compiled.fullmatch(text)):
            raise ValueError(self._refusal(text))
        sign, number, unit = found.groups()
        self._si = float(Fraction(f"{sign}{number.replace(',', '.')}") * self.units[unit])
        self._text = text

    @classmethod
    def _from_si(cls, magnitude: float) -> Self:
        if not math.isfinite(magnitude) or abs(magnitude) >= 1e12:
            raise ValueError(f"{magnitude!r} is no {cls.word}: it is not finite, or beyond all measure")
        number = f"{Decimal(repr(float(magnitude))):.{_DECIMALS}f}".rstrip("0").rstrip(".")
        return cls(f"{'0' if number == '-0' else number} {next(iter(cls.units))}")

    @classmethod
    def _refusal(cls, text: str) -> str:
        if len(text) > _LONGEST:
            text = text[:24] + "..."
        shown = repr(text)
        expected = f"write a number, a space and one of {', '.join(cls.units)}, such as {cls.example}"
        if re.fullmatch(r"[+-]?[0-9]+(?:[.,][0-9]+)?", text):
            return f"{shown} has no unit; {expected}"
        if re.match(r"[+-]?[0-9.]*,[0-9]{3}", text) or re.match(r"[+-]?[0-9]+[.,][0-9]+[.,][0-9]", text):
            return f"{shown} can be read in two ways, as a decimal or as thousands; write it with a decimal point only"
        return f"{shown} is no {cls.word}; {expected}"

    @property
    def text(self) -> str:
        """How it was written."""
        return self._text

    def __eq__(self, other: object) -> bool:
        return type(other) is type(self) and self._si == other._si

    def __le__(self, other: Self) -> bool:
        return self._si <= other._si if type(other) is type(self) else NotImplemented

    def __hash__(self) -> int:
        return hash((self.word, self._si))

    def __str__(self) -> str:
        return self._text

    def __repr__(self) -> str:
        return f"{type(self).__name__}({self._text!r})"

    @classmethod
    def __get_pydantic_core_schema__(cls, _source: Any, _handler: GetCoreSchemaHandler) -> Any:
        from pydantic_core import core_schema

        def build(value: Any) -> _Quantity:
            if isinstance(value, cls):
                return value
            return cls(value if isinstance(value, str) else str(value))

        return core_schema.no_info_plain_validator_function(
            build, serialization=core_schema.plain_serializer_function_ser_schema(str)
        )

    @classmethod
    def __get_pydantic_json_schema__(cls, _schema: Any, _handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"type": "string", "pattern": cls.pattern, "examples": [cls.example]}


class Length(_Quantity):
    """A length or a signed distance, written in m, km, cm, mm, in, ft, yd or mi.

    A decimal comma counts only before one or two digits, where it cannot mean thousands.

    Raises:
        ValueError: the text is no length; the message says what is expected.

    >>> Length("-5 ft").metres, Length("1,5 m").metres, Length("1 ft") == Length("12 in")
    (-1.524, 1.5, True)
    >>> Length.of(0.75)
    Length('0.75 m')
    >>> Length("1,500 m")
    Traceback (most recent call last):
    ...
    ValueError: '1,500 m' can be read in two ways, as a decimal or as thousands; write it with a decimal point only
    """

    __slots__ = ()
    word = "length"
    example = "12.5 m"
    units = MappingProxyType(
        {
            "m": Fraction(1),
            "km": Fraction(1000),
            "cm": Fraction(1, 100),
            "mm": Fraction(1, 1000),
            "in": _INCH,
            "ft": _FOOT,
            "yd": _YARD,
            "mi": _MILE,
        }
    )

    @classmethod
    def of(cls, metres: float) -> Self:
        """The length of so many metres; raises ValueError where that is not finite or 1e12 and more."""
        return cls._from_si(metres)

    @property
    def metres(self) -> float:
        """Metres, the nearest float to the exact value."""
        return self._si


class Area(_Quantity):
    """An area, written in m2, ha, km2, ac, sq ft or sq yd.

    Raises:
        ValueError: the text is no area; the message says what is expected.

    >>> Area("10 ha").square_metres, Area("1 ac").square_metres
    (100000.0, 4046.8564224)
    """

    __slots__ = ()
    word = "area"
    example = "12.5 ha"
    units = MappingProxyType(
        {
            "m2": Fraction(1),
            "ha": Fraction(10_000),
            "km2": Fraction(1_000_000),
            "ac": 4840 * _YARD**2,
            "sq ft": _FOOT**2,
            "sq yd": _YARD**2,
        }
    )

    @classmethod
    def of(cls, square_metres: float) -> Self:
        """The area of so many square metres; raises ValueError where that is not finite or 1e12 and more."""
        return cls._from_si(square_metres)

    @property
    def square_metres(self) -> float:
        """Square metres, the nearest float to the exact value."""
        return self._si


class Speed(_Quantity):
    """A ground speed, written in m/s, km/h, mph or ft/s.

    Raises:
        ValueError: the text is no speed; the message says what is expected.

    >>> Speed("3.6 km/h") == Speed("1 m/s"), Speed("4 mph").metres_per_second
    (True, 1.78816)
    """

    __slots__ = ()
    word = "speed"
    example = "8 km/h"
    units = MappingProxyType(
        {
            "m/s": Fraction(1),
            "km/h": Fraction(1000, _HOUR),
            "mph": _MILE / _HOUR,
            "ft/s": _FOOT,
        }
    )

    @classmethod
    def of(cls, metres_per_second: float) -> Self:
        """The speed of so many metres a second; raises ValueError where that is not finite or 1e12 and more."""
        return cls._from_si(metres_per_second)

    @property
    def metres_per_second(self) -> float:
        """Metres a second, the nearest float to the exact value."""
        return self._si


class Duration(_Quantity):
    """A length of time, written in s, ms, min or h.

    Raises:
        ValueError: the text is no duration; the message says what is expected.

    >>> Duration("1.5 min").seconds, Duration("250 ms") == Duration("0.25 s")
    (90.0, True)
    """

    __slots__ = ()
    word = "duration"
    example = "2 s"
    units = MappingProxyType(
        {
            "s": Fraction(1),
            "ms": Fraction(1, 1000),
            "min": Fraction(_MINUTE),
            "h": Fraction(_HOUR),
        }
    )

    @classmethod
    def of(cls, seconds: float) -> Self:
        """The duration of so many seconds; raises ValueError where that is not finite or 1e12 and more."""
        return cls._from_si(seconds)

    @property
    def seconds(self) -> float:
        """Seconds, the nearest float to the exact value."""
        return self._si
