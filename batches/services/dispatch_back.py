"""A dispatch that was recorded by mistake is taken back: its bottles never left.

Not what came back: that was out of our hands, and is looked at before it can leave.
"""

from __future__ import annotations

import datetime
import uuid
from collections import defaultdict
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Any, Final

from django.db import transaction
from django.db.models import OuterRef, QuerySet, Subquery
from django.utils import timezone

from batches import trace
from batches.lifecycle import BatchStatus, BottleStatus
from batches.models import (
    Bottle,
    BottleDiscrepancy,
    BottleEvent,
    Dispatch,
    DispatchTakenBack,
    FillingLot,
)
from batches.services import filling
from batches.services.leaving import AT_A_TIME
from producer import journal
from producer.codes import grouped
from producer.errors import Conflict, Refusal
from producer.models import Right, User
from producer.services.checks import need_reason, require

# A slip is seen within days; after that somebody may rely on it. Common practice, no
# source.
BY_ITS_MAKER_FOR: Final = datetime.timedelta(days=2)
MOST_NAMED = 3  # bottles in one sentence
# What is known of filling lots further on: their ids with a sentence, for those it
# concerns.
Told = Callable[[Collection[FillingLot]], Mapping[int, str]]
MOVED_ON: Final = {
    BottleStatus.RETURNED: "it was recorded as returned",
    BottleStatus.RECOVERED: "it was recorded as recovered in a recall",
    BottleStatus.DESTROYED: "it was recorded as destroyed",
}


@transaction.atomic
def take_back(
    *,
    by: User,
    dispatch: Dispatch,
    reason: str,
    recalled: Told,
    held: Told,
    submission: uuid.UUID | None = None,
) -> DispatchTakenBack:
    """Record that a dispatch never was; all its bottles are here again, or none.

    They go back to stock without an inspection, because they never left, and on hold
    at once where something holds their batch, their filling lot or themselves by now.
    ``recalled`` says which filling lots an open recall lists, ``held`` which ones the
    results hold: :mod:`quality.services.dispatch_back` hands both down. A maker or a
    reviewer may do it; a reviewer alone once :data:`BY_ITS_MAKER_FOR` has passed.
    Raises :class:`.Refusal` where a bottle has moved since.
    """
    is_late = needs_reviewer(dispatch)
    require(by, Right.MAKER if by.may(Right.MAKER) and not is_late else Right.REVIEWER)
    journal.in_line()
    reason = need_reason(reason)
    if DispatchTakenBack.objects.filter(dispatch=dispatch).exists():
        raise Conflict("This dispatch was taken back a moment ago. Look again.")
    bottles = list(sent_in(dispatch))
    why_not = _moved_on(bottles, dispatch) or _in_recall(bottles, dispatch, recalled)
    if why_not:
        raise Refusal(f"{why_not} Nothing was taken back.")
    row = DispatchTakenBack.objects.create(
        dispatch=dispatch, reason=reason, observed_at=timezone.now(), entered_by=by
    )
    _move(
        by,
        bottles,
        old=BottleStatus.DISPATCHED,
        new=BottleStatus.FILLED,
        reason=f"Dispatch {dispatch.code} was recorded by mistake: {reason}",
    )
    kept = _keep(by, bottles, held)
    journal.write(
        by=by,
        act="dispatch taken back",
        subject=dispatch,
        label=dispatch.code,
        before={
            "consignee": dispatch.consignee.reference,
            "bottles": [bottle.code for bottle in bottles],
        },
        after={"back_in_stock": len(bottles) - kept, "bottles_held": kept},
        reason=reason,
        submission=submission,
    )
    return row


def needs_reviewer(dispatch: Dispatch) -> bool:
    """Say whether a reviewer alone may take this dispatch back by now."""
    return timezone.now() - dispatch.entered_at > BY_ITS_MAKER_FOR


def may_take_back(user: User, dispatch: Dispatch) -> bool:
    """Say whether this account may take this dispatch back, as far as rights go."""
    return user.may(Right.REVIEWER) or (
        user.may(Right.MAKER) and not needs_reviewer(dispatch)
    )


def of_batches(batch_ids: Collection[int]) -> list[DispatchTakenBack]:
    """Return the dispatches of bottles of these batches that were taken back.

    The newest first, each with ``bottles``: how many of these it was about. As many
    queries as there are hundreds of batches, and one.
    """
    counts: dict[int, int] = defaultdict(int)
    ids = sorted(batch_ids)
    for start in range(0, len(ids), AT_A_TIME):
        sent = BottleEvent.objects.filter(
            new=BottleStatus.DISPATCHED,
            dispatch__taken_back__isnull=False,
            bottle__filling_lot__batch__in=ids[start : start + AT_A_TIME],
        )
        for pk in sent.values_list("dispatch__taken_back", flat=True):
            counts[pk] += 1
    found = DispatchTakenBack.objects.select_related(
        "dispatch__consignee", "entered_by__person"
    ).in_bulk(list(counts))
    rows: list[Any] = [found[pk] for pk in sorted(found, reverse=True)]
    for row in rows:
        row.bottles = counts[row.pk]
    return rows


def sent_in(dispatch: Dispatch) -> QuerySet[Bottle]:
    """Return the bottles of a dispatch, also those that came back."""
    sent = dispatch.events.filter(new=BottleStatus.DISPATCHED)
    return Bottle.objects.listed().filter(pk__in=sent.values("bottle"))


def _moved_on(bottles: Sequence[Bottle], dispatch: Dispatch) -> str:
    """Return which bottles are not just sent any more, and what to do; or nothing."""
    newest = (
        BottleEvent.objects.filter(bottle=OuterRef("pk"))
        .order_by("-pk")
        .values("dispatch")[:1]
    )
    still = Bottle.objects.filter(
        pk__in=sent_in(dispatch).values("pk"), status=BottleStatus.DISPATCHED
    ).annotate(last=Subquery(newest))
    just_sent = set(still.filter(last=dispatch.pk).values_list("pk", flat=True))
    moved = [one for one in bottles if one.pk not in just_sent]
    if not moved:
        return ""
    told = "; ".join(
        f"bottle {grouped(one.code)}:"
        f" {MOVED_ON.get(BottleStatus(one.status), 'it has moved on since')}"
        for one in moved[:MOST_NAMED]
    )
    more = f", and {len(moved) - MOST_NAMED} more" if len(moved) > MOST_NAMED else ""
    return (
        f"Not all of {dispatch.code} is still as it was sent: {told}{more}. What has"
        " moved shows that it was out, or was recorded so. Record each of the others"
        " as returned when you have it in your hand, and say in the reason what"
        f" was wrong about {dispatch.code}."
    )


def _in_recall(bottles: Sequence[Bottle], dispatch: Dispatch, recalled: Told) -> str:
    said = recalled(_lots(bottles))
    if not said:
        return ""
    words = " ".join(dict.fromkeys(said.values()))
    return (
        f"{words} It counts these bottles as with {dispatch.consignee}, and whoever"
        " works on it relies on that. Find each one: record it as recovered when you"
        " have it in your hand, and say in the reason that"
        f" {dispatch.code} was a mistake. Telephone whoever else may have it."
    )


def _keep(by: User, bottles: Sequence[Bottle], held: Told) -> int:
    """Hold those of these bottles in stock that something holds; return how many."""
    lots = _lots(bottles)
    within = trace.blocked(sorted({lot.batch_id for lot in lots}))
    by_lot = held(lots)
    doubts = _doubts(bottles)
    groups: dict[str, list[Bottle]] = defaultdict(list)
    for bottle in bottles:
        why = (
            _of_batch(bottle.filling_lot, within.get(bottle.filling_lot.batch_id, ()))
            or by_lot.get(bottle.filling_lot_id, "")
            or doubts.get(bottle.pk, "")
        )
        if why:
            groups[why].append(bottle)
    for why, group in groups.items():
        _move(
            by,
            group,
            old=BottleStatus.FILLED,
            new=BottleStatus.ON_HOLD,
            reason=why,
        )
    return sum(len(group) for group in groups.values())


def _of_batch(lot: FillingLot, within: Collection[str]) -> str:
    batch = lot.batch
    if batch.status != BatchStatus.RELEASED:
        return f"Batch {batch.number} is {BatchStatus(batch.status).label}"
    return ", ".join(within)


def _doubts(bottles: Sequence[Bottle]) -> dict[int, str]:
    found: dict[int, str] = {}
    ids = [bottle.pk for bottle in bottles]
    for start in range(0, len(ids), AT_A_TIME):
        rows = BottleDiscrepancy.objects.filter(
            end__isnull=True, bottle__in=ids[start : start + AT_A_TIME]
        )
        found |= {row.bottle_id: row.get_kind_display() for row in rows}
    return found


def _lots(bottles: Sequence[Bottle]) -> list[FillingLot]:
    return list({one.filling_lot_id: one.filling_lot for one in bottles}.values())


def _move(
    by: User,
    bottles: Sequence[Bottle],
    *,
    old: BottleStatus,
    new: BottleStatus,
    reason: str,
) -> None:
    ids = [bottle.pk for bottle in bottles]
    for start in range(0, len(ids), AT_A_TIME):
        piece = ids[start : start + AT_A_TIME]
        rows = Bottle.objects.filter(pk__in=piece, status=old)
        if rows.update(status=new, consignee=None) != len(piece):
            raise Conflict("One of these bottles was moved a moment ago. Look again.")
    filling.add_events(by=by, bottles=bottles, old=old, new=new, reason=reason)
