"""What puts a released lot on hold without anybody deciding it; a reviewer lifts it."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from django.utils import timezone

from producer.models import LotStatusChange, Material, RawLot, Stock, User
from producer.quantities import format_mass

Status = RawLot.Status
# Potash counted this many percent above its book has drawn water or carbon dioxide,
# or the book is wrong; the same as for one that is weighed. Ours; no source.
MOST_GAIN = Decimal("0.3")
PERCENT = 100


def locked(lots: Iterable[RawLot]) -> dict[int, Stock]:
    """Return the stocks of these lots, with both locked until the transaction ends.

    First statement of whatever changes what a lot holds and may put it on hold. The
    lots before their stocks, each by number, as a charge locks them: who takes them in
    another order waits for one that waits for him.
    """
    ids = sorted({lot.pk for lot in lots})
    rows = RawLot.objects.select_for_update(of=("self",)).filter(pk__in=ids)
    list(rows.order_by("pk"))
    stocks = Stock.objects.select_for_update().filter(pk__in=ids)
    return {row.pk: row for row in stocks.order_by("pk")}


def hold_if_released(by: User, lot: RawLot, reason: str) -> dict[str, str]:
    """Put a lot on hold if it is released; return what the journal says of that.

    Within the transaction of the act that found the reason. A reviewer lifts it.
    """
    released = RawLot.objects.filter(pk=lot.pk, status=Status.RELEASED)
    if not released.update(status=Status.ON_HOLD):
        return {}
    lot.status = Status.ON_HOLD
    LotStatusChange.objects.create(
        lot=lot,
        old=Status.RELEASED,
        new=Status.ON_HOLD,
        reason=reason,
        observed_at=timezone.now(),
        entered_by=by,
    )
    return {"status": Status.ON_HOLD}


def hold_if_gained(
    by: User, lot: RawLot, *, code: str, book_mg: int, counted_mg: int
) -> dict[str, str]:
    """Put released potash on hold of which more was counted than the book says.

    ``code`` is of the lot or of the container that was counted. A count must not take
    in silently what a weighing beside the book would have told.
    """
    gain = counted_mg - book_mg
    is_gain = Decimal(gain) * PERCENT > MOST_GAIN * max(book_mg, 0)
    if lot.material.kind != Material.Kind.POTASH or not is_gain:
        return {}
    return hold_if_released(
        by,
        lot,
        f"{code}: {format_mass(gain)} more was counted than the book said. Potash"
        " takes water and carbon dioxide from the air: titrate it before it is used.",
    )
