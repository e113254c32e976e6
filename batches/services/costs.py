"""What a batch cost besides its raw lots: recorded, corrected, taken back.

No part of what is signed: a bill may come when the batch was released long ago.
"""

from __future__ import annotations

import datetime
import uuid
from typing import Any

from django.db import transaction
from django.utils import timezone

from batches.models import Batch, Cost
from batches.services.cooking.rows import newest, write
from producer.models import Right, User
from producer.services.checks import need_reason, plausible_time, require


@transaction.atomic
def record_cost(
    *,
    by: User,
    batch: Batch,
    kind: str,
    amount_hundredths: int,
    note: str = "",
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> Cost:
    """Record what was spent on a batch, in hundredths of the currency."""
    require(by, Right.MAKER)
    row = Cost(
        batch=batch,
        kind=kind,
        amount_hundredths=amount_hundredths,
        note=note.strip(),
        observed_at=plausible_time(observed_at or timezone.now()),
        entered_by=by,
    )
    row.full_clean()
    row.save(force_insert=True)
    write(by, batch, "cost recorded", after=_facts(row), submission=submission)
    return row


@transaction.atomic
def amend_cost(
    *,
    by: User,
    cost: Cost,
    reason: str,
    amount_hundredths: int = 0,
    note: str = "",
    void: bool = False,
    submission: uuid.UUID | None = None,
) -> Cost:
    """Correct a cost by a new row, or take it back; the old row stays legible."""
    require(by, Right.MAKER)
    newest(cost, Cost.objects.select_for_update())
    row = Cost(
        batch=cost.batch,
        kind=cost.kind,
        amount_hundredths=0 if void else amount_hundredths,
        note=note.strip(),
        observed_at=cost.observed_at,
        entered_by=by,
        supersedes=cost,
        reason=need_reason(reason),
        is_void=void,
    )
    row.full_clean()
    row.save(force_insert=True)
    write(
        by,
        cost.batch,
        "cost taken back" if void else "cost corrected",
        before=_facts(cost),
        after=_facts(row),
        reason=row.reason,
        submission=submission,
    )
    return row


def _facts(row: Cost) -> dict[str, Any]:
    return {
        "kind": row.kind,
        "amount_hundredths": row.amount_hundredths,
        "note": row.note,
        "is_void": row.is_void,
    }
