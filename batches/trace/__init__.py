"""The genealogy both ways, to any depth, in set-based queries.

How a walk is asked stands in :mod:`batches.trace.walks`; what it found is given here
with names and masses.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Sequence
from fractions import Fraction

from django.db import models

from batches.lifecycle import BatchStatus
from batches.models import Batch, Bottle, Discrepancy, DiscrepancyEnd, Input
from batches.models.discrepancies import NOTHING_WENT_IN
from batches.shares import Share, shares_of
from batches.trace.walks import (
    TracedBottle,
    among,
    bottle_count,
    bottles_among,
    bottles_from,
    downstream_ids,
    downstream_of,
    downstream_of_each,
    upstream_ids,
    upstream_of_bottle,
    upstream_of_each,
)
from producer.models import RawLot, Stock

__all__ = [
    "BLOCKING_LOTS",
    "Genealogy",
    "TracedBottle",
    "among",
    "blocked",
    "bottle_count",
    "bottles_among",
    "bottles_from",
    "bottles_of",
    "downstream_ids",
    "downstream_of",
    "downstream_of_each",
    "shares",
    "shares_in",
    "trace",
    "track",
    "upstream_ids",
    "upstream_of_bottle",
    "upstream_of_each",
]

# A lot in one of these states blocks the release of what it is in. One that is still
# held got in by a correction alone: it is not drawn from before somebody decided.
BLOCKING_LOTS = (
    RawLot.Status.QUARANTINE,
    RawLot.Status.ON_HOLD,
    RawLot.Status.REJECTED,
)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Genealogy:
    """Everything connected with one stock in one direction, itself included.

    ``edges`` are (source id, batch id, milligrams) between those stocks; of nought
    where an entry kept on a device says that it went in and the book could not take it.
    """

    root: Stock
    lots: list[RawLot]
    batches: list[Batch]
    edges: list[tuple[int, int, int]]

    @property
    def names(self) -> dict[int, tuple[str, str]]:
        """Code and what it is of, by id."""
        names = {lot.pk: (lot.code, lot.material.name) for lot in self.lots}
        names.update(
            {
                batch.pk: (batch.number, batch.formula_version.formula.name)
                for batch in self.batches
            }
        )
        return names

    @property
    def batch_ids(self) -> list[int]:
        """The ids of the batches."""
        return [batch.pk for batch in self.batches]


def blocked(stock_ids: Sequence[int]) -> dict[int, list[str]]:
    """Return, for stocks with something in them that blocks a release, what that is.

    Raw lots held, on hold or rejected and batches on hold, rejected or disposed of, at
    any depth, each as “L26-1-1 is on hold”. Three queries, however many stocks.
    """
    if not stock_ids:
        return {}
    above = {root: ids - {root} for root, ids in upstream_of_each(stock_ids).items()}
    ids = set().union(*above.values())
    lots = RawLot.objects.filter(pk__in=among(ids), status__in=BLOCKING_LOTS)
    batches = Batch.objects.filter(
        pk__in=among(ids),
        status__in=[BatchStatus.ON_HOLD, BatchStatus.REJECTED, BatchStatus.DISPOSED],
    )
    words = {
        row.pk: f"{row.stock.code} in it is {row.get_status_display()}"
        for rows in (lots, batches)
        for row in rows.select_related("stock")
    }
    return {
        root: [words[one] for one in sorted(bad)]
        for root, ids in sorted(above.items())
        if (bad := ids & words.keys())
    }


def trace(root: Stock) -> Genealogy:
    """Walk backwards: what a batch was made from, down to the raw lots."""
    return _genealogy(root, upstream_ids(root.pk))


def track(root: Stock) -> Genealogy:
    """Walk forwards: which batches a lot or batch went into."""
    return _genealogy(root, downstream_ids(root.pk))


def shares(found: Genealogy) -> dict[int, Share]:
    """Return what part of each batch is of the root, by what went in. One query.

    ``found`` is what the root went into, see :func:`track`.
    """
    return shares_in(found.root.pk, found.batch_ids)


def shares_in(root_id: int | Collection[int], ids: Sequence[int]) -> dict[int, Share]:
    """Return what part of each of these stocks is of the root, or of all roots.

    ``ids`` are all that they went into, see :func:`downstream_of`. One query.
    """
    roots = {root_id} if isinstance(root_id, int) else set(root_id)
    drawn = _went_in().filter(batch_id__in=among(ids)).order_by()
    return {
        # A batch may have lost its last charge of it since it was found.
        **{pk: Share(least=Fraction(0)) for pk in ids},
        **shares_of(roots, drawn.values_list("source_id", "batch_id", "mass_mg")),
    }


def bottles_of(batch_ids: Sequence[int]) -> models.QuerySet[Bottle]:
    """Return the bottles filled from these batches, in order of filling."""
    return (
        Bottle.objects.listed()
        .filter(filling_lot__batch_id__in=among(batch_ids))
        .order_by("filling_lot_id", "number")
    )


def _went_in() -> models.QuerySet[Input]:
    """Return the edges by which something went in, by charges or by an entry kept."""
    kept = Discrepancy.objects.filter(
        batch_id=models.OuterRef("batch_id"), stock_id=models.OuterRef("source_id")
    ).exclude(
        models.Q(end__outcome=DiscrepancyEnd.Outcome.ENTERED)
        | models.Q(end__reason__startswith=NOTHING_WENT_IN)
    )
    return Input.objects.filter(models.Q(mass_mg__gt=0) | models.Exists(kept))


def _genealogy(root: Stock, ids: Sequence[int]) -> Genealogy:
    return Genealogy(
        root=root,
        lots=list(RawLot.objects.listed().filter(pk__in=among(ids)).order_by("pk")),
        batches=list(Batch.objects.listed().filter(pk__in=among(ids)).order_by("pk")),
        edges=list(
            _went_in()
            .filter(batch_id__in=among(ids), source_id__in=among(ids))
            .order_by("batch_id", "source_id")
            .values_list("source_id", "batch_id", "mass_mg")
        ),
    )
