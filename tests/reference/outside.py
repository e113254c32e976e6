"""What others published, beside what we compute: one row a value.

A module of this package names its ``SOURCE``, lists its ``CHECKS`` and holds each of
them in one parametrised test. Rows flagged as from memory say so in their name and do
not count as outside checks. Nor do values that the test itself computes, though from
the atomic weights of a library: they are independent of our code, but nobody published
them. They are counted apart.
"""

from __future__ import annotations

import dataclasses
import enum
import math
from collections.abc import Callable
from decimal import Decimal

Value = float | int | Decimal | str | bool


class Flag(enum.StrEnum):
    """How the published value came to us."""

    SEEN = "seen"  # in the source itself, or run in the named reference library
    SECOND_HAND = "second hand"  # in a copy, transcription or test that quotes it
    LIBRARY = "computed with a library"  # by our test, from what a library knows
    MEMORY = "from memory, not confirmed"


@dataclasses.dataclass(frozen=True, kw_only=True)
class Check:
    """A published value, where it stands, and our computation of it.

    ``within`` is the absolute tolerance, usually half a unit of the last published
    digit; ``relative`` a relative one. Words and truth values must be equal.
    """

    what: str
    clause: str
    flag: Flag
    ours: Callable[[], Value]
    published: Value
    within: float = 0.0
    relative: float = 0.0

    def __str__(self) -> str:
        return f"{self.what} [{self.clause}; {self.flag}]"

    def hold(self) -> None:
        """Raise :class:`AssertionError` unless ours is what was published."""
        ours = self.ours()
        if isinstance(self.published, str | bool):
            assert ours == self.published, f"{self}: {ours} is not {self.published}"
            return
        close = math.isclose(
            float(ours),
            float(self.published),
            rel_tol=self.relative,
            abs_tol=self.within,
        )
        assert close, f"{self}: {ours} is not {self.published}"
