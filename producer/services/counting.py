"""Stock-takes: what was counted, all lots and containers in one act."""

from __future__ import annotations

import dataclasses
import datetime
import uuid
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any, cast

from django.db import transaction
from django.utils import timezone

from producer import journal
from producer.errors import Refusal
from producer.models import (
    Container,
    RawLot,
    Right,
    Stock,
    StockCount,
    StockMovement,
    StockTake,
    User,
)
from producer.quantities import format_mass
from producer.services import stock
from producer.services.checks import plausible_time, require
from producer.services.container_books import containers_of, outside_mg
from producer.services.lot_holds import hold_if_gained, locked

if TYPE_CHECKING:
    from producer.services.container_books import WithBook


@dataclasses.dataclass(frozen=True, kw_only=True)
class Counted:
    """What was found in one container of a lot, or of the lot outside all of them.

    For a lot without containers the latter is all of it. ``reason`` is why count and
    book differ.
    """

    lot: RawLot
    container: Container | None = None
    counted_mg: int
    reason: str = ""

    @property
    def code(self) -> str:
        """What is written on it."""
        return self.container.code if self.container else self.lot.code


@dataclasses.dataclass(frozen=True)
class Place:
    """Something to be counted: a container, or a lot without or outside containers."""

    lot: RawLot
    container: Container | None
    book_mg: int
    is_outside: bool

    @property
    def code(self) -> str:
        """What is written on it."""
        return self.container.code if self.container else self.lot.code

    @property
    def key(self) -> str:
        """Its name within a form: the numbers of lot and container."""
        return f"{self.lot.pk}_{self.container.pk if self.container else 0}"

    @property
    def place(self) -> str:
        """Where it is kept."""
        return (self.container.place if self.container else "") or self.lot.place


def to_count(*, with_empty: bool = False, of: str = "") -> list[Place]:
    """Return what there is to count, by material and code; or ``of`` one lot only.

    All lots and containers that have something by the book; ``with_empty`` also those
    that should have nothing.
    """
    lots = RawLot.objects.listed().order_by("material__name", "stock__code")
    if of:
        lots = lots.filter(stock__code=of)
    if not with_empty:
        lots = lots.filter(stock__on_hand_mg__gt=0)
    by_lot: dict[int, list[WithBook]] = {}
    rows = Container.objects.with_book().filter(lot__in=lots)
    for row in cast("list[WithBook]", list(rows.order_by("lot_id", "number"))):
        by_lot.setdefault(row.lot_id, []).append(row)
    return [
        place for lot in lots for place in _places(lot, by_lot, with_empty=with_empty)
    ]


@transaction.atomic
def take_stock(
    *,
    by: User,
    counts: Sequence[Counted],
    note: str = "",
    observed_at: datetime.datetime | None = None,
    after_movement: int | None = None,
    submission: uuid.UUID | None = None,
) -> StockTake:
    """Set the book to what was counted, and keep every count, also those that agree.

    ``after_movement`` is ``stock.last_movement`` when counting began: what moved since
    then, or after ``observed_at``, is to be counted again. Released potash of which
    there is more than the book says goes on hold, as when its container is weighed.
    """
    require(by, Right.MAKER)
    journal.in_line()
    if not counts:
        raise Refusal("Nothing was counted yet. Write at least one count.")
    if len({(one.lot.pk, one.container) for one in counts}) < len(counts):
        raise Refusal("Something was counted twice. Write each count once.")
    take = StockTake(
        note=note.strip(),
        observed_at=plausible_time(observed_at or timezone.now()),
        entered_by=by,
    )
    take.full_clean()
    take.save(force_insert=True)
    stocks = locked(one.lot for one in counts)
    stock.unmoved(
        stocks.values(),
        observed_at,
        after_movement,
        then="Leave it empty here, record the rest, and count it again.",
    )
    rows = []
    held: dict[int, RawLot] = {}
    for one in counts:
        row = _counted(take, one, stocks[one.lot.pk])
        rows.append(row)
        if hold_if_gained(
            by,
            one.lot,
            code=one.code,
            book_mg=row.book_mg,
            counted_mg=row.counted_mg,
        ):
            held[one.lot.pk] = one.lot
    journal.write(
        by=by,
        act="stock taken",
        subject=take,
        label=f"stock-take {take.pk}",
        after=_facts(counts, rows, held.values()),
        reason=take.note,
        submission=submission,
    )
    return take


def _places(
    lot: RawLot, by_lot: dict[int, list[WithBook]], *, with_empty: bool
) -> list[Place]:
    containers = by_lot.get(lot.pk, [])
    for one in containers:
        one.lot = lot
    places = [
        Place(lot, one, one.book_mg, is_outside=False)
        for one in containers
        if with_empty or one.book_mg
    ]
    outside = outside_mg(lot.stock, containers)
    if outside or with_empty or not containers:
        places.append(Place(lot, None, outside, is_outside=bool(containers)))
    return places


def _counted(take: StockTake, one: Counted, of: Stock) -> StockCount:
    """Save one count, with the adjustment it brings."""
    if one.counted_mg < 0:
        raise Refusal(f"{one.code}: a count cannot be below zero.")
    containers = containers_of(one.lot)
    if one.container is None:
        book = outside_mg(of, containers)
    else:
        books = {row.pk: row.book_mg for row in containers}
        if one.container.pk not in books:
            raise Refusal(f"{one.code} is no container of {of.code}.")
        book = books[one.container.pk]
    row = StockCount(
        take=take,
        stock=of,
        container=one.container,
        book_mg=book,
        counted_mg=one.counted_mg,
        observed_at=take.observed_at,
        entered_by=take.entered_by,
    )
    if one.counted_mg != book:
        row.reason = one.reason.strip()
        if not row.reason:
            raise Refusal(
                f"{one.code}: the book says {format_mass(book)},"
                f" {format_mass(one.counted_mg)} was counted. Say why they differ, or"
                " count again."
            )
        row.movement = stock.move(
            by=take.entered_by,
            stock=of,
            kind=StockMovement.Kind.ADJUSTMENT,
            amount_mg=one.counted_mg - book,
            observed_at=take.observed_at,
            reason=row.reason,
            container=one.container,
        )
    row.full_clean()
    row.save(force_insert=True)
    return row


def _facts(
    counts: Sequence[Counted], rows: Sequence[StockCount], held: Iterable[RawLot]
) -> dict[str, Any]:
    counted: dict[str, Any] = {
        one.code: {"book_mg": row.book_mg, "counted_mg": row.counted_mg}
        | ({"reason": row.reason} if row.reason else {})
        for one, row in zip(counts, rows, strict=True)
    }
    on_hold = sorted(lot.code for lot in held)
    return {"counts": counted} | ({"on hold": on_hold} if on_hold else {})
