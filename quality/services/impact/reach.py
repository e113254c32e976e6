"""The lots and batches behind results in doubt, and where their bottles are."""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Iterable
from decimal import Decimal
from typing import Final

from django.db.models import Count, Q, Sum

from batches import trace
from batches.lifecycle import BottleStatus
from batches.models import Batch, Bottle, BulkWeighing, Charge
from producer.models import RawLot
from producer.quantities import grams
from quality.services.impact.plain import Taken, Touched

# The other bottles are here, whatever their status.
AWAY: Final = (BottleStatus.DISPATCHED, BottleStatus.DESTROYED)
COUNTED_ONLY: Final = "container"  # says how much is left, not what it is


@dataclasses.dataclass
class _Sums:
    """What the results of one stock come to."""

    results: int = 0
    crossing: int = 0
    alkali: list[Decimal] = dataclasses.field(default_factory=list)

    @property
    def alkali_together(self) -> Decimal | None:
        return sum(self.alkali, Decimal(0)) if self.alkali else None

    @property
    def alkali_alone(self) -> Decimal | None:
        return max(self.alkali, key=abs, default=None)


def touched(results: Iterable[Taken]) -> list[Touched]:
    """Return the stocks of these results, and every batch made from one of them.

    A container weighed says how much of a lot is left and nothing of what it is, so
    what was made from that lot is not in doubt by it.
    """
    sums: dict[int, _Sums] = defaultdict(_Sums)
    roots = set()
    for one in results:
        mine = sums[one.stock_id]
        mine.results += 1
        mine.crossing += one.crosses
        if one.alkali is not None:
            mine.alkali.append(one.alkali)
        if one.what != COUNTED_ONLY:
            roots.add(one.stock_id)
    if not sums:
        return []
    ids = sorted({*sums, *trace.downstream_of(sorted(roots))})
    return [*_lots(ids, sums), *_batches(ids, sums)]


def _lots(ids: list[int], sums: dict[int, _Sums]) -> list[Touched]:
    return [
        Touched(
            stock_id=lot.pk,
            code=lot.code,
            page="producer:lot",
            name=lot.material.name,
            status=lot.status,
            status_words=lot.get_status_display(),
            on_hand_mg=lot.stock.on_hand_mg,
            results=sums[lot.pk].results,
            crossing=sums[lot.pk].crossing,
        )
        for lot in RawLot.objects.listed().filter(pk__in=ids).order_by("pk")
    ]


def _batches(ids: list[int], sums: dict[int, _Sums]) -> list[Touched]:
    bottles = {
        batch: (here, out)
        for batch, here, out in Bottle.objects.filter(filling_lot__batch__in=ids)
        .order_by()
        .values_list("filling_lot__batch")
        .annotate(
            here=Count("pk", filter=~Q(status__in=AWAY)),
            out=Count("pk", filter=Q(status=BottleStatus.DISPATCHED)),
        )
    }
    made = _made(ids)
    return [
        Touched(
            stock_id=batch.pk,
            code=batch.number,
            page="batches:batch",
            name=batch.formula_version.formula.name,
            status=batch.status,
            status_words=batch.get_status_display(),
            on_hand_mg=batch.stock.on_hand_mg,
            results=sums[batch.pk].results,
            crossing=sums[batch.pk].crossing,
            bottles_here=bottles.get(batch.pk, (0, 0))[0],
            bottles_out=bottles.get(batch.pk, (0, 0))[1],
            alkali=sums[batch.pk].alkali_together,
            alkali_alone=sums[batch.pk].alkali_alone,
            made_g=made.get(batch.pk),
        )
        for batch in Batch.objects.listed().filter(pk__in=ids).order_by("pk")
    ]


def _made(ids: list[int]) -> dict[int, Decimal]:
    """Return grams that each batch made; what went in where it was not weighed yet."""
    went_in = (
        Charge.objects.current()
        .filter(batch__in=ids)
        .order_by()
        .values_list("batch")
        .annotate(Sum("net_mg"))
    )
    came_out = (
        BulkWeighing.objects.current()
        .filter(batch__in=ids)
        .values_list("batch", "net_mg")
    )
    return {batch: grams(mg) for batch, mg in [*went_in, *came_out]}
