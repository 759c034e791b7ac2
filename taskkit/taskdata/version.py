"""The versions of ISO 11783-10 as an ordered enumeration."""

from __future__ import annotations

import enum
import functools

__all__ = ["Version"]


@functools.total_ordering
class Version(enum.Enum):
    """A version of the standard, as the root's VersionMajor and VersionMinor give it.

    The first edition is 3.x, the second is 4.x. Differences are known between 3.x and 4.x
    only: where nothing is known, a minor version carries what its last one has, and nothing
    may be held against data for being "not yet in 4.1".

    >>> Version.parse("3.3") < Version.V4_0
    True
    """

    V3_0 = (3, 0)
    V3_1 = (3, 1)
    V3_2 = (3, 2)
    V3_3 = (3, 3)
    V4_0 = (4, 0)
    V4_1 = (4, 1)
    V4_2 = (4, 2)
    V4_3 = (4, 3)

    @property
    def major(self) -> int:
        """The edition: 3 or 4."""
        return self.value[0]

    @property
    def minor(self) -> int:
        """The minor version within the edition."""
        return self.value[1]

    @property
    def text(self) -> str:
        """Both numbers as people write them, e.g. ``4.3``."""
        return f"{self.major}.{self.minor}"

    @classmethod
    def parse(cls, text: str) -> Version:
        """The version that a text such as ``4.3`` names.

        Raises:
            ValueError: no such version is known.
        """
        for version in cls:
            if version.text == text:
                return version
        raise ValueError(f"{text!r} is no version known here: {', '.join(v.text for v in cls)}")

    def __lt__(self, other: object) -> bool:
        if not isinstance(other, Version):
            return NotImplemented
        return self.value < other.value

    def __str__(self) -> str:
        return self.text
