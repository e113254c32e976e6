"""What the store and its scale say of the lots in the batch, and what it cost."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import TYPE_CHECKING, cast

from batches import trace
from batches.models import Batch, ContainerWeighing
from batches.services.entries import Entries
from producer.models import Container, Person, Premises, StockCount, TareWeighing
from producer.money import format_money
from producer.services.safety import notes_on
from quality.services.export_tables.cells import HAND, WHEN, Row, Table, hand

if TYPE_CHECKING:
    from producer.services.container_books import WithBook


def _containers(batch: Batch) -> Iterator[Row]:
    rows = Container.objects.with_book().filter(lot__in=trace.upstream_ids(batch.pk))
    for row in rows.select_related("lot__stock").order_by("lot", "number"):
        yield (
            batch.number,
            row.lot.code,
            row.code,
            row.tare_mg,
            row.filled_mg,
            cast("WithBook", row).book_mg,
            row.place,
            row.opened_at,
            row.registered_at,
        )


CONTAINERS = Table(
    name="containers",
    about="the containers of the lots in the batch, at any depth, with what is in them"
    " by the book today",
    head=(
        *("batch", "lot", "container", "tare_mg", "filled_mg", "book_mg", "place"),
        *("first_opened_at", "registered_at"),
    ),
    rows=_containers,
)


def _container_weighings(batch: Batch) -> Iterator[Row]:
    rows = ContainerWeighing.objects.filter(stock__in=trace.upstream_ids(batch.pk))
    rows = rows.select_related(
        "stock", "container__lot__stock", "scale", "entered_by__person"
    )
    for row in rows.order_by("stock", "pk"):
        yield (
            batch.number,
            row.stock.code,
            row.container.code if row.container else "",
            row.scale.name,
            row.gross_mg,
            row.tare_mg,
            row.net_mg,
            row.book_mg,
            None if row.is_void else row.net_mg - row.book_mg,
            row.sentence,
            *hand(row),
        )


CONTAINER_WEIGHINGS = Table(
    name="container_weighings",
    about="containers of those lots weighed beside the book, one after another: what"
    " potash gained from the air",
    head=(
        *("batch", "lot", "container", "scale", "gross_mg", "tare_mg", "net_mg"),
        *("book_mg", "net_less_book_mg", "in_words", *HAND),
    ),
    rows=_container_weighings,
)


def _counts(batch: Batch) -> Iterator[Row]:
    rows = StockCount.objects.filter(stock__in=trace.upstream_ids(batch.pk))
    rows = rows.select_related(
        "take__entered_by__person", "stock", "container__lot__stock"
    )
    for row in rows.order_by("pk"):
        take = row.take
        yield (
            batch.number,
            take.pk,
            take.note,
            row.stock.code,
            row.container.code if row.container else "",
            row.book_mg,
            row.counted_mg,
            row.counted_mg - row.book_mg,
            row.reason,
            row.movement_id,
            take.observed_at,
            take.entered_at,
            take.entered_by.person.name,
        )


STOCK_COUNTS = Table(
    name="stock_counts",
    about="what stock-takes found of the batch and of all that is in it; other counts"
    " of the same stock-take are left out",
    head=(
        *("batch", "stock_take", "note", "stock", "container", "book_mg"),
        *("counted_mg", "difference_mg", "reason", "movement", *WHEN),
    ),
    rows=_counts,
)


def _tares(batch: Batch) -> Iterator[Row]:
    entries = Entries(batch)
    used = {row.tare.vessel_id for row in entries.hold_points if row.tare}
    named: set[int | None] = {row.vessel_id for row in entries.charges}
    named |= {row.vessel_id for row in entries.weighings}
    named |= {row.vessel_id for row in entries.starts}
    used |= {pk for pk in named if pk is not None}
    rows = TareWeighing.objects.filter(vessel__in=used)
    rows = rows.select_related("vessel", "scale", "entered_by__person")
    for row in rows.order_by("vessel", "pk"):
        yield (
            batch.number,
            row.vessel.name,
            row.pk,
            row.scale.name,
            row.mass_mg,
            row.register_mg,
            row.agrees,
            row.sentence,
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


TARE_WEIGHINGS = Table(
    name="tare_weighings",
    about="every weighing of the empty vessels that it was weighed in",
    head=(
        *("batch", "vessel", "id", "scale", "empty_mg", "register_mg", "agrees"),
        *("in_words", *WHEN),
    ),
    rows=_tares,
)


def _at_work(batch: Batch) -> list[tuple[datetime.date, Person]]:
    """Return who entered something of the batch on which day, corrections aside."""
    zone = Premises.objects.get().zone  # once, not for each entry
    known = {
        (row.observed_at.astimezone(zone).date(), row.entered_by.person.pk): (
            row.entered_by.person
        )
        for row in Entries(batch)
        if row.supersedes_id is None
    }
    return [(day, person) for (day, _), person in sorted(known.items(), key=_by_key)]


def _by_key(pair: tuple[tuple[datetime.date, int], Person]) -> tuple[int, int]:
    (day, pk), _ = pair
    return day.toordinal(), pk


def _notes(batch: Batch) -> Iterator[Row]:
    said: set[tuple[datetime.date, int]] = set()
    for day, person in _at_work(batch):
        for row in notes_on(person, day):
            if (day, row.pk) in said:  # a note of the premises, told already
                continue
            said.add((day, row.pk))
            yield (
                batch.number,
                day,
                person.name if row.person_id else "",
                row.kind,
                row.topic,
                row.done_on,
                row.due_on,
                row.due_on is not None and row.due_on < day,
                row.pk,
            )


SAFETY_NOTES = Table(
    name="safety_notes",
    about="training of whoever entered something, and care of the premises (person is"
    " empty), as it stood on each day of work",
    head=(
        *("batch", "day_of_work", "person", "kind", "topic", "done_on", "due_on"),
        *("was_overdue", "id"),
    ),
    rows=_notes,
)


def _costs(batch: Batch) -> Iterator[Row]:
    currency = Premises.objects.get().currency
    for row in batch.costs.select_related("entered_by__person").order_by("pk"):
        amount = format_money(row.amount_hundredths)
        yield batch.number, row.kind, amount, currency, row.note, *hand(row)


COSTS = Table(
    name="costs",
    about="what was spent on the batch besides its lots, with two decimals; not for the"
    " public, as the price in lots.csv",
    head=("batch", "kind", "amount", "currency", "note", *HAND),
    rows=_costs,
)
