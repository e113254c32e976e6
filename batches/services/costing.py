"""What a batch and its bottles cost, from prices, charges and what else was spent.

Bottles, caps and labels go with the bottles, by their number; all else goes with the
product, by mass. Read for the batch and all that went into it at once.
"""

from __future__ import annotations

import dataclasses
from fractions import Fraction

from django.db import models

from batches import trace
from batches.costing import (
    Bought,
    Cost,
    CostError,
    Made,
    cost_of_all,
    parts_of,
    per_bottle,
    rest_of,
    rounded,
    that_add_up,
)
from batches.lifecycle import BottleStatus
from batches.models import Batch, BulkWeighing, FillingLot, Input
from batches.models import Cost as Spent
from producer.models import RawLot, Stock, StockMovement

STILL_HERE = "still here"
LOST_SINCE = "lost or disposed of since the yield was weighed"
WITH_BOTTLES = frozenset({Spent.Kind.BOTTLES, Spent.Kind.LABELS})


@dataclasses.dataclass(frozen=True, kw_only=True)
class Part:
    """What one source brought along, or where a share went.

    ``hundredths`` is rounded so that the parts of a list add up. ``code`` is empty for
    what is still here or was lost.
    """

    code: str
    name: str
    mass_mg: int
    cost: Cost
    hundredths: int = 0
    is_lot: bool = False


@dataclasses.dataclass(frozen=True, kw_only=True)
class Filled:
    """What a filling lot cost; ``each`` is None where no good bottle is left."""

    lot: FillingLot
    good: int
    product: Cost
    whole: Cost
    each: Cost | None

    @property
    def hundredths(self) -> int:
        """The whole of it."""
        return rounded(self.whole.amount)

    @property
    def each_hundredths(self) -> int | None:
        """One good bottle."""
        return rounded(self.each.amount) if self.each else None


@dataclasses.dataclass(frozen=True, kw_only=True)
class BatchCost:
    """What a batch cost: by source, by what else was spent, and where it went.

    ``product`` is all but bottles and labels, which ``with_bottles`` holds.
    """

    sources: list[Part]
    spent: list[Spent]
    product: Cost
    with_bottles: int
    went: list[Part]
    fillings: list[Filled]
    came_out_mg: int | None

    @property
    def whole(self) -> Cost:
        """All of it."""
        return self.product + Cost(amount=Fraction(self.with_bottles))

    @property
    def hundredths(self) -> int:
        """All of it, rounded."""
        return rounded(self.whole.amount)

    @property
    def product_hundredths(self) -> int:
        """All but bottles and labels, rounded."""
        return rounded(self.product.amount)

    @property
    def unknown(self) -> list[str]:
        """The codes of what has no known price."""
        return sorted(self.product.unknown)


class _Rows:
    """The prices, edges and yields of a batch and of all above it."""

    def __init__(self, batch: Batch) -> None:
        ids = trace.upstream_ids(batch.pk)
        self.stocks = Stock.objects.in_bulk(ids)
        received = dict(
            StockMovement.objects.filter(stock__in=ids, kind=StockMovement.Kind.RECEIPT)
            .order_by()
            .values_list("stock")
            .annotate(models.Sum("amount_mg"))
        )
        lots = RawLot.objects.filter(pk__in=ids).select_related("material")
        self.names = {lot.pk: lot.material.name for lot in lots}
        self.lots = {
            lot.pk: Bought(
                code=self.stocks[lot.pk].code,
                paid=lot.paid_hundredths,
                received_mg=received.get(lot.pk, 0),
            )
            for lot in lots
        }
        drawn: dict[int, dict[int, int]] = {}
        edges = Input.objects.filter(batch_id__in=ids, mass_mg__gt=0)
        for made, source, mass in edges.order_by("source_id").values_list(
            "batch_id", "source_id", "mass_mg"
        ):
            drawn.setdefault(made, {})[source] = mass
        weighings = BulkWeighing.objects.current().filter(batch__in=ids)
        came_out = dict(weighings.values_list("batch_id", "net_mg"))
        self.spent: dict[int, list[Spent]] = {}
        rows = Spent.objects.current().filter(batch__in=ids)
        for row in rows.select_related("entered_by__person").order_by("pk"):
            self.spent.setdefault(row.batch_id, []).append(row)
        found = Batch.objects.filter(pk__in=ids).select_related(
            "formula_version__formula"
        )
        self.names |= {one.pk: one.formula_version.formula.name for one in found}
        self.batches = {
            one.pk: Made(
                code=self.stocks[one.pk].code,
                drawn=drawn.get(one.pk, {}),
                spent=sum(
                    row.amount_hundredths
                    for row in self.spent.get(one.pk, [])
                    if row.kind not in WITH_BOTTLES
                ),
                came_out_mg=came_out.get(one.pk),
            )
            for one in found
        }
        self.costs = cost_of_all(self.lots, self.batches)


def cost_of(batch: Batch) -> BatchCost:
    """Return what a batch cost and where that went; a fixed number of queries."""
    rows = _Rows(batch)
    made, product = rows.batches[batch.pk], rows.costs[batch.pk]
    spent = rows.spent.get(batch.pk, [])
    with_bottles = sum(
        row.amount_hundredths for row in spent if row.kind in WITH_BOTTLES
    )
    fillings = _fillings(batch, made, product, with_bottles)
    return BatchCost(
        sources=_sources(rows, made, product),
        spent=spent,
        product=product,
        with_bottles=with_bottles,
        went=_where_it_went(
            batch, made, product, fillings, rows.stocks[batch.pk].on_hand_mg
        ),
        fillings=fillings,
        came_out_mg=made.came_out_mg,
    )


def _sources(rows: _Rows, made: Made, product: Cost) -> list[Part]:
    """Return what each source brought, with what was spent closing the sum."""
    found = parts_of(made, rows.lots, rows.batches, rows.costs)
    shown = that_add_up([*(one.amount for one in found.values()), Fraction(made.spent)])
    return [
        Part(
            code=rows.stocks[source].code,
            name=rows.names[source],
            mass_mg=made.drawn[source],
            cost=cost,
            hundredths=hundredths,
            is_lot=source in rows.lots,
        )
        for (source, cost), hundredths in zip(found.items(), shown, strict=False)
    ]


def _fillings(
    batch: Batch, made: Made, product: Cost, with_bottles: int
) -> list[Filled]:
    if made.came_out_mg is None:
        return []
    bad = models.Q(bottles__status=BottleStatus.DESTROYED)
    lots = list(
        FillingLot.objects.filter(batch=batch)
        .select_related("balance")
        .annotate(bad=models.Count("bottles", filter=bad))
        .order_by("pk")
    )
    bottles = sum(lot.count for lot in lots)
    found = []
    for lot in lots:
        share = product.part(_taken_mg(lot), made.came_out_mg)
        whole = share + Cost(amount=Fraction(with_bottles * lot.count, bottles))
        good = lot.count - lot.bad
        found.append(
            Filled(
                lot=lot, good=good, product=share, whole=whole, each=_each(whole, good)
            )
        )
    return found


def _taken_mg(lot: FillingLot) -> int:
    """Return what a filling took: in the bottles, lost, and taken as samples."""
    balance = getattr(lot, "balance", None)  # none before it was asked for
    return lot.filled_mg + lot.loss_mg + (balance.sample_mg if balance else 0)


def _each(whole: Cost, good: int) -> Cost | None:
    try:
        return per_bottle(whole, good)
    except CostError:
        return None


def _where_it_went(
    batch: Batch, made: Made, product: Cost, fillings: list[Filled], on_hand_mg: int
) -> list[Part]:
    """Return the shares of the product, which add up to what it cost."""
    if made.came_out_mg is None:
        return []
    went = [
        Part(
            code=one.lot.code,
            name="filled into bottles, with what was lost or kept as a sample",
            mass_mg=_taken_mg(one.lot),
            cost=one.product,
        )
        for one in fillings
    ]
    edges = Input.objects.filter(source=batch.pk, mass_mg__gt=0)
    went += [
        Part(
            code=edge.batch.number,
            name="drawn into a batch",
            mass_mg=edge.mass_mg,
            cost=product.part(edge.mass_mg, made.came_out_mg),
        )
        for edge in edges.select_related("batch__stock").order_by("batch_id")
    ]
    rest = rest_of(made.came_out_mg, sum(one.mass_mg for one in went), on_hand_mg)
    for name, mass_mg in zip((STILL_HERE, LOST_SINCE), rest, strict=True):
        if mass_mg:
            cost = product.part(mass_mg, made.came_out_mg)
            went.append(Part(code="", name=name, mass_mg=mass_mg, cost=cost))
    shown = that_add_up([one.cost.amount for one in went])
    return [
        dataclasses.replace(one, hundredths=hundredths)
        for one, hundredths in zip(went, shown, strict=True)
    ]
