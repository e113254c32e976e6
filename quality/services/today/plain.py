"""The shape of what the first page shows, and days in words."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, TypeVar

from django.db.models import Count, Model, QuerySet, Window
from django.urls import reverse
from django.utils import timezone

from producer.models import Right

MOST_SHOWN = 10  # of a kind; the rest is one tap away
SOON = datetime.timedelta(days=30)
MAKER, REVIEWER = (Right.MAKER,), (Right.REVIEWER,)
MAKER_OR_REVIEWER = (Right.MAKER, Right.REVIEWER)
EVERYBODY: tuple[Right, ...] = ()

Record = TypeVar("Record", bound=Model)
Thing = TypeVar("Thing")


@dataclasses.dataclass(frozen=True, kw_only=True)
class Row:
    """One thing: what, since or until when in words, and the one act about it.

    ``rights`` are those of which one is needed to do it; none: everybody may.
    """

    name: str
    at: str
    words: str
    when: str
    do: str
    do_at: str
    rights: tuple[Right, ...] = EVERYBODY
    status: str = ""
    label: str = ""

    @property
    def is_code(self) -> bool:
        """Say whether its name is a code, to be set like one."""
        return self.name[:1].isupper() and "-" in self.name and " " not in self.name

    @property
    def whose(self) -> str:
        """Whose it is, for those who may not: “a maker or a reviewer”."""
        return " or ".join(f"a {right.label.lower()}" for right in self.rights)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Kind:
    """Things of one kind: at most ten, how many there are, and where all are."""

    slug: str
    heading: str
    rows: Sequence[Row]
    count: int
    all_at: str = ""

    @property
    def more(self) -> int:
        """How many are not shown."""
        return self.count - len(self.rows)


def of_query(
    slug: str,
    heading: str,
    records: QuerySet[Record],
    row_of: Callable[[Record], Row],
    *,
    all_at: str = "",
) -> Kind:
    """Return a kind from a query, which counts and shows with one question."""
    counted = records.annotate(_of_all=Window(Count("pk")))
    found: list[Any] = list(counted[:MOST_SHOWN])
    count = found[0]._of_all if found else 0  # noqa: SLF001 - our own annotation
    rows = [row_of(one) for one in found]
    return Kind(slug=slug, heading=heading, rows=rows, count=count, all_at=all_at)


def of_list(
    slug: str,
    heading: str,
    things: Iterable[Thing],
    row_of: Callable[[Thing], Row],
    *,
    all_at: str = "",
) -> Kind:
    """Return a kind from what was read already."""
    found = list(things)
    rows = [row_of(one) for one in found[:MOST_SHOWN]]
    return Kind(slug=slug, heading=heading, rows=rows, count=len(found), all_at=all_at)


def page(name: str, *args: str | int, query: Mapping[str, Any] | None = None) -> str:
    """Return the address of a page."""
    return reverse(name, args=args, query=query)


def local(at: datetime.datetime) -> datetime.date:
    """Return the day of a moment where the premises lies, in every request."""
    return timezone.localtime(at).date()


def in_full(day: datetime.date) -> str:
    """Return a day with the month in letters.

    >>> in_full(datetime.date(2026, 11, 3))
    '3 Nov 2026'
    """
    return f"{day.day} {day:%b %Y}"


def since(day: datetime.date, today: datetime.date) -> str:
    """Return since when, in words.

    >>> since(datetime.date(2026, 11, 3), datetime.date(2026, 11, 5))
    'for 2 days, since 3 Nov 2026'
    """
    days = (today - day).days
    if days < 1:
        return "since today"
    if days == 1:
        return "since yesterday"
    return f"for {days} days, since {in_full(day)}"


def until(day: datetime.date, today: datetime.date, what: str) -> str:
    """Return when something ends or is due, in words; ``what`` is “expires”, “due”.

    The day itself is still good.

    >>> today = datetime.date(2026, 11, 5)
    >>> until(datetime.date(2026, 11, 9), today, "expires")
    'expires in 4 days, on 9 Nov 2026'
    >>> until(datetime.date(2026, 11, 4), today, "retest due")
    'retest due since yesterday, 4 Nov 2026'
    """
    days = (day - today).days
    if days == 0:
        return f"{what} today"
    if days == 1:
        return f"{what} tomorrow"
    if days > 1:
        return f"{what} in {days} days, on {in_full(day)}"
    if days == -1:
        return f"{what} since yesterday, {in_full(day)}"
    return f"{what} since {-days} days, {in_full(day)}"


def ago(at: datetime.datetime, now: datetime.datetime) -> str:
    """Return how long ago a moment of today was; the day, if it was before.

    >>> now = datetime.datetime(2026, 11, 5, 12, 0, tzinfo=datetime.UTC)
    >>> ago(now - datetime.timedelta(minutes=65), now)
    '1 h 5 min ago'
    """
    minutes = int((now - at) / datetime.timedelta(minutes=1))
    if minutes < 1:
        return "just now"
    if minutes < 60:  # noqa: PLR2004 - minutes of an hour
        return f"{minutes} min ago"
    if minutes < 24 * 60:
        return f"{minutes // 60} h {minutes % 60} min ago"
    return f"on {in_full(local(at))}"
