"""Which events: of a lot or batch with what it came from and went into, or of days."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Sequence
from typing import Any, TypeVar

from django.db.models import Model, Q, QuerySet
from django.utils import timezone

from batches import trace
from batches.services.item_numbers import Sizes
from batches.trace import walks
from producer.errors import Refusal
from producer.models import Stock
from producer.services.registers import Located
from quality.epcis.names import Names
from quality.epcis.shapes import Event, happened

Row = TypeVar("Row", bound=Model)
AT_A_TIME = 2000  # rows fetched; what a stream holds in memory


@dataclasses.dataclass(frozen=True, kw_only=True)
class Told:
    """How things are named and where the clock hangs."""

    names: Names
    zone: datetime.tzinfo
    sizes: Sizes = dataclasses.field(default_factory=dict)
    locations: Sequence[Located] = ()

    def gtin(self, formula: int, nominal_ul: int, filled: datetime.datetime) -> str:
        """Return the GTIN that stood when bottles were filled, or nothing.

        Another name would not be that in files which were handed out.
        """
        for given in reversed(self.sizes.get((formula, nominal_ul), ())):
            if given.since <= filled:
                return given.gtin
        return ""

    def when(self, at: datetime.datetime, recorded: datetime.datetime) -> Event:
        """Return the times of an event, and that it was here.

        Here has the name it had when the event was recorded, in every file.
        """
        numbers = [one.number for one in self.locations if one.since <= recorded]
        here = self.names.premises(numbers[-1] if numbers else "")
        return {**happened(at, recorded, self.zone), "readPoint": {"id": here}}


@dataclasses.dataclass(frozen=True, kw_only=True)
class Scope:
    """What is asked for. No stocks means all of them, no days means ever.

    ``stocks`` are ids of lots and batches, ``bottled`` of those whose bottles belong to
    it: what went into a batch was perhaps bottled too, and that is another story.
    """

    stocks: frozenset[int] | None = None
    bottled: frozenset[int] | None = None
    start: datetime.datetime | None = None
    end: datetime.datetime | None = None

    def narrowed(
        self, rows: QuerySet[Row, Any], stock: str, *times: str, bottled: bool = False
    ) -> QuerySet[Row, Any]:
        """Return the rows that belong to it.

        ``stock`` is the way to the stock, ``times`` the ways to the moment when it
        happened and to when it was declared wrong; one in the days is enough.
        """
        ids = self.bottled if bottled else self.stocks
        if ids is not None:
            rows = rows.filter(**{f"{stock}__in": walks.among(ids)})
        return self.narrowed_to_days(rows, *times)

    def narrowed_to_days(
        self, rows: QuerySet[Row, Any], *times: str
    ) -> QuerySet[Row, Any]:
        """Return the rows of the days asked for; one of the times in them is enough."""
        if self.start is None or self.end is None:
            return rows
        within = Q()
        for time in times:
            within |= Q(**{f"{time}__gte": self.start, f"{time}__lt": self.end})
        return rows.filter(within)


def of_stock(root: Stock) -> Scope:
    """Return the scope of a lot or batch.

    What went into it and what it went into, at any depth; the bottles of itself and of
    what it went into.
    """
    on = frozenset(trace.downstream_ids(root.pk))
    return Scope(stocks=on | frozenset(trace.upstream_ids(root.pk)), bottled=on)


def between(first: datetime.date, last: datetime.date) -> Scope:
    """Return the scope of all that happened from one local day to another, both in it.

    Raises :class:`Refusal` for days the wrong way round.
    """
    if last < first:
        raise Refusal("The last day lies before the first one. Swap them.", field="to")
    if first.year == datetime.MINYEAR or last.year == datetime.MAXYEAR:
        # Days that do not exist in every time zone.
        raise Refusal("Choose days of this century.", field="from")
    zone = timezone.get_current_timezone()
    start, end = (
        datetime.datetime.combine(day, datetime.time.min, zone)
        for day in (first, last + datetime.timedelta(days=1))
    )
    return Scope(start=start, end=end)
