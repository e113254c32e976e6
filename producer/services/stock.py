"""The ledger's only writers. Callers hold the transaction and write the journal."""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Iterable

from django.db import models, transaction
from django.utils import timezone

from producer import journal
from producer.errors import Conflict, NotEnough, Refusal
from producer.models import Container, RawLot, Right, Stock, StockMovement, User
from producer.quantities import format_mass
from producer.services import container_books
from producer.services.checks import need_reason, plausible_time, require
from producer.services.lot_holds import hold_if_gained, locked

Kind = StockMovement.Kind


def move(
    *,
    by: User,
    stock: Stock,
    kind: StockMovement.Kind,
    amount_mg: int,
    observed_at: datetime.datetime,
    purpose: str = "",
    reason: str = "",
    container: Container | None = None,
) -> StockMovement:
    """Add a movement and keep the balance, or raise :class:`NotEnough`.

    The balance changes in one conditional UPDATE: of two people drawing the last
    grams at once, one gets them and the other is told. Must run in a transaction.
    The container follows from the lot where it was not said, see
    :func:`container_books.bearing`.
    """
    changed = Stock.objects.filter(pk=stock.pk, on_hand_mg__gte=-amount_mg).update(
        on_hand_mg=models.F("on_hand_mg") + amount_mg
    )
    balance = Stock.objects.values_list("on_hand_mg", flat=True).get(pk=stock.pk)
    if not changed:
        last = stock.movements.order_by("-pk").select_related("entered_by__person")[0]
        raise NotEnough(
            f"{stock.code} holds {format_mass(balance)}, so {format_mass(-amount_mg)}"
            f" cannot be taken from it. Last movement: {last.get_kind_display()},"
            f" {format_mass(abs(last.amount_mg))}, by {last.entered_by.person.name}."
            " Weigh the container again, or take the rest from another lot."
        )
    stock.on_hand_mg = balance
    container = container_books.bearing(
        stock=stock,
        container=container,
        kind=kind,
        amount_mg=amount_mg,
        observed_at=observed_at,
    )
    movement = StockMovement(
        stock=stock,
        kind=kind,
        amount_mg=amount_mg,
        balance_mg=balance,
        observed_at=observed_at,
        entered_by=by,
        purpose=purpose,
        reason=reason,
        container=container,
    )
    movement.full_clean()
    movement.save(force_insert=True)
    return movement


@transaction.atomic
def adjust(
    *,
    by: User,
    lot: RawLot,
    counted_mg: int,
    reason: str,
    container: Container | None = None,
    observed_at: datetime.datetime | None = None,
    after_movement: int | None = None,
    submission: uuid.UUID | None = None,
) -> StockMovement:
    """Set the book to what was counted, with a reason; refuse when they agree.

    Of one container, or of the lot as a whole; what then differs is outside the
    containers. Released potash that is more than the book says goes on hold.
    ``after_movement`` is :func:`last_movement` when counting began, see
    :func:`unmoved`.
    """
    require(by, Right.MAKER)
    reason = need_reason(reason)
    stock = locked([lot])[lot.pk]
    unmoved(
        [stock],
        observed_at,
        after_movement,
        then="Open this page again and count it again.",
    )
    book = container_books.book_of(container) if container else stock.on_hand_mg
    difference = counted_mg - book
    if counted_mg < 0:
        raise Refusal("A count cannot be below zero.", field="counted_mg")
    if not difference:
        raise Refusal(
            "Book and count agree; there is nothing to adjust.", field="counted_mg"
        )
    before = stock.on_hand_mg
    movement = move(
        by=by,
        stock=stock,
        kind=Kind.ADJUSTMENT,
        amount_mg=difference,
        observed_at=plausible_time(observed_at or timezone.now()),
        reason=reason,
        container=container,
    )
    held = hold_if_gained(
        by,
        lot,
        code=container.code if container else stock.code,
        book_mg=book,
        counted_mg=counted_mg,
    )
    journal.write(
        by=by,
        act="stock adjusted",
        subject=lot,
        label=stock.code,
        before={"on_hand_mg": before},
        after={"on_hand_mg": stock.on_hand_mg, **_of_which(movement), **held},
        reason=reason,
        submission=submission,
    )
    return movement


@transaction.atomic
def dispose(
    *,
    by: User,
    lot: RawLot,
    amount_mg: int,
    reason: str,
    container: Container | None = None,
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> StockMovement:
    """Take an amount of a lot out of stock for good, with where it went as reason.

    Out of one container, or out of what is in none.
    """
    require(by, Right.MAKER)
    reason = need_reason(reason)
    if amount_mg <= 0:
        raise Refusal("Write how much was disposed of.", field="amount_mg")
    stock = Stock.objects.get(pk=lot.pk)
    before = stock.on_hand_mg
    movement = move(
        by=by,
        stock=stock,
        kind=Kind.DISPOSAL,
        amount_mg=-amount_mg,
        observed_at=plausible_time(observed_at or timezone.now()),
        reason=reason,
        container=container,
    )
    journal.write(
        by=by,
        act="stock disposed of",
        subject=lot,
        label=stock.code,
        before={"on_hand_mg": before},
        after={"on_hand_mg": stock.on_hand_mg, **_of_which(movement)},
        reason=reason,
        submission=submission,
    )
    return movement


def last_movement() -> int:
    """Return the number of the newest movement: what a count begins after."""
    newest: int | None = StockMovement.objects.aggregate(n=models.Max("pk"))["n"]
    return newest or 0


def unmoved(
    stocks: Iterable[Stock],
    observed_at: datetime.datetime | None,
    after_movement: int | None,
    *,
    then: str,
) -> None:
    """Refuse a count of what moved since it was counted, and say what to do ``then``.

    That is after the movement ``after_movement``, or after ``observed_at``; neither
    asks nothing.
    """
    since = models.Q(pk__in=[])
    if observed_at is not None:
        since |= models.Q(observed_at__gt=observed_at)
    if after_movement is not None:
        since |= models.Q(pk__gt=after_movement)
    moved = (
        StockMovement.objects.filter(since, stock__in=list(stocks))
        .select_related("stock", "entered_by__person")
        .order_by("-pk")
        .first()
    )
    if moved is not None:
        raise Conflict(
            f"{moved.stock.code} has moved since it was counted"
            f" ({moved.get_kind_display()}, {format_mass(abs(moved.amount_mg))}, by"
            f" {moved.entered_by.person.name}). {then}"
        )


def _of_which(movement: StockMovement) -> dict[str, str]:
    """Return what the journal says of the container, if there is one."""
    return {"container": movement.container.code} if movement.container else {}
