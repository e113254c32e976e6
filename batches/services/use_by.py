"""Until when what was made is good: the earliest of its own life and all within.

Requirement C23: the life of a formula counts from the day on which a batch was weighed
out; what went in, at any depth, ends with its own life or expiry. A date of retest ends
nothing: it says when a lot is looked at again before it is used.
"""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterator

from batches import trace
from batches.models import Batch, BulkWeighing
from producer.models import RawLot
from producer.services.checks import local_day


@dataclasses.dataclass(frozen=True, kw_only=True)
class End:
    """A day on which something within ends: the code of what, and why then.

    The day itself is still good.
    """

    day: datetime.date
    code: str
    words: str


def ends_of(batch: Batch) -> list[End]:
    """Return every end within a batch, the earliest first; its own only once weighed.

    Of two on one day the batch comes before what is in it.
    """
    found = [*_lives(batch), *_expiries(batch)]
    return sorted(found, key=lambda end: end.day)


def first_end(batch: Batch) -> End:
    """Return the earliest end within a batch that was weighed out."""
    return ends_of(batch)[0]


def _lives(batch: Batch) -> Iterator[End]:
    rows = (
        BulkWeighing.objects.current()
        .filter(batch__in=trace.upstream_ids(batch.pk))
        .select_related("batch__formula_version", "batch__stock")
        .order_by("-batch_id")
    )
    for row in rows:
        days = row.batch.formula_version.shelf_life_days
        yield End(
            day=local_day(row.observed_at) + datetime.timedelta(days=days),
            code=row.batch.number,
            words=f"{days} days from making",
        )


def _expiries(batch: Batch) -> Iterator[End]:
    lots = RawLot.objects.filter(
        pk__in=trace.upstream_ids(batch.pk), expires_on__isnull=False
    )
    for lot in lots.select_related("stock", "material").order_by("pk"):
        if lot.expires_on is not None:
            yield End(
                day=lot.expires_on,
                code=lot.code,
                words=f"{lot.material.name} expires",
            )
