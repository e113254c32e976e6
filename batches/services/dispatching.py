"""Bottles leave for a consignee."""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Sequence

from django.db import transaction
from django.utils import timezone

from batches import trace
from batches.lifecycle import BatchStatus, BottleStatus
from batches.models import Batch, Bottle, Dispatch, FillingLot, Formula
from batches.services import filling
from producer import journal
from producer.codes import grouped, is_bottle_code, normalise
from producer.errors import Conflict, Refusal
from producer.models import Consignee, Right, User
from producer.services.checks import local_day, plausible_time, require
from producer.services.numbers import next_code


def bottles_by_range(lot: FillingLot, first: int, last: int) -> list[Bottle]:
    """Return the bottles numbered ``first`` to ``last`` of a filling lot."""
    if not 1 <= first <= last <= lot.count:
        raise Refusal(
            f"{lot.code} has bottles 1 to {lot.count}. Write the first and the last.",
            field="first",
        )
    return list(lot.bottles.listed().filter(number__gte=first, number__lte=last))


def bottles_by_codes(text: str) -> list[Bottle]:
    """Return the bottles whose codes or addresses stand in ``text``, one a line."""
    codes = list(dict.fromkeys(normalise(line) for line in text.split()))
    wrong = [code for code in codes if not is_bottle_code(code)]
    if wrong:
        raise Refusal(
            f"“{wrong[0]}” is not a bottle code; a character is wrong or missing. Scan"
            " or type it again.",
            field="codes",
        )
    found = {
        bottle.code: bottle for bottle in Bottle.objects.listed().filter(code__in=codes)
    }
    unknown = [code for code in codes if code not in found]
    if unknown:
        raise Refusal(
            f"{grouped(unknown[0])} was not issued by this premises.", field="codes"
        )
    return [found[code] for code in codes]


@transaction.atomic
def dispatch(
    *,
    by: User,
    bottles: Sequence[Bottle],
    consignee: Consignee,
    note: str = "",
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> Dispatch:
    """Record that bottles left for a consignee; all of them or none."""
    require(by, Right.MAKER)
    if not bottles:
        raise Refusal("Choose at least one bottle.", field="codes")
    observed_at = plausible_time(observed_at or timezone.now())
    for bottle in bottles:
        _may_leave(bottle, consignee, local_day(observed_at))
    row = Dispatch(
        code=next_code("D", local_day(observed_at).year),
        consignee=consignee,
        note=note,
        observed_at=observed_at,
        entered_by=by,
    )
    row.full_clean()
    row.save(force_insert=True)
    _send(by, row, bottles)
    journal.write(
        by=by,
        act="bottles dispatched",
        subject=row,
        label=row.code,
        after={
            "consignee": consignee.name,
            "bottles": [bottle.code for bottle in bottles],
        },
        submission=submission,
    )
    return row


def _send(by: User, row: Dispatch, bottles: Sequence[Bottle]) -> None:
    _lock_released_batches(bottles)
    _nothing_bad_within(bottles)
    ids = [bottle.pk for bottle in bottles]
    for start in range(0, len(ids), 500):
        piece = ids[start : start + 500]
        # No join here: having waited for a row, PostgreSQL looks again at that row
        # alone, and would send a bottle that was held a moment ago.
        changed = Bottle.objects.filter(
            pk__in=piece, status=BottleStatus.FILLED
        ).update(status=BottleStatus.DISPATCHED, consignee=row.consignee)
        if changed != len(piece):
            raise Conflict(
                "One of these bottles has left, or was put on hold, a moment ago."
                " Nothing was dispatched; look again."
            )
    filling.add_events(
        by=by,
        bottles=bottles,
        old=BottleStatus.FILLED,
        new=BottleStatus.DISPATCHED,
        dispatch_id=row.pk,
        observed_at=row.observed_at,
    )


def _lock_released_batches(bottles: Sequence[Bottle]) -> None:
    """Lock the batches until the transaction ends: nobody holds one meanwhile."""
    ids = {bottle.filling_lot.batch_id for bottle in bottles}
    batches = Batch.objects.select_for_update().filter(pk__in=ids).order_by("pk")
    if any(batch.status != BatchStatus.RELEASED for batch in batches):
        raise Conflict(
            "The batch of one of these bottles was put on hold a moment ago. Nothing"
            " was dispatched; look again."
        )


def _nothing_bad_within(bottles: Sequence[Bottle]) -> None:
    """Refuse what has something on hold or rejected in it, at any depth.

    A batch is held with what is in it; this asks again at the door, in three queries
    for all bottles. What was rejected and then released for rework lets go.
    """
    batches = {bottle.filling_lot.batch_id: bottle.filling_lot for bottle in bottles}
    for batch_id, words in sorted(trace.blocked(sorted(batches)).items()):
        number = batches[batch_id].batch.number
        raise Refusal(
            f"Bottles of batch {number} cannot leave: {', '.join(words)}. A reviewer"
            " decides about that first; nothing was dispatched.",
            field="codes",
        )


def _may_leave(bottle: Bottle, consignee: Consignee, on: datetime.date) -> None:
    label = f"Bottle {grouped(bottle.code)}"
    if bottle.status != BottleStatus.FILLED:
        raise Refusal(
            f"{label} is {BottleStatus(bottle.status).label} and cannot leave.",
            field="codes",
        )
    batch = bottle.filling_lot.batch
    if batch.status != BatchStatus.RELEASED:
        raise Refusal(
            f"{label} comes from batch {batch.number}, which is"
            f" {BatchStatus(batch.status).label}. It cannot leave.",
            field="codes",
        )
    if bottle.filling_lot.use_by < on:
        raise Refusal(f"{label} is past its use-by date.", field="codes")
    version = batch.formula_version
    if (
        version.formula.purpose == Formula.Purpose.SPRAY
        and consignee.kind != Consignee.Kind.OWN_USE
        and not version.authority_reference
    ):
        raise Refusal(
            f"{label} is a spray, and no authority's number is recorded for it: it is"
            " for own use on the premises only. Selling or giving away a spray against"
            " pests is regulated; rules differ by place and change. If your authority"
            " has given you a number, record it in a new version of the formula.",
            field="consignee",
        )
