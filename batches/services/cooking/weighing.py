"""The weighing of what a batch has made, and its correction."""

from __future__ import annotations

import datetime
import uuid

from django.db import transaction
from django.utils import timezone

from batches.lifecycle import BatchStatus
from batches.models import Batch, BulkWeighing, Transcription
from batches.services import half_weighings, moves, portion_books, transcribing
from batches.services.closed import Also, act_and_facts, may_amend
from batches.services.cooking.how import How
from batches.services.cooking.plausible import check_yield
from batches.services.cooking.rows import newest, weighed, weighing_facts, write
from producer.errors import Refusal
from producer.models import Instrument, Right, StockMovement, User, Vessel
from producer.services import stock as ledger
from producer.services.checks import need_reason, require


@transaction.atomic
def weigh_bulk(
    *,
    by: User,
    batch: Batch,
    scale: Instrument,
    gross_mg: int,
    tare_mg: int,
    vessel: Vessel | None = None,
    transcription: Transcription | None = None,
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> BulkWeighing:
    """Weigh what the batch has made; from now on that much is on hand of it.

    ``vessel`` is what it was weighed in, where that is in the register of vessels.
    """
    require(by, Right.MAKER)
    batch = moves.still_open(batch)
    if batch.status != BatchStatus.IN_PROCESS:
        raise Refusal("Weigh the charges first; then weigh what came out.")
    half_weighings.stop_while_open(batch)
    observed_at = transcribing.observed(batch, observed_at, transcription)
    row = weighed(
        BulkWeighing(batch=batch, entered_by=by),
        scale=scale,
        gross_mg=gross_mg,
        tare_mg=tare_mg,
        observed_at=observed_at,
        how=How(vessel=vessel, transcription=transcription),
    )
    check_yield(batch, row.net_mg)
    row.save(force_insert=True)
    ledger.move(
        by=by,
        stock=batch.stock,
        kind=StockMovement.Kind.PRODUCTION,
        amount_mg=row.net_mg,
        observed_at=observed_at,
        purpose=batch.number,
    )
    write(by, batch, "yield weighed", after=weighing_facts(row), submission=submission)
    return row


@transaction.atomic
def amend_bulk(
    *,
    by: User,
    weighing: BulkWeighing,
    gross_mg: int,
    tare_mg: int,
    reason: str,
    also: Also | None = None,
    submission: uuid.UUID | None = None,
) -> BulkWeighing:
    """Correct the weighing of what the batch made; the stock follows.

    ``also`` lets a signed batch be corrected; only quality's change after signature
    passes it, see :mod:`batches.services.closed`.
    """
    batch = may_amend(by=by, batch=weighing.batch, also=also)
    newest(weighing, BulkWeighing.objects.all())
    row = weighed(
        BulkWeighing(
            batch=batch,
            entered_by=by,
            supersedes=weighing,
            reason=need_reason(reason),
        ),
        scale=weighing.scale,
        gross_mg=gross_mg,
        tare_mg=tare_mg,
        observed_at=weighing.observed_at,
        how=How(vessel=weighing.vessel, transcription=weighing.transcription),
    )
    check_yield(batch, row.net_mg)
    if row.net_mg < weighing.net_mg:
        portion_books.leave_alone(batch, weighing.net_mg - row.net_mg)
    row.save(force_insert=True)
    if row.net_mg != weighing.net_mg:
        ledger.move(
            by=by,
            stock=batch.stock,
            kind=StockMovement.Kind.ADJUSTMENT,
            amount_mg=row.net_mg - weighing.net_mg,
            observed_at=timezone.now(),
            purpose=batch.number,
            reason=row.reason,
        )
    act, further = act_and_facts("yield corrected", also, batch, weighing, row)
    write(
        by,
        batch,
        act,
        before=weighing_facts(weighing),
        after={**weighing_facts(row), **further},
        reason=row.reason,
        submission=submission,
    )
    return row
