"""Discrepancies: what was done and does not fit the book, kept until it is settled.

An entry that a device kept while it had no network may find, when it arrives, that the
lot is empty or the batch finished. It happened all the same. So it stands here, its
batch is held, its lot says what is missing, and a recall of the lot finds the batch.
"""

from __future__ import annotations

import dataclasses
import datetime
import uuid
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from django.db import models, transaction
from django.utils import timezone

from batches import trace
from batches.lifecycle import CLOSED_TO_CHARGES
from batches.models import Batch, Discrepancy, DiscrepancyEnd, Input
from batches.services import filling, moves
from producer import journal
from producer.errors import Conflict, Refusal
from producer.models import Right, Stock, User
from producer.quantities import format_mass
from producer.services.checks import need_reason, require

T = TypeVar("T")
Outcome = DiscrepancyEnd.Outcome
# The first words of an explanation by which a lot is no part of the batch.
NOTHING_WENT_IN = "Nothing of it went into the batch."


@dataclasses.dataclass(frozen=True, kw_only=True)
class Entry:
    """An entry as it was sent: which kind, what of, by which words and fields.

    ``path`` is the page it was made on, ``fields`` what was typed there. ``stock`` and
    ``net_mg`` are what was weighed in, for a charge that says both.
    """

    kind: str
    title: str
    path: str
    fields: Mapping[str, Any]
    shown: list[list[str]]
    stock: Stock | None = None
    net_mg: int = 0
    observed_at: datetime.datetime

    @property
    def sent(self) -> dict[str, Any]:
        """As it is kept."""
        return {
            "title": self.title,
            "path": self.path,
            "fields": dict(self.fields),
            "shown": self.shown,
            "net_mg": self.net_mg,
        }


@transaction.atomic
def record(
    *,
    by: User,
    batch: Batch,
    entry: Entry,
    refused: str,
    submission: uuid.UUID | None = None,
) -> Discrepancy:
    """Keep an entry that the book could not take, and hold what it may touch.

    ``refused`` is why. A lot gets a place in the genealogy without a mass, so that its
    recall finds the batch. A released batch, what was made from it and the bottles of
    both go on hold.
    """
    journal.in_line()
    require(by, Right.MAKER)
    batch = moves.locked(batch)
    stock = entry.stock
    if stock is not None:
        stock = Stock.objects.select_for_update().get(pk=stock.pk)
    row = Discrepancy(
        batch=batch,
        kind=entry.kind,
        sent=entry.sent,
        refused=refused,
        stock=stock,
        short_mg=_short_mg(stock, entry.net_mg),
        observed_at=entry.observed_at,
        entered_by=by,
    )
    row.full_clean()
    row.save(force_insert=True)
    if stock is not None and _can_be_in(stock, batch):
        Input.objects.get_or_create(batch=batch, source=stock, defaults={"mass_mg": 0})
    held = _hold(by, batch, f"An entry kept on a device does not fit: {refused}")
    journal.write(
        by=by,
        act="entry kept as a discrepancy",
        subject=batch,
        label=batch.number,
        after={**_facts(row), **held},
        reason=refused,
        submission=submission,
    )
    return row


@transaction.atomic
def enter(
    *,
    by: User,
    discrepancy: Discrepancy,
    do: Callable[[uuid.UUID | None], T],
    submission: uuid.UUID | None = None,
) -> T:
    """Settle a discrepancy by the ordinary service ``do``, which writes the one act.

    ``do`` is given the submission. Both or neither. What was sent at first stays with
    the discrepancy.
    """
    require(by, Right.MAKER)
    row = _still_open(discrepancy)
    _end(by, row, Outcome.ENTERED, f"{row.sent['title']}: entered in the record.")
    with journal.besides(discrepancy_settled=row.pk):
        return do(submission)


@transaction.atomic
def explain(
    *,
    by: User,
    discrepancy: Discrepancy,
    reason: str,
    went_in: bool,
    submission: uuid.UUID | None = None,
) -> DiscrepancyEnd:
    """Settle a discrepancy by explaining it; nothing is entered.

    Unless the reviewer says that nothing went in, the lot keeps its place in the
    genealogy and a recall of it goes on finding the batch.
    """
    journal.in_line()
    require(by, Right.REVIEWER)
    reason = need_reason(reason)
    row = _still_open(discrepancy)
    said_of_it = reason if went_in else f"{NOTHING_WENT_IN} {reason}"
    end = _end(by, row, Outcome.EXPLAINED, said_of_it)
    if not went_in:
        _take_out(row)
    journal.write(
        by=by,
        act="discrepancy explained",
        subject=row.batch,
        label=row.batch.number,
        before=_facts(row),
        after={
            "discrepancy": row.pk,
            "outcome": end.outcome,
            **({"went_in": went_in} if row.stock_id else {}),
        },
        reason=reason,
        submission=submission,
    )
    return end


def open_discrepancies(batch: Batch | None = None) -> models.QuerySet[Discrepancy]:
    """Return the discrepancies that nobody has settled, of a batch or of all."""
    rows = Discrepancy.objects.filter(end__isnull=True).select_related(
        "batch__stock", "stock", "entered_by__person"
    )
    return rows if batch is None else rows.filter(batch=batch)


def stop_if_open(batch: Batch) -> None:
    """Refuse while an entry of this batch does not fit the book."""
    found = [said(row) for row in open_discrepancies(batch)]
    if found:
        raise Refusal(
            f"An entry was made without network and does not fit the book: {found[0]}"
            f"{f' and {len(found) - 1} more' if found[1:] else ''} Enter it, or have a"
            " reviewer explain it, first."
        )


def said(row: Discrepancy) -> str:
    """Return what a discrepancy is, in a sentence."""
    short = (
        f" {row.stock.code} is short of {format_mass(row.short_mg)}."
        if row.stock and row.short_mg
        else ""
    )
    return f"{_what(row)}.{short}"


def beyond_the_book(stock_ids: list[int] | None = None) -> dict[int, int]:
    """Return, by stock, how much was taken of it that the book does not have, in mg.

    Of open discrepancies; stocks of which nothing was taken so are left out.
    """
    rows = open_discrepancies().filter(stock__isnull=False)
    if stock_ids is not None:
        rows = rows.filter(stock_id__in=stock_ids)
    taken: dict[int, int] = {}
    for row in rows:
        if row.stock_id is not None and row.sent["net_mg"]:
            taken[row.stock_id] = taken.get(row.stock_id, 0) + row.sent["net_mg"]
    return taken


def may_be_entered(row: Discrepancy) -> bool:
    """Say whether the record of its batch still takes an entry of this kind."""
    if row.stock_id is not None:
        return row.batch.status not in CLOSED_TO_CHARGES
    return row.batch.is_open


def _short_mg(stock: Stock | None, net_mg: int) -> int:
    """Return what the stock lacks for it, beside what it lacks for others already."""
    if stock is None or net_mg <= 0:
        return 0
    others = open_discrepancies().filter(stock=stock)
    claimed = beyond_the_book([stock.pk]).get(stock.pk, 0)
    lacking = sum(others.values_list("short_mg", flat=True))
    return max(0, claimed + net_mg - stock.on_hand_mg - lacking)


def _can_be_in(stock: Stock, batch: Batch) -> bool:
    """Say whether it may stand in the genealogy: not where it would make a loop."""
    return stock.pk not in trace.downstream_ids(batch.pk)


def _hold(by: User, batch: Batch, reason: str) -> dict[str, Any]:
    """Hold a batch that left the pot, what was made from it, and their bottles here."""
    if batch.status not in CLOSED_TO_CHARGES:
        return {}
    ids = sorted(trace.downstream_of([batch.pk]))
    # In one order for everybody, and so that no draw or dispatch is under way.
    rows = Batch.objects.select_for_update(of=("self",)).select_related("stock")
    closed = rows.filter(pk__in=ids, status__in=CLOSED_TO_CHARGES).order_by("pk")
    held = [
        one.number
        for one in closed
        if moves.hold_if_released(by=by, batch=one, reason=reason)
    ]
    bottles = filling.hold_here(by=by, batch_ids=ids, reason=reason)
    return {"batches_held": held, "bottles_held": bottles}


def _still_open(discrepancy: Discrepancy) -> Discrepancy:
    """Return the discrepancy with its batch locked, unless somebody settled it."""
    batch = moves.locked(discrepancy.batch)
    end = DiscrepancyEnd.objects.filter(discrepancy=discrepancy).first()
    if end is not None:
        raise Conflict(
            f"This was settled by {end.entered_by.person.name} already:"
            f" {end.get_outcome_display()}."
        )
    row = Discrepancy.objects.select_related("stock").get(pk=discrepancy.pk)
    row.batch = batch
    return row


def _end(by: User, row: Discrepancy, outcome: str, reason: str) -> DiscrepancyEnd:
    end = DiscrepancyEnd(
        discrepancy=row,
        outcome=outcome,
        reason=reason,
        observed_at=timezone.now(),
        entered_by=by,
    )
    end.full_clean()
    end.save(force_insert=True)
    return end


def _take_out(row: Discrepancy) -> None:
    """Take a lot of which nothing went in out of the genealogy of the batch.

    Not while anything else says that it is in there.
    """
    others = Discrepancy.objects.filter(batch=row.batch, stock=row.stock)
    others = (
        others.exclude(pk=row.pk)
        .exclude(end__outcome=Outcome.ENTERED)
        .exclude(end__reason__startswith=NOTHING_WENT_IN)
    )
    if row.stock is not None and not others.exists():
        for edge in Input.objects.filter(batch=row.batch, source=row.stock, mass_mg=0):
            edge.delete()


def _what(row: Discrepancy) -> str:
    net_mg = row.sent["net_mg"]
    if row.stock and net_mg:
        return f"{format_mass(net_mg)} of {row.stock.code} into {row.batch.number}"
    return f"{row.sent['title']}, {row.batch.number}"


def _facts(row: Discrepancy) -> dict[str, Any]:
    facts = {
        "discrepancy": row.pk,
        "kind": row.kind,
        "sent": [f"{label}: {value}" for label, value in row.sent["shown"]],
        "observed_at": row.observed_at.isoformat(),
    }
    if row.stock is None:
        return facts
    taken = {"net_mg": row.sent["net_mg"], "short_mg": row.short_mg}
    return {**facts, "source": row.stock.code, **taken}
