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
from batches.models import Batch, BulkWeighing, Discrepancy, DiscrepancyEnd, Input
from batches.models.discrepancies import NOTHING_WENT_IN
from batches.services import filling, kept_figures, moves
from batches.services.kept_figures import TAKEN, Figures
from producer import journal
from producer.errors import Conflict, Refusal
from producer.models import Right, Stock, User
from producer.quantities import format_mass
from producer.services.checks import need_reason, require
from producer.services.when_written import written

T = TypeVar("T")
Outcome = DiscrepancyEnd.Outcome
# The first words of every explanation of something that was taken: one or the other,
# before what the reviewer wrote, so that nobody's own words can be taken for them.
WENT_IN = "It went into the batch, or nobody knows."
ENTERED = "entered in the record."


@dataclasses.dataclass(frozen=True, kw_only=True)
class Entry:
    """An entry as it was sent: which kind, what of, by which words and fields.

    ``path`` is the page it was made on, ``fields`` what was typed there, ``figures``
    what of that could be read. ``stock`` and ``net_mg`` are what was weighed in, for a
    charge that says both.
    """

    kind: str
    title: str
    path: str
    fields: Mapping[str, Any]
    shown: list[list[str]]
    stock: Stock | None = None
    net_mg: int = 0
    figures: Figures = dataclasses.field(default_factory=dict)
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
            "figures": {
                **kept_figures.taken(self.stock, self.net_mg),
                **self.figures,
            },
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
    kind: str,
    figures: Figures,
    do: Callable[[uuid.UUID | None], T],
    reason: str = "",
    submission: uuid.UUID | None = None,
) -> T:
    """Settle a discrepancy by the ordinary service ``do``, which writes the one act.

    ``do`` is given the submission and returns the row it made. Both or neither. What
    was sent at first stays with the discrepancy.

    ``kind`` and ``figures`` (see :mod:`.kept_figures`) are what is entered. Only the
    kind that was sent settles it. Where lot, mass or value are others than were sent,
    ``reason`` says why, and stands in the end with both. The row that was made is held
    against them too: nobody settles 540 g by saying so and weighing in 5.
    """
    require(by, Right.MAKER)
    row = _still_open(discrepancy)
    if kind != row.kind:
        raise Refusal(
            f"This does not settle discrepancy {row.pk}, which is another entry:"
            f" {_what(row)}. Open it on the page of its batch and enter it from there."
        )
    _end(by, row, Outcome.ENTERED, _how_entered(row, figures, reason.strip()))
    # What may be used is judged by the day it came, not by the day it is settled.
    with journal.besides(discrepancy_settled=row.pk), written(row.entered_at):
        made = do(submission)
    if (
        kept_figures.kind_in(made) != row.kind
        or getattr(made, "batch_id", None) != row.batch_id
        or not kept_figures.same(kept_figures.figures_in(made), figures)
    ):
        raise Refusal(
            f"What was entered is not what it was said to be, so discrepancy {row.pk}"
            " stays open. Enter it again from its page."
        )
    return made


def _how_entered(row: Discrepancy, figures: Figures, reason: str) -> str:
    """Return the sentence of the end: as it was sent, or what differs and why."""
    if kept_figures.same(kept_figures.sent_in(row), figures):
        return f"{row.sent['title']}: {ENTERED} {reason}".strip()
    differs = (
        f"Sent {kept_figures.sent_words(row)}, entered"
        f" {kept_figures.words(row.kind, figures)}."
    )
    if not reason:
        raise Refusal(
            f"{differs} Say why it differs; the reason stays on record.",
            field="differs",
        )
    return f"{differs} {reason}"


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
    genealogy and a recall of it goes on finding the batch. Refused so for what moves
    the alkali while it can still be weighed in: then it is entered, and counts.
    """
    journal.in_line()
    require(by, Right.REVIEWER)
    reason = need_reason(reason)
    row = _still_open(discrepancy)
    if went_in and kept_figures.moves_alkali(row) and may_be_entered(row):
        raise Refusal(
            "It moves the alkali, and the batch still takes it: enter it, so that it is"
            " counted. What cannot be entered is explained once what came out is"
            " weighed; then the free alkali has to be titrated.",
            field="went_in",
        )
    if row.kind in TAKEN:
        reason = f"{WENT_IN if went_in else NOTHING_WENT_IN} {reason}"
    end = _end(by, row, Outcome.EXPLAINED, reason)
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
            **({"went_in": went_in} if row.kind in TAKEN else {}),
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
    if row.kind not in TAKEN:
        return row.batch.is_open
    if row.batch.status in CLOSED_TO_CHARGES:
        return False
    return not BulkWeighing.objects.current().filter(batch=row.batch_id).exists()


def went_in(row: Discrepancy, end: DiscrepancyEnd | None) -> bool:
    """Say whether something of it is in the batch, or may be, beside the charges."""
    if row.kind not in TAKEN or (end and end.outcome == Outcome.ENTERED):
        return False
    return end is None or not end.reason.startswith(NOTHING_WENT_IN)


def entered_otherwise(row: Discrepancy, end: DiscrepancyEnd) -> bool:
    """Say whether it was entered with another lot, mass or value than was sent."""
    as_sent = f"{row.sent.get('title', '')}: {ENTERED}"
    return end.outcome == Outcome.ENTERED and not end.reason.startswith(as_sent)


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
    row = Discrepancy.objects.select_related("stock__lot__material").get(
        pk=discrepancy.pk
    )
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
