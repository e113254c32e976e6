"""Masses: the ledger, the genealogy, the weighings and the bottles tell the same."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db.models import (
    BigIntegerField,
    Count,
    Exists,
    F,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Sum,
)
from django.db.models.functions import Coalesce

from batches import trace
from batches.models import (
    Batch,
    BulkWeighing,
    Charge,
    Discrepancy,
    FillingLot,
    Input,
    SprayMix,
)
from batches.services import discrepancies
from producer.models import Stock, StockMovement
from producer.quantities import format_mass
from quality.services.verification.checks import Tell

Kind = StockMovement.Kind


def ledger_faults(tell: Tell) -> Iterator[str]:
    """Yield a fault where stock on hand is not the sum of its movements.

    Every movement also carries the balance after it, so a row that was slipped in,
    taken out or changed shows at its place.
    """
    rows = StockMovement.objects.order_by("stock_id", "pk").values_list(
        "pk", "stock_id", "stock__code", "amount_mg", "balance_mg"
    )
    stock_id, balance = 0, 0
    for walked, (pk, of, code, amount, stated) in enumerate(rows.iterator()):
        tell(walked)
        if of != stock_id:
            stock_id, balance = of, 0
        balance += amount
        if balance != stated:
            yield (
                f"Movement {pk} of {code} says {format_mass(stated)} was left, but its"
                f" movements up to there add up to {format_mass(balance)}."
            )
            balance = stated
    sums = sum_of(
        StockMovement.objects.filter(stock=OuterRef("pk")), "stock", "amount_mg"
    )
    stocks = Stock.objects.annotate(moved=sums).exclude(on_hand_mg=F("moved"))
    for stock in stocks.order_by("pk").iterator():
        yield (
            f"{stock.code} says {format_mass(stock.on_hand_mg)} is on hand, but its"
            f" movements add up to {format_mass(stock.moved)}."
        )


def genealogy_faults() -> Iterator[str]:
    """Yield a fault where edges, charges and draws do not tell the same masses."""
    weighed = sum_of(
        Charge.objects.current().filter(
            batch=OuterRef("batch_id"), source=OuterRef("source_id")
        ),
        "batch",
        "net_mg",
    )
    edges = (
        Input.objects.annotate(weighed=weighed)
        .exclude(mass_mg=F("weighed"))
        .order_by("batch_id", "source_id")
        .values_list("batch__stock__code", "source__code", "mass_mg", "weighed")
    )
    for number, code, mass, by_charges in edges.iterator():
        yield (
            f"The genealogy says batch {number} has {format_mass(mass)} of {code} in"
            f" it, but its charges add up to {format_mass(by_charges)}."
        )
    edge = Input.objects.filter(
        batch=OuterRef("batch_id"), source=OuterRef("source_id")
    )
    unknown = (
        Charge.objects.current()
        .exclude(Exists(edge))
        .order_by("pk")
        .values_list("batch__stock__code", "source__code", "net_mg")
    )
    for number, code, mass in unknown.iterator():
        yield (
            f"Batch {number} was charged with {format_mass(mass)} of {code}, which its"
            " genealogy does not know."
        )
    yield from _draw_faults()
    yield from _unfitting_faults()


def bulk_faults() -> Iterator[str]:
    """Yield a fault where a batch's stock was not made by its weighing."""
    # What a filling set right names it, and was not made.
    of_filling = FillingLot.objects.filter(code=OuterRef("purpose"))
    made = sum_of(
        StockMovement.objects.filter(
            ~Exists(of_filling),
            stock=OuterRef("pk"),
            kind__in=[Kind.PRODUCTION, Kind.ADJUSTMENT],
        ),
        "stock",
        "amount_mg",
    )
    weighed = sum_of(
        BulkWeighing.objects.current().filter(batch=OuterRef("pk")), "batch", "net_mg"
    )
    rows = (
        Batch.objects.annotate(made=made, weighed=weighed)
        .exclude(made=F("weighed"))
        .order_by("pk")
        .values_list("stock__code", "weighed", "made")
    )
    for number, by_weighing, by_ledger in rows.iterator():
        yield (
            f"Batch {number} was weighed at {format_mass(by_weighing)}, but the ledger"
            f" has {format_mass(by_ledger)} made."
        )


def filling_faults() -> Iterator[str]:
    """Yield a fault where bottles or masses of a filling lot do not agree."""
    of_lot = StockMovement.objects.filter(
        stock=OuterRef("batch_id"), purpose=OuterRef("code")
    )
    lots = FillingLot.objects.select_related("balance").annotate(
        found=Count("bottles"),
        numbered=Count(
            "bottles", filter=Q(bottles__number__gte=1, bottles__number__lte=F("count"))
        ),
        drawn=sum_of(of_lot.filter(kind=Kind.FILLING), "stock", "amount_mg"),
        set_right=sum_of(of_lot.filter(kind=Kind.ADJUSTMENT), "stock", "amount_mg"),
    )
    for lot in lots.order_by("pk").iterator():
        if not lot.found == lot.numbered == lot.count:
            yield (
                f"Filling lot {lot.code} has {lot.count} bottles by its record, but"
                f" {lot.found} exist, {lot.numbered} of them with a number it gave out."
            )
        yield from _balance_faults(lot, -lot.drawn, -lot.set_right)


def _balance_faults(lot: FillingLot, drawn_mg: int, set_right_mg: int) -> Iterator[str]:
    """Yield a fault where the mass of a filling does not close with the ledger."""
    balance = getattr(lot, "balance", None)  # none before it was asked for
    took_mg = lot.filled_mg + lot.loss_mg + (balance.sample_mg if balance else 0)
    if drawn_mg != took_mg:
        yield (
            f"Filling lot {lot.code} took {format_mass(took_mg)} by its record, but the"
            f" ledger has {format_mass(drawn_mg)}."
        )
    if balance is None:
        return
    if set_right_mg != balance.unexplained_mg:
        yield (
            f"Filling lot {lot.code} left {format_mass(balance.unexplained_mg)}"
            f" unexplained, but the ledger was set right by"
            f" {format_mass(set_right_mg)}."
        )
    told_mg = took_mg + (balance.rest_mg or 0) + balance.unexplained_mg
    if balance.rest_mg is not None and told_mg != balance.before_mg:
        yield (
            f"Of {format_mass(balance.before_mg)} before filling lot {lot.code}"
            f" {format_mass(told_mg)} are told of."
        )


def sum_of(rows: QuerySet[Any], group: str, field: str) -> Coalesce:
    """Return a subquery that adds up a field of the rows of one record, 0 if none.

    Subqueries, because two joined sums in one query would multiply each other.
    """
    total = rows.order_by().values(group).annotate(total=Sum(field)).values("total")
    return Coalesce(Subquery(total, output_field=BigIntegerField()), 0)


def _unfitting_faults() -> Iterator[str]:
    """Yield a fault where a recall of a lot would miss what a device says it went into.

    Of entries that nobody settled, and of those explained to be in there, or perhaps. A
    batch that the lot itself was made of is no place for it: that would be a loop.
    """
    edge = Input.objects.filter(batch=OuterRef("batch_id"), source=OuterRef("stock_id"))
    rows = Discrepancy.objects.filter(stock__isnull=False).exclude(Exists(edge))
    rows = rows.select_related("batch__stock", "stock", "end").order_by("pk")
    for row in rows.iterator():
        if not discrepancies.went_in(row, getattr(row, "end", None)):
            continue
        if row.stock_id not in trace.downstream_ids(row.batch_id):
            yield (
                f"{discrepancies.said(row)} That is kept as discrepancy {row.pk}, which"
                " the genealogy does not know: a recall would miss the batch."
            )


def _draw_faults() -> Iterator[str]:
    drawn = sum_of(
        StockMovement.objects.filter(
            stock=OuterRef("pk"), kind__in=[Kind.DRAW, Kind.DRAW_BACK, Kind.OWN_USE]
        ),
        "stock",
        "amount_mg",
    )
    charged = sum_of(
        Charge.objects.current().filter(source=OuterRef("pk")), "source", "net_mg"
    )
    mixed = sum_of(
        SprayMix.objects.current().filter(source=OuterRef("pk")), "source", "mass_mg"
    )
    stocks = (
        Stock.objects.annotate(drawn=drawn, charged=charged, mixed=mixed)
        .exclude(drawn=-F("charged") - F("mixed"))
        .order_by("pk")
    )
    for stock in stocks.iterator():
        by_mixes = f" and {format_mass(stock.mixed)} by mixes" if stock.mixed else ""
        yield (
            f"{format_mass(-stock.drawn)} was drawn from {stock.code} by the ledger,"
            f" but {format_mass(stock.charged)} by the charges{by_mixes}."
        )
