"""The draw of an audit: one bottle and one raw lot, and the same again by its number.

A number says how many bottles and lots there were, so that those that came since do
not move what it drew. It is drawn by SHA-256, the same on every machine and in every
version; the slight unevenness of the remainder (below one in 2^200) is of no matter.
"""

from __future__ import annotations

import dataclasses
import hashlib
import re
from typing import Final

SEEDS: Final = 1_000_000  # six digits are read out and written down without slips
_NUMBER: Final = re.compile(r"([0-9]{6})-([0-9]{1,9})-([0-9]{1,9})", re.ASCII)
_OF_BOTTLES, _OF_LOTS = "bottle", "lot"


@dataclasses.dataclass(frozen=True, kw_only=True)
class Draw:
    """A draw: its seed, and out of how many bottles and raw lots it is made."""

    seed: int
    bottles: int
    lots: int

    @property
    def number(self) -> str:
        """The number by which the same is drawn again.

        >>> Draw(seed=4071, bottles=120, lots=23).number
        '004071-120-23'
        """
        return f"{self.seed:06d}-{self.bottles}-{self.lots}"

    @property
    def bottle(self) -> int | None:
        """Which bottle in order of filling, from 0 on; None where there is none."""
        return _pick(self.seed, _OF_BOTTLES, self.bottles)

    @property
    def lot(self) -> int | None:
        """Which raw lot in order of receipt, from 0 on; None where there is none."""
        return _pick(self.seed, _OF_LOTS, self.lots)


def read(number: str) -> Draw:
    """Return the draw with this number; raise ValueError where it is none.

    >>> read("004071-120-23") == Draw(seed=4071, bottles=120, lots=23)
    True
    >>> read("4071")
    Traceback (most recent call last):
        ...
    ValueError: '4071' is no number of a draw.
    """
    found = _NUMBER.fullmatch(number)
    if found is None:
        raise ValueError(f"{number!r} is no number of a draw.")
    seed, bottles, lots = map(int, found.groups())
    return Draw(seed=seed, bottles=bottles, lots=lots)


def _pick(seed: int, of: str, count: int) -> int | None:
    """Return one of so many, from 0 on.

    >>> [_pick(4071, "lot", count) for count in (0, 1)]
    [None, 0]
    """
    if not count:
        return None
    digest = hashlib.sha256(f"{seed:06d} {of}".encode()).digest()
    return int.from_bytes(digest) % count
