"""From a raw lot or batch to every bottle and who has it; and the recall itself."""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Iterable, Mapping
from typing import Any

from django.db import transaction
from django.utils import timezone

from batches import trace
from batches.lifecycle import BatchStatus, BottleStatus
from batches.models import Batch, Bottle
from batches.services import filling, moves, sources
from producer import journal, written
from producer.errors import Conflict, Refusal
from producer.models import LotStatusChange, RawLot, Right, User
from producer.services.checks import local_day, need_reason, require
from producer.services.numbers import next_code
from quality.models import Recall, RecallEvent, RecallItem, RecallRoot
from quality.services import (
    recall_holders,
    recall_levels,
    recall_roots,
    recall_scope,
)
from quality.services.recall_roots import Beginning, Root, Window, why_no_time
from quality.services.recall_scope import Scope

NEXT_STATUS = {
    Recall.Status.OPEN: Recall.Status.NOTIFIED,
    Recall.Status.NOTIFIED: Recall.Status.CLOSED,
}


@transaction.atomic
def open_recall(
    *,
    by: User,
    root: Beginning,
    hazard_class: str,
    reason: str,
    public_notice: str,
    is_mock: bool = False,
    submission: uuid.UUID | None = None,
) -> Recall:
    """Open a recall of ``root``; everything affected is frozen at once.

    What it can begin with is told in :mod:`.recall_roots`. A mock recall finds and
    lists the same, but freezes and shows nothing.
    """
    require(by, Right.REVIEWER)
    reason = need_reason(reason)
    if isinstance(root, Window):
        for at in (root.since, root.until):
            if why_no_time(at):
                raise Refusal(why_no_time(at))
    journal.in_line()  # a release comes before and is frozen, or after and sees this
    now = timezone.now()
    recall = Recall(
        code=next_code("R", local_day(now).year),
        is_mock=is_mock,
        hazard_class=hazard_class,
        reason=reason,
        public_notice=public_notice.strip(),
        opened_at=now,
        **recall_roots.columns_of(root),
    )
    recall.full_clean()
    found = recall_roots.roots_from(root)
    if not found:
        raise Refusal(
            f"Nothing on record rests on {recall_roots.in_words(root)}: no batch, no"
            " filling lot. There is nothing to recall."
        )
    recall.save(force_insert=True)
    if not recall_roots.is_plain(root):
        keep_roots(recall, found)
    frozen = {} if is_mock else freeze(by, recall, recall_scope.scope_from(found))
    # Walked again: a draw that was under way held its source, so it is over by now,
    # and from what is frozen nothing more is drawn.
    scope = recall_scope.scope_from(found)
    keep_items(recall, scope.stock_ids)
    keep_event(by, recall, reason)
    journal.write(
        by=by,
        act="mock recall opened" if is_mock else "recall opened",
        subject=recall,
        label=recall.code,
        after={
            "root": recall_roots.in_words(root),
            "hazard_class": hazard_class,
            "public_notice": recall.public_notice,
            "affected": len(scope.stock_ids),
            **({"filling_lots": len(scope.lot_ids)} if scope.lot_ids else {}),
            **frozen,
        },
        reason=reason,
        submission=submission,
    )
    return recall


def keep_roots(recall: Recall, roots: Iterable[Root]) -> list[RecallRoot]:
    """Keep where the walk of a recall starts, and why."""
    return written.create_all(
        RecallRoot,
        (
            RecallRoot(
                recall=recall,
                stock_id=one.stock_id,
                filling_lot_id=one.filling_lot_id,
                is_walked=one.is_walked,
                why=one.why,
            )
            for one in roots
        ),
    )


def keep_items(recall: Recall, ids: Iterable[int]) -> list[RecallItem]:
    """Keep what was found affected."""
    return written.create_all(
        RecallItem, (RecallItem(recall=recall, stock_id=one) for one in ids)
    )


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
        thaw(recall)
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
    batch_id = bottle.filling_lot.batch_id
    return list(recall_scope.reaching(ids, bottle.filling_lot_id, batch_id=batch_id))


def freeze(by: User, recall: Recall, scope: Scope) -> dict[str, int]:
    """Hold everything of a scope that is still here; return how much, for the journal.

    Callers hold the transaction.
    """
    reason = f"Recall {recall.code}"
    ids = scope.stock_ids
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
    here = Bottle.objects.filter(scope.bottles(), status=BottleStatus.FILLED)
    bottles = filling.change_bottles(
        by=by, bottles=list(here), new=BottleStatus.ON_HOLD, reason=reason
    )
    return {"lots_held": len(lots), "bottles_held": bottles}


def thaw(recall: Recall, lots: Iterable[RawLot] | None = None) -> None:
    """Let lots that a recall held be decided about again; they stay on hold.

    All of them where it is closed; ``lots`` where only these are not affected any more.
    """
    frozen = RawLot.objects.filter(frozen_by=recall.code) if lots is None else lots
    for lot in frozen:
        other = recall_scope.holding(lot.pk).exclude(pk=recall.pk).first()
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
