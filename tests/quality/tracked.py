"""The graph of the book, from its tables: what a document read back has to equal."""

from __future__ import annotations

from collections.abc import Collection

from django.conf import settings
from django.db.models import Q

from batches.lifecycle import BottleStatus
from batches.models import (
    Bottle,
    BottleEvent,
    BulkWeighing,
    Discrepancy,
    FillingLot,
    Input,
)
from producer.models import Stock, StockMovement
from quality.epcis.names import Names
from quality.epcis.reading import Whereabouts

NAMES = Names(settings.PUBLIC_URL)
Edges = dict[tuple[str, str], int]


def stock_names() -> dict[int, str]:
    return {row.pk: NAMES.stock(row.kind, row.code) for row in Stock.objects.all()}


def edges_of(batches: Collection[int] | None = None) -> Edges:
    """Return what went into these batches, or all, by the edges of the trace.

    An edge of nought with no entry kept is a charge that was taken back. With one that
    was entered it is none either.
    """
    names = stock_names()
    kept = set(
        Discrepancy.objects.exclude(end__outcome="entered").values_list(
            "stock_id", "batch_id"
        )
    )
    rows = Input.objects.values_list("source_id", "batch_id", "mass_mg")
    return {
        (names[source], names[batch]): mass_mg
        for source, batch, mass_mg in rows
        if (batches is None or batch in batches)
        and (mass_mg or (source, batch) in kept)
    }


def fillings_of(batches: Collection[int] | None = None) -> Edges:
    """Return what went from these batches, or all, into filling lots."""
    names = stock_names()
    return {
        (names[lot.batch_id], NAMES.filling_lot(lot.code)): lot.filled_mg + lot.loss_mg
        for lot in FillingLot.objects.all()
        if batches is None or lot.batch_id in batches
    }


def bottles_of(batches: Collection[int] | None = None) -> dict[str, Whereabouts]:
    """Return where each bottle of these batches, or of all, is now."""
    rows = Bottle.objects.select_related("filling_lot")
    return {
        NAMES.bottle(row.code): Whereabouts(
            filling_lot=NAMES.filling_lot(row.filling_lot.code),
            state=row.status,
            holder=(
                NAMES.consignee(row.consignee_id)
                if row.status == BottleStatus.DISPATCHED and row.consignee_id
                else ""
            ),
            place=NAMES.place(row.place_id) if row.place_id else "",
        )
        for row in rows
        if batches is None or row.filling_lot.batch_id in batches
    }


def made_of(batches: Collection[int] | None = None) -> dict[str, int]:
    names = stock_names()
    rows = BulkWeighing.objects.current().values_list("batch_id", "net_mg")
    return {names[pk]: mg for pk, mg in rows if batches is None or pk in batches}


def moved(
    kind: StockMovement.Kind, stocks: Collection[int] | None = None
) -> dict[str, int]:
    names = stock_names()
    sums: dict[str, int] = {}
    for row in StockMovement.objects.filter(kind=kind):
        if stocks is None or row.stock_id in stocks:
            name = names[row.stock_id]
            sums[name] = sums.get(name, 0) + abs(row.amount_mg)
    return sums


def corrected_moves() -> int:
    """Return how many dispatches and destructions of the book never were."""
    return BottleEvent.objects.filter(
        Q(dispatch__taken_back__isnull=False, new="dispatched")
        | Q(taken_back__isnull=False)
    ).count()
