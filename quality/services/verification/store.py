"""The store: containers beside their lots, counts beside what they moved."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import F, OuterRef, Q

from producer.models import Container, RawLot, StockCount, StockMovement
from producer.quantities import format_mass
from quality.services.verification.masses import sum_of


def count() -> int:
    """Return how many rows are looked at."""
    return Container.objects.count() + StockCount.objects.count()


def container_faults() -> Iterator[str]:
    """Yield a fault where containers hold what neither they nor their lot can hold."""
    book = F("filled_mg") + sum_of(
        StockMovement.objects.filter(container=OuterRef("pk")),
        "container",
        "amount_mg",
    )
    below = (
        Container.objects.annotate(book=book)
        .filter(book__lt=0)
        .order_by("pk")
        .values_list("lot__stock__code", "number", "book")
    )
    for code, number, mass in below.iterator():
        yield f"{code}/{number} holds {format_mass(mass)} by the book."
    strange = (
        StockMovement.objects.filter(container__isnull=False)
        .exclude(container__lot_id=F("stock_id"))
        .order_by("pk")
        .values_list(
            "pk", "stock__code", "container__lot__stock__code", "container__number"
        )
    )
    for pk, code, other, number in strange.iterator():
        yield (
            f"Movement {pk} of {code} names {other}/{number}, which is no container of"
            " it."
        )
    filled = sum_of(Container.objects.filter(lot=OuterRef("pk")), "lot", "filled_mg")
    moved = sum_of(
        StockMovement.objects.filter(container__lot=OuterRef("pk")),
        "container__lot",
        "amount_mg",
    )
    lots = (
        RawLot.objects.filter(containers__isnull=False)
        .annotate(together=filled + moved)
        .filter(stock__on_hand_mg__lt=F("together"))
        .distinct()
        .order_by("pk")
        .values_list("pk", "stock__code", "stock__on_hand_mg", "together")
    )
    for _, code, on_hand, together in lots.iterator():
        yield (
            f"{code} says {format_mass(on_hand)} is on hand, but its containers hold"
            f" {format_mass(together)} together."
        )


def count_faults() -> Iterator[str]:
    """Yield a fault where a count and the adjustment it brought do not agree."""
    agrees = Q(
        movement__kind=StockMovement.Kind.ADJUSTMENT,
        movement__stock_id=F("stock_id"),
        movement__amount_mg=F("counted_mg") - F("book_mg"),
    ) & (
        Q(movement__container_id=F("container_id"))
        | Q(movement__container__isnull=True, container__isnull=True)
    )
    rows = (
        StockCount.objects.filter(movement__isnull=False)
        .exclude(pk__in=StockCount.objects.filter(agrees).values("pk"))
        .order_by("pk")
        .values_list(
            "take_id",
            "stock__code",
            "counted_mg",
            "book_mg",
            "movement_id",
            "movement__amount_mg",
        )
    )
    for take, code, counted, said, movement, amount in rows.iterator():
        yield (
            f"Stock-take {take} counted {format_mass(counted)} of {code} where the book"
            f" said {format_mass(said)}, but movement {movement} adjusted it by"
            f" {format_mass(amount)} or somewhere else."
        )
    strange = StockCount.objects.filter(container__isnull=False).exclude(
        container__lot_id=F("stock_id")
    )
    for row in strange.select_related("stock").order_by("pk").iterator():
        yield (
            f"Stock-take {row.take_id} counted a container of {row.stock.code} that is"
            " of another lot."
        )
