"""The end of a batch at the pot: finished, or given up."""

from __future__ import annotations

import uuid

from django.db import transaction

from batches.lifecycle import BatchStatus
from batches.models import Batch, BulkWeighing
from batches.services import discrepancies, half_weighings, moves, planning
from batches.services.cooking.rows import write
from producer.errors import Refusal
from producer.models import User
from producer.services.checks import need_reason


@transaction.atomic
def finish(*, by: User, batch: Batch, submission: uuid.UUID | None = None) -> Batch:
    """Close the batch to charges and hand it over for review.

    It never opens to charges again: that is what keeps the genealogy free of loops.
    """
    batch = moves.locked(batch)
    if batch.status == BatchStatus.IN_PROCESS:
        _complete(batch)
    moves.move_batch(by=by, batch=batch, new=BatchStatus.AWAITING_REVIEW)
    write(
        by,
        batch,
        "batch finished",
        before={"status": BatchStatus.IN_PROCESS},
        after={"status": batch.status},
        submission=submission,
    )
    return batch


@transaction.atomic
def abandon(
    *, by: User, batch: Batch, reason: str, submission: uuid.UUID | None = None
) -> Batch:
    """Give a batch up. What was charged into it stays charged and traceable."""
    reason = need_reason(reason)
    batch = moves.locked(batch)
    old = batch.status
    moves.move_batch(by=by, batch=batch, new=BatchStatus.ABANDONED, reason=reason)
    write(
        by,
        batch,
        "batch abandoned",
        before={"status": old},
        after={"status": batch.status},
        reason=reason,
        submission=submission,
    )
    return batch


def stops_finishing(batch: Batch) -> list[str]:
    """Return every reason for which this batch cannot be finished now, as refused."""
    found = []
    for check in _CHECKS:
        try:
            check(batch)
        except Refusal as refused:
            found.append(str(refused))
    return found


def _complete(batch: Batch) -> None:
    for check in _CHECKS:
        check(batch)


def _weighed_out(batch: Batch) -> None:
    if not BulkWeighing.objects.current().filter(batch=batch).exists():
        raise Refusal("Weigh what came out of the batch before finishing it.")


def _all_weighed_in(batch: Batch) -> None:
    missing = planning.lines_needed(batch)
    if missing:
        raise Refusal(
            f"Not weighed yet: {', '.join(missing)}. Weigh it, or abandon the batch."
        )


_CHECKS = (
    half_weighings.stop_while_open,
    discrepancies.stop_if_open,
    _weighed_out,
    _all_weighed_in,
)
