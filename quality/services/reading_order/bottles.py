"""What was filled from a batch, and where its bottles are."""

from __future__ import annotations

import dataclasses
from collections import defaultdict

from django.db.models import Count

from batches.lifecycle import BottleStatus
from batches.models import Batch, Bottle, FillingLot
from quality.models import FillCheck
from quality.services.weighings import newest_of


@dataclasses.dataclass(frozen=True, kw_only=True)
class Filled:
    """A filling lot: how many bottles are in each state, and its newest check.

    ``labels`` is how many labels it needs, one a bottle. ``check`` is the newest
    weighing of its bottles against the label, or None.
    """

    lot: FillingLot
    counts: list[tuple[BottleStatus, int]]
    check: FillCheck | None

    @property
    def labels(self) -> int:
        """One numbered label a bottle."""
        return sum(count for _, count in self.counts)


def filled_from(batch: Batch) -> list[Filled]:
    """Return the filling lots of a batch, oldest first; three queries in all."""
    lots = list(batch.filling_lots.order_by("pk"))
    if not lots:
        return []
    counts: dict[int, dict[str, int]] = defaultdict(dict)
    rows = Bottle.objects.filter(filling_lot__in=lots).order_by()
    for row in rows.values("filling_lot", "status").annotate(number=Count("pk")):
        counts[row["filling_lot"]][row["status"]] = row["number"]
    newest = newest_of(lot.pk for lot in lots)
    return [
        Filled(
            lot=lot,
            counts=[
                (status, counts[lot.pk][status])
                for status in BottleStatus
                if status in counts[lot.pk]
            ],
            check=newest.get(lot.pk),
        )
        for lot in lots
    ]
