"""From a raw lot or batch to every bottle and who has it; and the recall itself."""

from __future__ import annotations

import dataclasses
import uuid
from collections.abc import Mapping, Sequence

from django.db import models, transaction
from django.utils import timezone

from batches import trace
from batches.lifecycle import BatchStatus, BottleStatus
from batches.models import Batch, Bottle
from batches.services import filling, moves, sources
from batches.shares import Share
from producer import journal, written
from producer.errors import Conflict, Refusal
from producer.models import LotStatusChange, RawLot, Right, Stock, User
from producer.services.checks import local_day, need_reason, require
from producer.services.numbers import next_code
from quality.models import Recall, RecallEvent, RecallItem

NEXT_STATUS = {
    Recall.Status.OPEN: Recall.Status.NOTIFIED,
    Recall.Status.NOTIFIED: Recall.Status.CLOSED,
}


@dataclasses.dataclass(frozen=True, kw_only=True)
class Holder:
    """Bottles of one filling lot that are in the same place."""

    filling_lot: str
    batch: str
    place: str
    phone: str
    email: str
    status: BottleStatus
    numbers: list[int]

    @property
    def is_out(self) -> bool:
        """Say whether somebody else has them, and must be told."""
        return self.status is BottleStatus.DISPATCHED

    @property
    def count(self) -> int:
        """How many bottles."""
        return len(self.numbers)

    @property
    def ranges(self) -> str:
        """The numbers as ranges: “1–12, 15”."""
        return as_ranges(self.numbers)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Affected:
    """Everything that a raw lot or batch went into, and where its bottles are.

    ``shares`` is what part of each batch it is, by the id of the batch.
    """

    genealogy: trace.Genealogy
    shares: Mapping[int, Share]
    holders: list[Holder]
    bottle_count: int


def affected_by(root: Stock) -> Affected:
    """Return the batches (at any depth), bottles and holders reached from ``root``."""
    genealogy = trace.track(root)
    holders = _holders(genealogy.batch_ids)
    return Affected(
        genealogy=genealogy,
        shares=trace.shares(genealogy),
        holders=holders,
        bottle_count=sum(holder.count for holder in holders),
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
    _event(by, recall, Recall.Status.OPEN, reason)
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
    submission: uuid.UUID | None = None,
) -> Recall:
    """Go one step on: holders notified, then closed. The note says what was done."""
    require(by, Right.REVIEWER)
    if not note.strip():
        raise Refusal("Write what was done; the note stays on record.", field="note")
    journal.in_line()
    old = Recall.Status(recall.status)
    new = NEXT_STATUS.get(old)
    if new is None:
        raise Conflict("This recall is closed.")
    closed_at = timezone.now() if new == Recall.Status.CLOSED else None
    if not Recall.objects.filter(pk=recall.pk, status=old).update(
        status=new, closed_at=closed_at
    ):
        raise Conflict("Somebody else moved this recall on a moment ago. Look again.")
    recall.status, recall.closed_at = new, closed_at
    written.note(recall)
    if closed_at:
        _thaw(recall)
    _event(by, recall, new, note.strip())
    journal.write(
        by=by,
        act=f"recall {new.label}",
        subject=recall,
        label=recall.code,
        before={"status": old},
        after={"status": new},
        reason=note.strip(),
        submission=submission,
    )
    return recall


def recalls_of_bottle(bottle: Bottle) -> list[Recall]:
    """Return the real recalls, open or past, that a bottle falls under; newest first.

    Asked of the genealogy itself, not of a list made when the recall was opened, so
    a bottle filled afterwards is warned of too.
    """
    ids = trace.upstream_ids(bottle.filling_lot.batch_id)
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
    spans: list[list[int]] = []
    for number in numbers:
        if spans and spans[-1][1] == number - 1:
            spans[-1][1] = number
        else:
            spans.append([number, number])
    return ", ".join(
        str(first) if first == last else f"{first}–{last}" for first, last in spans
    )


def place_of(status: str, holder: str) -> str:
    """Return where a bottle is, in words, the same on page, print and file."""
    if status == BottleStatus.DISPATCHED:
        return holder
    return "destroyed" if status == BottleStatus.DESTROYED else "on the premises"


def _holders(batch_ids: Sequence[int]) -> list[Holder]:
    rows = (
        Bottle.objects.filter(filling_lot__batch_id__in=batch_ids)
        .order_by("consignee__name", "filling_lot_id", "number")
        .values_list(
            "filling_lot__code",
            "filling_lot__batch__stock__code",
            "consignee__name",
            "consignee__phone",
            "consignee__email",
            "status",
            "number",
        )
    )
    groups: dict[tuple[str, str, str, str, str, BottleStatus], list[int]] = {}
    for lot, batch, name, phone, email, status, number in rows.iterator():
        is_out = status == BottleStatus.DISPATCHED
        key = (
            lot,
            batch,
            place_of(status, name or ""),
            phone or "" if is_out else "",
            email or "" if is_out else "",
            BottleStatus(status),
        )
        groups.setdefault(key, []).append(number)
    holders = [
        Holder(
            filling_lot=lot,
            batch=batch,
            place=place,
            phone=phone,
            email=email,
            status=status,
            numbers=sorted(numbers),
        )
        for (lot, batch, place, phone, email, status), numbers in groups.items()
    ]
    # Whoever must be telephoned comes first, all of one holder together.
    return sorted(
        holders, key=lambda one: (not one.is_out, one.place, one.batch, one.filling_lot)
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


def _event(by: User, recall: Recall, new: str, note: str) -> None:
    RecallEvent.objects.create(
        recall=recall,
        new=new,
        note=note,
        observed_at=timezone.now(),
        entered_by=by,
    )
