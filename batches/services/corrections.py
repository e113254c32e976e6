"""How often the entries of a batch were corrected since they were first entered.

Shown beside a batch on every screen and print of it: who reads a figure must know that
it is not the first one (EudraLex, volume 4, annex 11, 8.2, seen at second hand).
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import reduce
from operator import add
from typing import Any

from django.db.models import Count, Model, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from batches.models import (
    Batch,
    BulkWeighing,
    Charge,
    HoldPoint,
    Loss,
    Reading,
    Titration,
    WeighingStart,
)

# Where the entries of a batch are, each with the column that names the batch.
ENTRIES: tuple[tuple[type[Model], str], ...] = (
    (Charge, "batch_id"),
    (Reading, "batch_id"),
    (BulkWeighing, "batch_id"),
    (Loss, "batch_id"),
    (Titration, "stock_id"),
    (HoldPoint, "batch_id"),
    (WeighingStart, "batch_id"),
)


def counted(batches: QuerySet[Batch]) -> QuerySet[Any]:
    """Return the batches with ``corrected``: entries corrected or taken back.

    All in the one query of the list, however many batches it has.
    """
    counts = [_count(model, column) for model, column in ENTRIES]
    return batches.annotate(corrected=reduce(add, counts))


def counts_of(ids: Iterable[int]) -> dict[int, int]:
    """Return by batch id how many entries were corrected; every id is in it."""
    rows = counted(Batch.objects.filter(pk__in=list(ids)))
    return dict(rows.order_by().values_list("pk", "corrected"))


def in_words(count: int) -> str:
    """Return the count as it stands beside a batch; nothing where there is none.

    >>> in_words(0), in_words(1), in_words(3)
    ('', 'corrected once', 'corrected 3 times')
    """
    if not count:
        return ""
    return "corrected once" if count == 1 else f"corrected {count} times"


def _count(model: type[Model], column: str) -> Coalesce:
    rows = (
        model._default_manager.filter(
            **{column: OuterRef("pk")}, supersedes__isnull=False
        )
        .order_by()
        .values(column)
        .annotate(number=Count("pk"))
        .values("number")
    )
    return Coalesce(Subquery(rows), 0)
