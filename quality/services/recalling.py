"""From a raw lot or batch to every bottle and who has it; and the recall itself."""

from __future__ import annotations

import dataclasses
import datetime
import uuid
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.db import models, transaction
from django.utils import timezone

from batches import trace
from batches.lifecycle import BatchStatus, BottleStatus
from batches.models import Batch, Bottle, DispatchTakenBack
from batches.services import dispatch_back, filling, moves, sources
from batches.shares import Share
from producer import journal, written
from producer.errors import Conflict, Refusal
from producer.models import LotStatusChange, RawLot, Right, Stock, User
from producer.services.checks import local_day, need_reason, require
from producer.services.numbers import next_code
from quality.models import Recall, RecallEvent, RecallItem
from quality.services import recall_holders, recall_levels

NEXT_STATUS = {
    Recall.Status.OPEN: Recall.Status.NOTIFIED,
    Recall.Status.NOTIFIED: Recall.Status.CLOSED,
}

Span = tuple[int, int]


@dataclasses.dataclass(frozen=True, kw_only=True)
class Holder:
    """Bottles of one filling lot that are in the same place.

    ``spans`` are their numbers as first and last of each run.
    """

    filling_lot: str
    batch: str
    place: str
    phone: str
    email: str
    status: BottleStatus
    spans: Sequence[Span]

    @property
    def is_out(self) -> bool:
        """Say whether somebody else has them, and must be told."""
        return self.status is BottleStatus.DISPATCHED

    @property
    def count(self) -> int:
        """How many bottles."""
        return sum(last - first + 1 for first, last in self.spans)

    @property
    def numbers(self) -> list[int]:
        """The numbers one by one."""
        return [one for first, last in self.spans for one in range(first, last + 1)]

    @property
    def ranges(self) -> str:
        """The numbers as ranges: “1–12, 15”."""
        return _in_words(self.spans)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Affected:
    """Everything that a raw lot or batch went into, and where its bottles are.

    ``shares`` is what part of each batch it is, by the id of the batch.
    ``taken_back`` are dispatches of these bottles that never were: whom they name need
    not be reached for them.
    """

    genealogy: trace.Genealogy
    shares: Mapping[int, Share]
    holders: list[Holder]
    bottle_count: int
    taken_back: list[DispatchTakenBack]


def affected_by(root: Stock) -> Affected:
    """Return the batches (at any depth), bottles and holders reached from ``root``."""
    genealogy = trace.track(root)
    holders = _holders(trace.bottles_from(root.pk))
    return Affected(
        genealogy=genealogy,
        shares=trace.shares(genealogy),
        holders=holders,
        bottle_count=sum(holder.count for holder in holders),
        taken_back=dispatch_back.of_batches([one.pk for one in genealogy.batches]),
    )


@transaction.atomic
def open_recall(
    *,
    by: User,
    root: Stock,
    hazard_class: str,
    reason: str,
    public_notice: str,
    is_mock: bool = False,
    submission: uuid.UUID | None = None,
) -> Recall:
    """Open a recall from a raw lot or batch; everything affected is frozen at once.

    A mock recall finds and lists the same, but freezes and shows nothing.
    """
    require(by, Right.REVIEWER)
    reason = need_reason(reason)
    journal.in_line()  # a release comes before and is frozen, or after and sees this
    now = timezone.now()
    recall = Recall(
        code=next_code("R", local_day(now).year),
        root=root,
        is_mock=is_mock,
        hazard_class=hazard_class,
        reason=reason,
        public_notice=public_notice.strip(),
        opened_at=now,
    )
    recall.full_clean()
    recall.save(force_insert=True)
    frozen = {} if is_mock else _freeze(by, recall, trace.downstream_ids(root.pk))
    # Walked again: a draw that was under way held its source, so it is over by now,
    # and from what is frozen nothing more is drawn.
    ids = trace.downstream_ids(root.pk)
    written.create_all(
        RecallItem, (RecallItem(recall=recall, stock_id=stock_id) for stock_id in ids)
    )
    keep_event(by, recall, reason)
    journal.write(
        by=by,
        act="mock recall opened" if is_mock else "recall opened",
        subject=recall,
        label=recall.code,
        after={
            "root": root.code,
            "hazard_class": hazard_class,
            "public_notice": recall.public_notice,
            "affected": len(ids),
            **frozen,
        },
        reason=reason,
        submission=submission,
    )
    return recall


@transaction.atomic
def advance(
    *,
    by: User,
    recall: Recall,
    note: str,
    level: str = recall_levels.DEFAULT,
    percent: int | None = None,
    submission: uuid.UUID | None = None,
) -> Recall:
    """Go from open to notified. The note says what was done.

    ``level`` says of how many holders it is made sure that they were reached, see
    :mod:`.recall_levels`. A recall is closed by :func:`.recall_closing.close`.
    """
    require(by, Right.REVIEWER)
    if not note.strip():
        raise Refusal("Write what was done; the note stays on record.", field="note")
    journal.in_line()
    old = recall.status
    if old == Recall.Status.NOTIFIED:
        raise Refusal("The holders are notified. Close it, with your password.")
    holders = len(recall_holders.listed(recall_holders.holders_of(recall)))
    facts = recall_levels.chosen(level, percent, holders=holders)
    move_on(recall, Recall.Status.NOTIFIED)
    keep_event(by, recall, note.strip(), facts)
    journal.write(
        by=by,
        act=f"{'mock recall' if recall.is_mock else 'recall'} holders notified",
        subject=recall,
        label=recall.code,
        before={"status": old},
        after={"status": recall.status, **facts},
        reason=note.strip(),
        submission=submission,
    )
    return recall


def move_on(recall: Recall, new: Recall.Status) -> datetime.datetime:
    """Move a recall to its next step, ``new``, and return when; or raise Conflict.

    Closed, its lots may be decided about again. Callers hold the transaction, keep
    the event and write the journal.
    """
    now = timezone.now()
    old = Recall.Status(recall.status)
    if NEXT_STATUS.get(old) != new:
        raise Conflict(
            f"This recall is {old.label}, and from there it does not become"
            f" {new.label}."
        )
    closed_at = now if new == Recall.Status.CLOSED else None
    if not Recall.objects.filter(pk=recall.pk, status=old).update(
        status=new, closed_at=closed_at
    ):
        raise Conflict("Somebody else moved this recall on a moment ago. Look again.")
    recall.status, recall.closed_at = new, closed_at
    written.note(recall)
    if closed_at:
        _thaw(recall)
    return now


def keep_event(
    by: User, recall: Recall, note: str, facts: Mapping[str, Any] | None = None
) -> None:
    """Keep the step that a recall is at now, with what was decided or how it stood."""
    RecallEvent.objects.create(
        recall=recall,
        new=recall.status,
        note=note,
        facts=facts,
        observed_at=timezone.now(),
        entered_by=by,
    )


def recalls_of_bottle(bottle: Bottle) -> list[Recall]:
    """Return the real recalls, open or past, that a bottle falls under; newest first.

    Asked of the genealogy itself, not of a list made when the recall was opened, so
    a bottle filled afterwards is warned of too.
    """
    ids = trace.upstream_of_bottle(bottle.code)
    return list(Recall.objects.filter(root_id__in=ids, is_mock=False))


def open_recalls_above(ids: Sequence[int]) -> models.QuerySet[Recall]:
    """Return the real recalls still open among these stocks as roots."""
    return Recall.objects.filter(root_id__in=ids, is_mock=False).exclude(
        status=Recall.Status.CLOSED
    )


def hold_bottles(*, by: User, batch_ids: Sequence[int], reason: str) -> int:
    """Hold every bottle of these batches that is still here; return how many."""
    here = Bottle.objects.filter(
        filling_lot__batch_id__in=batch_ids, status=BottleStatus.FILLED
    )
    return filling.change_bottles(
        by=by, bottles=list(here), new=BottleStatus.ON_HOLD, reason=reason
    )


def as_ranges(numbers: Sequence[int]) -> str:
    """Return sorted numbers as ranges.

    >>> as_ranges([1, 2, 3, 7, 9, 10])
    '1–3, 7, 9–10'
    """
    return _in_words(_spans(numbers))


def place_of(status: str, holder: str) -> str:
    """Return where a bottle is, in words, the same on page, print and file."""
    if status == BottleStatus.DISPATCHED:
        return holder
    return "destroyed" if status == BottleStatus.DESTROYED else "on the premises"


def _holders(bottles: Iterable[trace.TracedBottle]) -> list[Holder]:
    """Gather bottles that come in order of filling by where they are.

    Of each group only the runs of numbers are kept, so a list of a hundred thousand
    bottles takes no more memory than it has lines.
    """
    groups: dict[tuple[str, str, str, str, str, str], list[Span]] = {}
    for one in bottles:
        is_out = one.status == BottleStatus.DISPATCHED
        key = (
            one.filling_lot,
            one.batch,
            place_of(one.status, one.holder or ""),
            one.phone or "" if is_out else "",
            one.email or "" if is_out else "",
            one.status,
        )
        _add(groups.setdefault(key, []), one.number)
    holders = [
        Holder(
            filling_lot=lot,
            batch=batch,
            place=place,
            phone=phone,
            email=email,
            status=BottleStatus(status),
            spans=spans,
        )
        for (lot, batch, place, phone, email, status), spans in groups.items()
    ]
    # Whoever must be telephoned comes first, all of one holder together.
    return sorted(
        holders, key=lambda one: (not one.is_out, one.place, one.batch, one.filling_lot)
    )


def _spans(numbers: Iterable[int]) -> list[Span]:
    """Return sorted numbers as first and last of each run."""
    spans: list[Span] = []
    for number in numbers:
        _add(spans, number)
    return spans


def _add(spans: list[Span], number: int) -> None:
    if spans and spans[-1][1] == number - 1:
        spans[-1] = (spans[-1][0], number)
    else:
        spans.append((number, number))


def _in_words(spans: Iterable[Span]) -> str:
    return ", ".join(
        str(first) if first == last else f"{first}–{last}" for first, last in spans
    )


def _freeze(by: User, recall: Recall, ids: Sequence[int]) -> dict[str, int]:
    reason = f"Recall {recall.code}"
    RawLot.objects.filter(pk__in=ids, frozen_by="").update(frozen_by=recall.code)
    lots = [
        _hold_lot(by, lot, reason)
        for lot in RawLot.objects.listed().filter(
            pk__in=ids, status=RawLot.Status.RELEASED
        )
    ]
    # Also what may be reworked is locked: it can be drawn from at this moment.
    drawable = (
        Batch.objects.select_for_update(of=("self",))
        .listed()
        .filter(pk__in=ids, status__in=sources.DRAWABLE)
        .order_by("pk")
    )
    for batch in drawable:
        if batch.status == BatchStatus.RELEASED:
            moves.move_batch(by=by, batch=batch, new=BatchStatus.ON_HOLD, reason=reason)
    bottles = hold_bottles(by=by, batch_ids=ids, reason=reason)
    return {"lots_held": len(lots), "bottles_held": bottles}


def _thaw(recall: Recall) -> None:
    """Let the lots of a closed recall be decided about again; they stay on hold."""
    for lot in RawLot.objects.filter(frozen_by=recall.code):
        other = open_recalls_above(trace.upstream_ids(lot.pk)).first()
        lot.frozen_by = other.code if other else ""
        lot.save(update_fields=["frozen_by"])


def _hold_lot(by: User, lot: RawLot, reason: str) -> RawLot:
    RawLot.objects.filter(pk=lot.pk, status=lot.status).update(
        status=RawLot.Status.ON_HOLD
    )
    LotStatusChange.objects.create(
        lot=lot,
        old=lot.status,
        new=RawLot.Status.ON_HOLD,
        reason=reason,
        observed_at=timezone.now(),
        entered_by=by,
    )
    return lot
