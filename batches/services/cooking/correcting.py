"""A correction: oil, acid or potash that the formula does not ask for."""

from __future__ import annotations

import datetime
import uuid

from django.db import transaction

from batches.lifecycle import BatchStatus
from batches.models import Batch, Charge
from batches.services import (
    hold_points,
    planning,
    potash_gain,
    sources,
    transcribing,
)
from batches.services.cooking.charging import charge_facts, from_where, with_figure
from batches.services.cooking.drawing import put_in
from batches.services.cooking.guards import still_takes_charges
from batches.services.cooking.how import PLAIN, How
from batches.services.cooking.plausible import check_correction
from batches.services.cooking.refused import leaves_a_trace
from batches.services.cooking.rows import weighed, write
from producer.errors import Refusal
from producer.models import Instrument, Material, Right, Stock, User
from producer.services.checks import local_day, need_reason, require


@leaves_a_trace
@transaction.atomic
def correct(
    *,
    by: User,
    batch: Batch,
    source: Stock,
    scale: Instrument,
    gross_mg: int,
    tare_mg: int,
    reason: str,
    how: How = PLAIN,
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> Charge:
    """Weigh in a lot that no line asks for, to bring the alkali of the batch back.

    It is drawn, traced and signed as every charge is, and what was read or titrated
    before it no longer counts. Refused before all oils and potash are in, after the
    yield was weighed, and above a twentieth of what is in the pot: that is a slip, or
    another recipe.
    """
    require(by, Right.MAKER)
    reason = need_reason(reason)
    batch = still_takes_charges(batch)
    observed_at = transcribing.observed(batch, observed_at, how.transcription)
    hold_points.stop_unless_passed(batch, observed_at, transcription=how.transcription)
    _all_is_in(batch)
    sources.check_source(
        batch=batch,
        line=None,
        source=source,
        on=transcribing.judged_on(observed_at, how.transcription),
        observed_on=local_day(observed_at),
        is_correction=True,
    )
    row = weighed(
        with_figure(Charge(batch=batch, source=source, entered_by=by, reason=reason)),
        scale=scale,
        gross_mg=gross_mg,
        tare_mg=tare_mg,
        observed_at=observed_at,
        how=from_where(source, how, net_mg=gross_mg - tare_mg),
    )
    potash_gain.stop_unless_weighed(row, before_mg=gross_mg)
    check_correction(batch, row.net_mg)
    put_in(by, row)
    write(
        by,
        batch,
        "correction weighed",
        after=charge_facts(row),
        reason=reason,
        submission=submission,
    )
    return row


def missing_before_correcting(batch: Batch) -> list[str]:
    """Return the names of the oils and potash that are not in the pot yet.

    A rework may be nothing but a rejected batch and its correction.
    """
    if batch.is_rework:
        return []
    balance = set(
        batch.formula_version.lines.filter(
            material__kind__in=[Material.Kind.OIL, Material.Kind.POTASH]
        ).values_list("material__name", flat=True)
    )
    return [name for name in planning.uncharged_lines(batch) if name in balance]


def _all_is_in(batch: Batch) -> None:
    if batch.status == BatchStatus.PLANNED:
        raise Refusal("Nothing is in the pot yet. Weigh the first charge.")
    missing = missing_before_correcting(batch)
    if missing:
        raise Refusal(
            f"Weigh {', '.join(missing)} first: only then is there anything to correct."
        )
