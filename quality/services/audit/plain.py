"""The shape of one link of a walk: what is there, what lacks, what is unusual."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Sequence


@dataclasses.dataclass(frozen=True, kw_only=True)
class Link:
    """One thing on the way: its name and page, and three kinds of sentences about it.

    ``missing`` is what an auditor asks for and the records do not have; it is kept
    when an audit is held, so that no consignee is named in it. ``unusual`` is what was
    out of the ordinary, as the review page says it.
    """

    what: str
    name: str
    at: str
    present: Sequence[str]
    missing: Sequence[str] = ()
    unusual: Sequence[str] = ()

    @property
    def is_code(self) -> bool:
        """Say whether its name is a code, to be set like one."""
        return "-" in self.name and " " not in self.name


def day(at: datetime.date) -> str:
    """Return a day with the month in letters.

    >>> day(datetime.date(2026, 11, 3))
    '3 Nov 2026'
    """
    return f"{at.day} {at:%b %Y}"


def counted(count: int, one: str, many: str = "") -> str:
    """Return how many there are of something.

    >>> counted(1, "bottle"), counted(2, "bottle"), counted(2, "batch", "batches")
    ('1 bottle', '2 bottles', '2 batches')
    """
    return f"{count} {one if count == 1 else many or one + 's'}"
