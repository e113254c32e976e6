"""What is in each container by the book, and what a movement may do to it.

A movement of a lot either names one of its containers or concerns what is outside
them. No container goes below nothing, and the containers together never hold more
than the lot.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import TYPE_CHECKING, TypedDict, cast

from producer.errors import NotEnough, Refusal
from producer.models import Container, RawLot, Stock, StockMovement
from producer.quantities import format_mass

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

    class Book(TypedDict):
        """What ``with_book`` adds to a container."""

        book_mg: int

    WithBook = WithAnnotations[Container, Book]

Kind = StockMovement.Kind


def containers_of(lot: RawLot) -> list[WithBook]:
    """Return the containers of a lot in order, each with ``book_mg``."""
    return _of(lot.pk)


def book_of(container: Container) -> int:
    """Return what is in one container by the book, in milligrams."""
    row = Container.objects.with_book().get(pk=container.pk)
    return cast("WithBook", row).book_mg


def outside_mg(stock: Stock, containers: Sequence[WithBook]) -> int:
    """Return how much of a lot is in none of its containers, in milligrams."""
    return stock.on_hand_mg - sum(one.book_mg for one in containers)


def bearing(
    *,
    stock: Stock,
    container: Container | None,
    kind: StockMovement.Kind,
    amount_mg: int,
    observed_at: datetime.datetime,
) -> Container | None:
    """Return the container that a movement concerns, None for what is outside them.

    Called when the balance of ``stock`` has changed already: that is what two people
    who draw from one container at once wait for. What names no container comes from
    outside them; where too little is there, from the only container with something
    in it, and with several somebody must say which. The first draw opens a container.
    """
    if container is not None and container.lot_id != stock.pk:
        raise Refusal(
            f"{container.code} is no container of {stock.code}. Choose one of its own.",
            field="container",
        )
    if stock.kind != Stock.Kind.LOT or (container is None and amount_mg > 0):
        return None
    all_of_it = _of(stock.pk)
    if container is None:
        container = _not_named(stock, all_of_it, kind, amount_mg)
    if container is None:
        return None
    book = next(one.book_mg for one in all_of_it if one.pk == container.pk)
    if book + amount_mg < 0:
        raise NotEnough(
            f"{container.code} holds {format_mass(book)} by the book, so"
            f" {format_mass(-amount_mg)} cannot be taken from it. Look which container"
            " it was; or count this one first, if it holds more.",
            field="container",
        )
    if kind == Kind.DRAW and container.opened_at is None:
        container.opened_at = observed_at
        container.save(update_fields=["opened_at"])
    return container


def _of(lot_id: int) -> list[WithBook]:
    rows = (
        Container.objects.filter(lot_id=lot_id)
        .with_book()
        .select_related("lot__stock")
        .order_by("number")
    )
    return cast("list[WithBook]", list(rows))


def _not_named(
    stock: Stock,
    all_of_it: Sequence[WithBook],
    kind: StockMovement.Kind,
    amount_mg: int,
) -> Container | None:
    outside = outside_mg(stock, all_of_it)
    if outside >= 0:
        return None
    filled = [one for one in all_of_it if one.book_mg > 0]
    if len(filled) == 1 and kind != Kind.ADJUSTMENT:
        return filled[0]
    raise Refusal(
        f"{stock.code} is kept in containers, and outside them is"
        f" {format_mass(outside - amount_mg)}, so {format_mass(-amount_mg)} cannot be"
        " taken from there. Say which container it was.",
        field="container",
    )
