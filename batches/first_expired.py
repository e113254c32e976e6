"""First expired, first out: which of several lots of one material is taken next.

A term of trade; common practice, no source. What counts is the last day on which a lot
may be used: its expiry or its retest, the earlier, for of potash often only the latter
is known. A lot without either lasts for ever, so it comes after those that have one. Of
the same date, or of none, the older receipt is taken first: it has stood longer.
"""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterable


@dataclasses.dataclass(frozen=True, kw_only=True)
class Candidate:
    """A lot that may be taken.

    ``last_day`` is the last one on which it may be used, ``free_mg`` what nobody else
    means to use of it.
    """

    key: int
    last_day: datetime.date | None
    received_on: datetime.date
    free_mg: int


def in_turn(candidates: Iterable[Candidate]) -> list[Candidate]:
    """Return the lots in the order in which they are taken.

    >>> day = datetime.date
    >>> lots = [
    ...     Candidate(key=1, last_day=None, received_on=day(2026, 1, 2), free_mg=5),
    ...     Candidate(
    ...         key=2,
    ...         last_day=day(2027, 5, 1),
    ...         received_on=day(2026, 3, 1),
    ...         free_mg=5,
    ...     ),
    ...     Candidate(
    ...         key=3,
    ...         last_day=day(2027, 4, 30),
    ...         received_on=day(2026, 4, 1),
    ...         free_mg=5,
    ...     ),
    ... ]
    >>> [lot.key for lot in in_turn(lots)]
    [3, 2, 1]
    """
    return sorted(
        candidates,
        key=lambda one: (
            one.last_day is None,
            one.last_day or datetime.date.max,
            one.received_on,
            one.key,
        ),
    )


def passed_over(
    candidates: Iterable[Candidate], chosen: Candidate, need_mg: int
) -> Candidate | None:
    """Return the first lot in turn that ends before ``chosen`` and would do.

    None if nothing is passed over. A lot of which less than ``need_mg`` is free would
    not do, so leaving it is no skip; nor is the turn among lots of one date, which is
    only proposed.

    >>> day = datetime.date
    >>> early, late = (
    ...     Candidate(
    ...         key=key,
    ...         last_day=day(2027, month, 1),
    ...         received_on=day(2026, 1, 2),
    ...         free_mg=300_000,
    ...     )
    ...     for key, month in ((1, 3), (2, 9))
    ... )
    >>> passed_over([late, early], late, 300_000).key
    1
    >>> passed_over([late, early], late, 300_001) is None
    True
    >>> passed_over([late, early], early, 1) is None
    True
    """
    return next(
        (
            one
            for one in in_turn(candidates)
            if _ends_before(one, chosen) and one.free_mg >= need_mg
        ),
        None,
    )


def _ends_before(one: Candidate, other: Candidate) -> bool:
    if one.last_day is None:
        return False
    return other.last_day is None or one.last_day < other.last_day
