"""What is in the store of each material, and how long it lasts."""

from __future__ import annotations

import dataclasses
import datetime
import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction

from django.db.models import Min, Sum
from django.utils import timezone

from batches.cover import LEAST_HISTORY, Cover, Kept, cover, days_counted
from batches.services.proposing import reserved_mg
from producer.models import Material, Premises, RawLot, StockMovement
from producer.services.checks import local_day

DRAWS = (StockMovement.Kind.DRAW, StockMovement.Kind.DRAW_BACK)


@dataclasses.dataclass(frozen=True, kw_only=True)
class InStore:
    """A material in the store; masses in milligrams.

    ``lots`` are those with something left, first expired first, the usable in front.
    ``usable_mg`` is released and in date, ``waiting_mg`` held or on hold,
    ``out_of_use_mg`` rejected, expired or due for retest. ``window`` is over how many
    days the use was counted. ``after_meant`` is how long it lasts when the open batches
    have taken what they mean to take.
    """

    material: Material
    lots: Sequence[RawLot]
    on_hand_mg: int
    usable_mg: int
    waiting_mg: int
    out_of_use_mg: int
    reserved_mg: int
    window: int
    cover: Cover
    after_meant: Cover
    today: datetime.date

    @property
    def next_last_day(self) -> datetime.date | None:
        """The next day on which something usable is used for the last time."""
        return min(
            (
                day
                for lot in self.lots
                if _is_usable(lot, self.today) and (day := last_day(lot)) is not None
            ),
            default=None,
        )

    @property
    def next_or_never(self) -> datetime.date:
        """The same to order by: what has no last day comes behind."""
        return self.next_last_day or datetime.date.max

    @property
    def days(self) -> Fraction | None:
        """Days of cover; None where there is no forecast."""
        return None if self.is_too_new else self.cover.days

    @property
    def days_after_meant(self) -> Fraction | None:
        """Days of cover after what is meant for open batches; None without either."""
        if self.is_too_new or not self.reserved_mg:
            return None
        return self.after_meant.days

    @property
    def is_too_new(self) -> bool:
        """Say whether the history is too short to tell how long what is left lasts."""
        return self.window < LEAST_HISTORY and self.usable_mg > 0

    @property
    def lasts(self) -> Fraction | float:
        """The same to order by: what nobody uses lasts longest."""
        return math.inf if self.days is None else self.days


def last_day(lot: RawLot) -> datetime.date | None:
    """Return the last day on which a lot may be used: expiry or retest, the earlier."""
    return lot.last_day


def cover_of(material: Material, today: datetime.date | None = None) -> InStore:
    """Return what is in the store of one material, and how long it lasts."""
    return _in_store([material], today or local_day(timezone.now()))[0]


def cover_all(today: datetime.date | None = None) -> list[InStore]:
    """Return the same of every material that ever came, by name; few queries for all.

    What has run out stays in the list: that it is missing is what one wants to see.
    """
    came = Material.objects.filter(lots__isnull=False).distinct().order_by("name")
    return _in_store(list(came), today or local_day(timezone.now()))


def _in_store(materials: Sequence[Material], today: datetime.date) -> list[InStore]:
    lots: dict[int, list[RawLot]] = defaultdict(list)
    rows = RawLot.objects.listed().filter(
        material__in=materials, stock__on_hand_mg__gt=0
    )
    for lot in sorted(rows.order_by("received_on", "pk"), key=_first_expired):
        lots[lot.material_id].append(lot)
    first = dict(
        RawLot.objects.filter(material__in=materials)
        .order_by()
        .values_list("material_id")
        .annotate(Min("received_on"))
    )
    windows = {pk: days_counted(min(day, today), today) for pk, day in first.items()}
    used = _used(windows, today)
    reserved = reserved_mg(lot.stock for of_one in lots.values() for lot in of_one)
    return [
        _of_one(
            one,
            lots[one.pk],
            used_mg=used.get(one.pk, 0),
            window=windows.get(one.pk, 1),
            reserved=reserved,
            today=today,
        )
        for one in materials
    ]


def _of_one(
    material: Material,
    lots: Sequence[RawLot],
    *,
    used_mg: int,
    window: int,
    reserved: Mapping[int, int],
    today: datetime.date,
) -> InStore:
    usable = [lot for lot in lots if _is_usable(lot, today)]
    waiting = [lot for lot in lots if lot.status in _WAITING]

    def lasting(taken: Mapping[int, int]) -> Cover:
        return cover(
            [
                Kept(max(lot.stock.on_hand_mg - taken.get(lot.pk, 0), 0), last_day(lot))
                for lot in usable
            ],
            used_mg=used_mg,
            days=window,
            today=today,
        )

    return InStore(
        material=material,
        lots=[*usable, *(lot for lot in lots if lot not in usable)],
        on_hand_mg=_sum(lots),
        usable_mg=_sum(usable),
        waiting_mg=_sum(waiting),
        out_of_use_mg=_sum(lots) - _sum(usable) - _sum(waiting),
        reserved_mg=sum(reserved.get(lot.pk, 0) for lot in lots),
        window=window,
        cover=lasting({}),
        after_meant=lasting(reserved),
        today=today,
    )


_WAITING = (RawLot.Status.QUARANTINE, RawLot.Status.ON_HOLD)


def _is_usable(lot: RawLot, today: datetime.date) -> bool:
    return (
        lot.status == RawLot.Status.RELEASED
        and not lot.is_expired(today)
        and not lot.is_retest_due(today)
    )


def _sum(lots: Iterable[RawLot]) -> int:
    return sum(lot.stock.on_hand_mg for lot in lots)


def _first_expired(lot: RawLot) -> tuple[datetime.date, datetime.date, int]:
    return (last_day(lot) or datetime.date.max, lot.received_on, lot.pk)


def _used(windows: Mapping[int, int], today: datetime.date) -> dict[int, int]:
    """Return, by material, what was drawn into batches on the days that count.

    One query: a material of which less than the whole window is counted had nothing
    to draw from before.
    """
    premises = Premises.objects.first()
    zone = premises.zone if premises else datetime.UTC
    begins = today - datetime.timedelta(days=max(windows.values(), default=1) - 1)
    ends = today + datetime.timedelta(days=1)
    midnight = datetime.time.min
    rows = (
        StockMovement.objects.filter(
            kind__in=DRAWS,
            stock__lot__material__in=list(windows),
            observed_at__gte=datetime.datetime.combine(begins, midnight, zone),
            observed_at__lt=datetime.datetime.combine(ends, midnight, zone),
        )
        .order_by()
        .values_list("stock__lot__material_id")
        .annotate(Sum("amount_mg"))
    )
    return {pk: -amount for pk, amount in rows}
