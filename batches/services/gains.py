"""What potash gained on the scale since it is known, one weighing after another."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from decimal import Decimal

from django.db.models import QuerySet, Sum

from batches.chemistry.ageing import usable_after, weigh_against_book
from batches.models import ContainerWeighing
from producer.models import RawLot, Stock, StockMovement
from producer.quantities import grams
from producer.services.container_books import containers_of

# How the sentence of a container weighing begins that found potash heavier.
HOLD_WORDS = "Hold and retest"

# Weighings that found potash heavier, by container; None is all of them together.
Gains = dict[int | None, list[ContainerWeighing]]


def gains_of(
    lot: RawLot,
    asked: Callable[[], Callable[[ContainerWeighing], bool]],
    *,
    at: datetime.datetime | None = None,
) -> Gains:
    """Return, by container, the weighings that found potash heavier and count still.

    ``asked`` is called if there are any; what it returns says which still count. None
    stands for all containers together. Of those beside one book the newest counts, for
    each was held against all of the gain; a stock-take takes a gain into the book, so
    one from after it comes on top. With ``at`` by what had been entered by then.
    """
    rows = list(
        ContainerWeighing.objects.current(at=at)
        .filter(stock_id=lot.pk, sentence__startswith=HOLD_WORDS)
        .order_by("observed_at", "pk")
    )
    if not rows:
        return {}
    counts_still = asked()
    counts = list(
        _moved(lot, at)
        .filter(kind=StockMovement.Kind.ADJUSTMENT)
        .values_list("container_id", "observed_at")
    )
    beside: dict[int | None, dict[int, ContainerWeighing]] = {}
    for row in rows:
        if not counts_still(row):
            continue
        book = sum(
            1
            for container_id, counted_at in counts
            if row.container_id in {None, container_id}
            and counted_at <= row.observed_at
        )
        beside.setdefault(row.container_id, {})[book] = row
    return {key: list(by_book.values()) for key, by_book in beside.items()}


def chains_of(
    lot: RawLot, gains: Gains, *, at: datetime.datetime | None = None
) -> list[list[ContainerWeighing]]:
    """Return one after another what the potash of each container gained.

    An empty list among them stands for potash that gained nothing. A container that
    is empty by the book counts no more; with ``at`` by the book as it was then.
    """
    together = gains.get(None, [])
    own = {key: rows for key, rows in gains.items() if key is not None}
    if not own:
        return [together]
    books = {key: mg for key, mg in _books(lot, at).items() if key in own and mg > 0}
    chains = [together + rows for key, rows in own.items() if key in books]
    if _on_hand(lot, at) > sum(books.values()) or not chains:
        chains.append(together)
    return chains


def _moved(lot: RawLot, at: datetime.datetime | None) -> QuerySet[StockMovement]:
    rows = StockMovement.objects.filter(stock_id=lot.pk)
    return rows if at is None else rows.filter(entered_at__lte=at)


def _books(lot: RawLot, at: datetime.datetime | None) -> dict[int, int]:
    """Return what is in each container by the book, in milligrams, now or then."""
    if at is None:
        return {row.pk: row.book_mg for row in containers_of(lot)}
    rows = _moved(lot, at).filter(container__isnull=False).order_by()
    sums = rows.values_list("container_id").annotate(total=Sum("amount_mg"))
    return {key: total for key, total in sums if key is not None}


def _on_hand(lot: RawLot, at: datetime.datetime | None) -> int:
    if at is None:
        return Stock.objects.values_list("on_hand_mg", flat=True).get(pk=lot.pk)
    return _moved(lot, at).aggregate(total=Sum("amount_mg"))["total"] or 0


def after(
    fraction: Decimal, chain: list[ContainerWeighing]
) -> tuple[Decimal, Decimal, Decimal]:
    """Return least and most usable after these gains, and how many times as heavy."""
    low, high, times = fraction, fraction, Decimal(1)
    for row in chain:
        uptake = weigh_against_book(
            net_g=grams(row.net_mg),
            book_g=grams(row.book_mg),
            expanded_uncertainty_g=Decimal(0),
        )
        if low:  # all of it may be carbonate already
            low, _ = usable_after(usable_fraction=low, uptake=uptake)
        _, high = usable_after(usable_fraction=high, uptake=uptake)
        times *= uptake.net_g / uptake.book_g
    return low, high, times
