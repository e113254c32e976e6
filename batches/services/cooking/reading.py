"""Readings: temperature, pH, clarity, and their corrections."""

from __future__ import annotations

import datetime
import uuid
from decimal import Decimal
from typing import Any

from django.db import transaction

from batches.lifecycle import BatchStatus
from batches.models import Batch, Reading, Transcription
from batches.services import moves, transcribing
from batches.services.closed import Also, act_and_facts, may_amend
from batches.services.cooking.plausible import check_in_use, check_reading
from batches.services.cooking.rows import from_paper, newest, write
from producer.errors import Refusal
from producer.models import Instrument, Right, User
from producer.services.checks import local_day, need_reason, require


@transaction.atomic
def record_reading(
    *,
    by: User,
    batch: Batch,
    characteristic: str,
    value: Decimal | None = None,
    clarity: str = "",
    method: str = "",
    instrument: Instrument | None = None,
    transcription: Transcription | None = None,
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> Reading:
    """Record a temperature, a pH or the clarity, with how it was taken.

    Every result stays; a repeated test is another row beside the first.
    ``transcription`` is the paper sheet that it was copied from.
    """
    require(by, Right.MAKER)
    batch = moves.still_open(batch)
    if batch.status == BatchStatus.PLANNED:
        raise Refusal("Nothing is in the pot yet. Weigh the first charge.")
    observed_at = transcribing.observed(batch, observed_at, transcription)
    row = _reading(
        Reading(
            batch=batch,
            characteristic=characteristic,
            entered_by=by,
            transcription=transcription,
        ),
        value=value,
        clarity=clarity,
        method=method,
        instrument=instrument,
        observed_at=observed_at,
        on=transcribing.judged_on(observed_at, transcription),
    )
    row.save(force_insert=True)
    write(
        by,
        batch,
        f"{row.get_characteristic_display()} recorded",
        after=_reading_facts(row),
        submission=submission,
    )
    return row


@transaction.atomic
def amend_reading(
    *,
    by: User,
    reading: Reading,
    reason: str,
    value: Decimal | None = None,
    clarity: str = "",
    method: str = "",
    instrument: Instrument | None = None,
    void: bool = False,
    also: Also | None = None,
    submission: uuid.UUID | None = None,
) -> Reading:
    """Correct a reading that was written down wrongly; the old value stays legible.

    ``also`` lets a signed batch be corrected; only quality's change after signature
    passes it, see :mod:`batches.services.closed`.
    """
    batch = may_amend(by=by, batch=reading.batch, also=also)
    newest(reading, Reading.objects.all())
    row = Reading(
        batch=batch,
        characteristic=reading.characteristic,
        entered_by=by,
        transcription=reading.transcription,
        supersedes=reading,
        reason=need_reason(reason),
        is_void=void,
    )
    _reading(
        row,
        value=None if void else value,
        clarity="" if void else clarity,
        method="" if void else method,
        instrument=None if void else instrument or reading.instrument,
        observed_at=reading.observed_at,
        on=local_day(reading.observed_at),
    )
    row.save(force_insert=True)
    act, further = act_and_facts(
        f"{row.get_characteristic_display()} corrected", also, batch, reading, row
    )
    write(
        by,
        batch,
        act,
        before=_reading_facts(reading),
        after={**_reading_facts(row), **further},
        reason=row.reason,
        submission=submission,
    )
    return row


def _reading(
    row: Reading,
    *,
    value: Decimal | None,
    clarity: str,
    method: str,
    instrument: Instrument | None,
    observed_at: datetime.datetime,
    on: datetime.date,
) -> Reading:
    row.value, row.clarity, row.method = value, clarity, method.strip()
    row.instrument, row.observed_at = instrument, observed_at
    check_reading(row)
    if instrument is not None:
        _fits(row, instrument, on)
        if row.transcription_id is None and not _was_read_with(row, instrument):
            check_in_use(instrument, field="instrument")
        row.standard_uncertainty = instrument.standard_uncertainty()
    row.full_clean()
    return row


def _was_read_with(row: Reading, instrument: Instrument) -> bool:
    """Say whether the reading that is corrected was taken with it already."""
    former = row.supersedes
    return isinstance(former, Reading) and former.instrument_id == instrument.pk


def _fits(row: Reading, instrument: Instrument, on: datetime.date) -> None:
    fitting = {
        Reading.Characteristic.TEMPERATURE: {Instrument.Kind.THERMOMETER},
        Reading.Characteristic.PH: {
            Instrument.Kind.PH_METER,
            Instrument.Kind.PH_STRIPS,
        },
    }.get(Reading.Characteristic(row.characteristic), set())
    if instrument.kind not in fitting:
        raise Refusal(
            f"{instrument.name} is a {instrument.get_kind_display()} and does not"
            f" measure {row.get_characteristic_display()}.",
            field="instrument",
        )
    last = instrument.good_until
    if last is not None and instrument.is_expired(on):
        raise Refusal(
            f"{instrument.name} expired on {last:%d %b %Y}. Open a new lot and repeat"
            " the test with it.",
            field="instrument",
        )


def _reading_facts(row: Reading) -> dict[str, Any]:
    return {
        "characteristic": row.characteristic,
        "value": None if row.value is None else str(row.value),
        "clarity": row.clarity,
        "method": row.method,
        "is_void": row.is_void,
        "instrument": row.instrument.name if row.instrument else None,
        "observed_at": row.observed_at.isoformat(),
        **from_paper(row.transcription_id),
    }
