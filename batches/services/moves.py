"""Moves in the life of a batch. Callers hold the transaction and write the journal."""

from __future__ import annotations

import datetime

from django.utils import timezone

from batches.lifecycle import BATCH_MOVES, BatchStatus, ForbiddenMove, find_move
from batches.models import Batch, BatchStatusChange
from producer.errors import Conflict, Refusal
from producer.models import Right, User
from producer.services.checks import require


def locked(batch: Batch) -> Batch:
    """Return the batch as it stands now, locked until the transaction ends."""
    return (
        Batch.objects.select_for_update(of=("self",))
        .select_related("stock", "formula_version__formula")
        .get(pk=batch.pk)
    )


def still_open(batch: Batch) -> Batch:
    """Return the batch, locked, if its record still takes entries."""
    batch = locked(batch)
    if not batch.is_open:
        raise Refusal(
            f"Batch {batch.number} is {BatchStatus(batch.status).label}: its record is"
            " closed and signed, and nothing can be added or changed in it."
        )
    return batch


def hold_if_released(*, by: User, batch: Batch, reason: str) -> bool:
    """Put a batch on hold if it is released, whoever found the reason; say if it was.

    Making it safer needs no right of a reviewer; lifting the hold does.
    """
    old, new = BatchStatus.RELEASED, BatchStatus.ON_HOLD
    if not Batch.objects.filter(pk=batch.pk, status=old).update(status=new):
        return False
    batch.status = new
    BatchStatusChange.objects.create(
        batch=batch,
        old=old,
        new=new,
        reason=reason,
        observed_at=timezone.now(),
        entered_by=by,
    )
    return True


def move_batch(
    *,
    by: User,
    batch: Batch,
    new: BatchStatus,
    reason: str = "",
    observed_at: datetime.datetime | None = None,
) -> BatchStatusChange:
    """Carry out a move that the table of lives allows, in one conditional UPDATE.

    Raises :class:`PermissionDenied` without the right for it and :class:`Conflict`
    if the move is not allowed from here or somebody moved the batch meanwhile.
    """
    old = BatchStatus(batch.status)
    try:
        move = find_move(BATCH_MOVES, old, new)
    except ForbiddenMove as error:
        raise Conflict(f"Batch {batch.number}: {error}") from error
    require(by, Right(move.right))
    if not Batch.objects.filter(pk=batch.pk, status=old).update(status=new):
        raise Conflict(
            f"Somebody else moved batch {batch.number} on a moment ago. Open it again."
        )
    batch.status = new
    return BatchStatusChange.objects.create(
        batch=batch,
        old=old,
        new=new,
        reason=reason,
        observed_at=observed_at or timezone.now(),
        entered_by=by,
    )
