"""What was weighed or counted of a lot after a charge, beside a correction of it.

A container that agreed with its book a week later speaks against a correction by which
it would not have agreed. Nothing is decided here: it is quoted before a charge is moved
to another lot, and whoever moves it says that it was that lot for certain all the same.
"""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterable, Iterator

from django.db.models import Q, Sum
from django.utils import timezone

from batches.models import Charge, ContainerWeighing
from batches.services.container_words import first_words
from batches.services.cooking import drawing
from producer.models import StockCount, StockMovement
from producer.quantities import format_mass


@dataclasses.dataclass(frozen=True, kw_only=True)
class Found:
    """What a place was found to hold: a container, what is in none, or all of a lot.

    ``book_mg`` is what the book said by then, ``doubt_mg`` what the scale cannot tell
    (U, k = 2); of a count nobody knows the scale, so it is 0.
    """

    code: str
    container_id: int | None
    is_all_of_it: bool
    mass_mg: int
    book_mg: int
    at: datetime.datetime
    entered_at: datetime.datetime
    doubt_mg: int = 0
    is_count: bool = False

    def concerns(self, container_id: int | None) -> bool:
        """Say whether what is drawn from there was drawn from this place."""
        return self.is_all_of_it or self.container_id == container_id


def speaks_against(row: Charge) -> Iterator[str]:
    """Yield what was found of the two lots after a charge and would not fit any more.

    ``row`` is the corrected charge, not saved yet. What fits better than before speaks
    for it and is not told, nor is what fits as it did.
    """
    old, *_ = chain = drawing.chain_of(row)[-2::-1]  # the newest first, without row
    books = drawing.set_right_for(old)
    for stock_id, word in ((row.source_id, "with"), (old.source_id, "without")):
        for found in _until_counted(stock_id, row):
            by_then = [one for one in chain if one.entered_at <= found.entered_at]
            added = [one for one in books if one.entered_at <= found.entered_at]
            # The book of then, as if nothing of this charge had ever been in it.
            clean = found.book_mg + _taken(found, stock_id, by_then[:1], added)
            was = clean - _taken(found, stock_id, [old], books)
            now = clean - _taken(found, stock_id, [row], ()) + _to_add(stock_id, row)
            off, off_now = abs(found.mass_mg - was), abs(found.mass_mg - now)
            if off_now > max(off, found.doubt_mg):
                yield _sentence(found, was, now, word)


def _taken(
    found: Found,
    stock_id: int,
    charges: Iterable[Charge],
    added: Iterable[StockMovement],
) -> int:
    """Return what charges took out of a place, less what was added to it for them."""
    out = sum(
        one.net_mg
        for one in charges
        if one.source_id == stock_id and found.concerns(one.container_id)
    )
    return out - sum(
        one.amount_mg
        for one in added
        if one.stock_id == stock_id and found.concerns(one.container_id)
    )


def _to_add(stock_id: int, row: Charge) -> int:
    return drawing.lacking_mg(row) if row.source_id == stock_id else 0


def _until_counted(stock_id: int, row: Charge) -> Iterator[Found]:
    """Yield what was found of a lot after a charge, up to the first count.

    A count sets the book anew: what came later says nothing of what was before it.
    """
    chain = drawing.chain_of(row)
    places = {one.container_id for one in chain if one.source_id == stock_id}
    every = [*_weighed(stock_id, row.observed_at), *_counted(stock_id, row.observed_at)]
    for found in sorted(every, key=lambda one: (one.at, one.entered_at)):
        if any(map(found.concerns, places)):
            yield found
            if found.is_count:
                return


def _weighed(stock_id: int, since: datetime.datetime) -> Iterator[Found]:
    """Yield the weighings of containers, but those whose tare came from the book."""
    rows = (
        ContainerWeighing.objects.current()
        .filter(stock_id=stock_id, observed_at__gt=since)
        .select_related("stock", "container__lot__stock", "scale")
    )
    tares: dict[int | None, int] = {}
    for row in rows.order_by("observed_at", "pk"):
        if row.sentence == first_words(row):
            tares[row.container_id] = row.tare_mg
        if tares.get(row.container_id) == row.tare_mg:
            continue
        yield Found(
            code=row.container.code if row.container else row.stock.code,
            container_id=row.container_id,
            is_all_of_it=row.container is None,
            mass_mg=row.net_mg,
            book_mg=row.book_mg,
            doubt_mg=drawing.doubt_mg(row.scale),
            at=row.observed_at,
            entered_at=row.entered_at,
        )


def _counted(stock_id: int, since: datetime.datetime) -> Iterator[Found]:
    counts = StockCount.objects.filter(stock_id=stock_id, observed_at__gt=since)
    for row in counts.select_related("stock", "container__lot__stock"):
        yield Found(
            code=row.container.code if row.container else row.stock.code,
            container_id=row.container_id,
            is_all_of_it=False,
            mass_mg=row.counted_mg,
            book_mg=row.book_mg,
            at=row.observed_at,
            entered_at=row.entered_at,
            is_count=True,
        )
    alone = StockMovement.objects.filter(
        stock_id=stock_id,
        observed_at__gt=since,
        kind=StockMovement.Kind.ADJUSTMENT,
        purpose="",  # what names a batch was set right for it, and nobody counted
        counts=None,
    )
    for one in alone.select_related("stock", "container__lot__stock"):
        after_mg = _book_after(one)
        yield Found(
            code=one.container.code if one.container else one.stock.code,
            container_id=one.container_id,
            is_all_of_it=one.container is None,
            mass_mg=after_mg,
            book_mg=after_mg - one.amount_mg,
            at=one.observed_at,
            entered_at=one.entered_at,
            is_count=True,
        )


def _book_after(one: StockMovement) -> int:
    if one.container is None:
        return one.balance_mg
    until = Q(container=one.container_id, pk__lte=one.pk)
    found: int = StockMovement.objects.filter(until).aggregate(mg=Sum("amount_mg"))[
        "mg"
    ]
    return found


def _sentence(found: Found, was_mg: int, now_mg: int, word: str) -> str:
    """Return what was found, and what the corrected book says beside it."""
    day = timezone.localtime(found.at)
    done = "counted" if found.is_count else "weighed"
    said = (
        f"{found.code} was {done} after it, {format_mass(found.mass_mg)} on"
        f" {day.day} {day:%b %Y},"
    )
    if abs(found.mass_mg - was_mg) <= found.doubt_mg:
        return f"{said} which agreed with its book: {word} this charge it would not."
    return (
        f"{said} beside {format_mass(was_mg)} in its book: {word} this charge that"
        f" would be {format_mass(now_mg)}."
    )


@dataclasses.dataclass(frozen=True, kw_only=True)
class ToCount:
    """A book that corrections raised, or lowered again, and nobody counted since."""

    code: str
    changed_mg: int
    batches: tuple[str, ...]

    @property
    def taken_mg(self) -> int:
        """What was taken out of the book, where it was lowered."""
        return -self.changed_mg


def to_be_counted(stock_id: int) -> list[ToCount]:
    """Return what of a lot is to be counted, because corrections changed its book.

    A book that is as it was again needs no count, unless one came in between.
    """
    changes = StockMovement.objects.filter(
        stock_id=stock_id,
        kind=StockMovement.Kind.ADJUSTMENT,
        reason__contains=drawing.BY_A_CORRECTION,
    ).exclude(purpose="")
    by_place: dict[int | None, list[StockMovement]] = {}
    for one in changes.select_related("stock", "container__lot__stock").order_by("pk"):
        by_place.setdefault(one.container_id, []).append(one)
    found = []
    for container_id, rows in by_place.items():
        counted = _last_count(stock_id, container_id)
        since = [one for one in rows if counted is None or one.entered_at > counted]
        changed_mg = sum(one.amount_mg for one in since)
        if changed_mg:
            place = rows[0].container or rows[0].stock
            found.append(
                ToCount(
                    code=place.code,
                    changed_mg=changed_mg,
                    batches=tuple(dict.fromkeys(one.purpose for one in since)),
                )
            )
    return found


def _last_count(stock_id: int, container_id: int | None) -> datetime.datetime | None:
    """Return when a place was last counted, by when that was entered."""
    place = {"stock_id": stock_id, "container_id": container_id}
    counts = StockCount.objects.filter(**place)
    alone = StockMovement.objects.filter(
        kind=StockMovement.Kind.ADJUSTMENT, purpose="", **place
    )
    times = [
        at
        for rows in (counts, alone)
        for at in rows.order_by("-entered_at").values_list("entered_at", flat=True)[:1]
    ]
    return max(times, default=None)
