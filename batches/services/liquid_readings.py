"""What is measured of a liquid besides its pH: hardness of its water, and its density.

A density is often taken when the bottles are filled, after the release. So one may be
recorded later too; but only what was measured while the record was open is part of what
is signed, see :func:`of_record`.
"""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django.db import transaction

from batches.lifecycle import BatchStatus
from batches.models import Batch, Formula, LiquidReading
from batches.services import moves, transcribing
from batches.services.cooking.plausible import check_in_use
from batches.services.cooking.rows import newest as is_newest
from batches.services.cooking.rows import write
from batches.services.entries import Entries, standing
from producer.errors import Refusal
from producer.models import Instrument, Right, User
from producer.services.checks import need_reason, require

Kind = LiquidReading.Kind
# Where a liquid is still on the premises, so that it can be measured.
MEASURABLE = (
    BatchStatus.IN_PROCESS,
    BatchStatus.AWAITING_REVIEW,
    BatchStatus.RELEASED,
    BatchStatus.ON_HOLD,
)
PLACES = Decimal("0.0001")


@transaction.atomic
def record(
    *,
    by: User,
    batch: Batch,
    kind: str,
    value: Decimal,
    half_width: Decimal = Decimal(0),
    temperature: Decimal | None = None,
    method: str = "",
    instrument: Instrument | None = None,
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> LiquidReading:
    """Record a hardness in mmol/l, or a density in g/ml at ``temperature`` in °C.

    ``half_width`` is by how much the value may be wrong. Of a dilution or a blend; a
    hardness while its record is open, a density also after the release.
    """
    require(by, Right.MAKER)
    batch = moves.locked(batch)
    _can_be_measured(batch, kind)
    row = _filled(
        LiquidReading(batch=batch, kind=kind, entered_by=by),
        value=value,
        half_width=half_width,
        temperature=temperature,
        method=method,
        instrument=instrument,
        observed_at=transcribing.observed(batch, observed_at, None),
    )
    row.save(force_insert=True)
    write(
        by,
        batch,
        f"{row.get_kind_display()} recorded",
        after=_facts(row),
        submission=submission,
    )
    return row


@transaction.atomic
def amend(
    *,
    by: User,
    reading: LiquidReading,
    reason: str,
    value: Decimal | None = None,
    half_width: Decimal = Decimal(0),
    temperature: Decimal | None = None,
    method: str = "",
    instrument: Instrument | None = None,
    void: bool = False,
    submission: uuid.UUID | None = None,
) -> LiquidReading:
    """Correct what was written down wrongly, or take it back; the old value stays.

    What stands in a signed record stays as it was signed: a new measurement beside it
    is what counts then.
    """
    require(by, Right.MAKER)
    batch = moves.locked(reading.batch)
    is_newest(reading, LiquidReading.objects.all())
    closed = closed_at(batch)
    if closed is not None and reading.entered_at <= closed:
        raise Refusal(
            f"This stands in the signed record of {batch.number}. Measure again and"
            " record it: the newest one counts."
        )
    row = _filled(
        LiquidReading(
            batch=batch,
            kind=reading.kind,
            entered_by=by,
            supersedes=reading,
            reason=need_reason(reason),
            is_void=void,
        ),
        value=None if void else value,
        half_width=Decimal(0) if void else half_width,
        temperature=None if void else temperature,
        method="" if void else method,
        instrument=None if void else instrument,
        observed_at=reading.observed_at,
    )
    row.save(force_insert=True)
    write(
        by,
        batch,
        f"{row.get_kind_display()} {'taken back' if void else 'corrected'}",
        before=_facts(reading),
        after=_facts(row),
        reason=row.reason,
        submission=submission,
    )
    return row


def newest(batch: Batch, kind: str) -> LiquidReading | None:
    """Return the newest standing reading of a kind, or None if there is none."""
    return newest_of(Entries(batch), kind)


def newest_of(entries: Entries, kind: str) -> LiquidReading | None:
    """Return the same from the rows of a batch, where they were read already."""
    rows = [row for row in entries.liquid_readings if row.kind == kind]
    return next(iter(reversed(standing(rows))), None)


def closed_at(batch: Batch) -> datetime.datetime | None:
    """Return when the record of a batch was closed by a decision; None while open."""
    changes = batch.status_changes.filter(
        old=BatchStatus.AWAITING_REVIEW,
        new__in=[BatchStatus.RELEASED, BatchStatus.REJECTED],
    )
    return changes.order_by("pk").values_list("entered_at", flat=True).first()


def of_record(batch: Batch, rows: Iterable[LiquidReading]) -> list[LiquidReading]:
    """Return those that belong to the record: entered before it was closed."""
    rows = list(rows)
    closed = closed_at(batch) if rows else None
    return [row for row in rows if closed is None or row.entered_at <= closed]


def _can_be_measured(batch: Batch, kind: str) -> None:
    if batch.kind == Formula.Kind.COOK:
        raise Refusal(
            f"Batch {batch.number} is a cook: it makes paste. Hardness and density are"
            " measured of what it is diluted to."
        )
    if kind == Kind.HARDNESS and not batch.is_open:
        moves.still_open(batch)  # says that the record is closed
    if batch.status in MEASURABLE:
        return
    if kind == Kind.HARDNESS and batch.status == BatchStatus.PLANNED:
        return  # the water is there before the first charge
    if batch.status == BatchStatus.PLANNED:
        raise Refusal("Nothing is in the pot yet. Weigh the first charge.")
    raise Refusal(
        f"Batch {batch.number} is {BatchStatus(batch.status).label}: there is nothing"
        " left of it to measure."
    )


def _filled(
    row: LiquidReading,
    *,
    value: Decimal | None,
    half_width: Decimal,
    temperature: Decimal | None,
    method: str,
    instrument: Instrument | None,
    observed_at: datetime.datetime,
) -> LiquidReading:
    row.value = None if value is None else value.quantize(PLACES)
    row.half_width = half_width.quantize(PLACES)
    row.temperature, row.method = temperature, method.strip()
    row.instrument, row.observed_at = instrument, observed_at
    _is_plausible(row)
    if instrument is not None:
        _fits(row, instrument)
    row.full_clean()
    return row


def _is_plausible(row: LiquidReading) -> None:
    """Say beside the field what the table would refuse without a field."""
    if row.is_void:
        return
    if row.value is None:
        raise Refusal("This is needed.", field="value")
    if row.kind == Kind.HARDNESS:
        if not 0 <= row.value <= 20:  # noqa: PLR2004 - as the table, see hardness.py
            raise Refusal(
                "Tap and well water has between 0 and 20 mmol/l. Check the unit.",
                field="value",
            )
    elif not Decimal("0.8") <= row.value <= Decimal("1.3"):
        raise Refusal(
            "A liquid soap weighs between 0.8 and 1.3 g per millilitre. Check both the"
            " mass and the volume.",
            field="value",
        )
    elif row.temperature is None:
        raise Refusal(
            "A density belongs to a temperature. Write that of the liquid.",
            field="temperature",
        )
    if row.half_width > row.value and row.value:
        raise Refusal(
            "The ± is larger than the value itself. Write how well it is known.",
            field="half_width",
        )


def _fits(row: LiquidReading, instrument: Instrument) -> None:
    if row.kind != Kind.DENSITY or instrument.kind != Instrument.Kind.SCALE:
        raise Refusal(
            f"{instrument.name} is a {instrument.get_kind_display()} and does not"
            f" measure {row.get_kind_display()}.",
            field="instrument",
        )
    former = row.supersedes
    if not isinstance(former, LiquidReading) or former.instrument_id != instrument.pk:
        check_in_use(instrument, field="instrument")


def _facts(row: LiquidReading) -> dict[str, Any]:
    return {
        "kind": row.kind,
        "value": None if row.value is None else str(row.value),
        "half_width": str(row.half_width),
        "temperature": None if row.temperature is None else str(row.temperature),
        "method": row.method,
        "instrument": row.instrument.name if row.instrument else None,
        "is_void": row.is_void,
        "observed_at": row.observed_at.isoformat(),
    }
