"""At the pot: charges, readings, the final weighing, and closing the record."""

from __future__ import annotations

import datetime
import uuid
from decimal import Decimal
from typing import Any, TypeVar

from django.db import models, transaction
from django.utils import timezone

from batches.lifecycle import CLOSED_TO_CHARGES, BatchStatus
from batches.models import Batch, BulkWeighing, Charge, FormulaLine, Input
from batches.models.readings import Reading
from batches.services import moves, planning, sources
from producer import journal
from producer.errors import Conflict, Refusal
from producer.models import (
    Correctable,
    Instrument,
    Material,
    Right,
    Stock,
    StockMovement,
    User,
)
from producer.services import stock as ledger
from producer.services.checks import (
    local_day,
    need_reason,
    plausible_time,
    require,
)

Kind = StockMovement.Kind


@transaction.atomic
def charge(
    *,
    by: User,
    batch: Batch,
    line: FormulaLine | None,
    source: Stock,
    scale: Instrument,
    gross_mg: int,
    tare_mg: int,
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> Charge:
    """Record a weighed addition and draw it from its stock, both or neither.

    ``line`` is the line of the formula it serves; None only for a rejected batch
    going into its rework. Potash comes last: it is refused until every oil has been
    weighed, because its amount follows from them.
    """
    require(by, Right.MAKER)
    observed_at = plausible_time(observed_at or timezone.now())
    batch = moves.still_open(batch)
    if batch.status in CLOSED_TO_CHARGES:
        raise Refusal(f"Batch {batch.number} is finished; nothing can be added to it.")
    if line is not None and line.version_id != batch.formula_version_id:
        raise Refusal("This line belongs to another formula version.", field="line")
    sources.check_source(
        batch=batch, line=line, source=source, on=local_day(observed_at)
    )
    if line and line.material and line.material.kind == Material.Kind.POTASH:
        _oils_first(batch)
    row = _weighed(
        _with_figure(Charge(batch=batch, line=line, source=source, entered_by=by)),
        scale=scale,
        gross_mg=gross_mg,
        tare_mg=tare_mg,
        observed_at=observed_at,
    )
    ledger.move(
        by=by,
        stock=source,
        kind=Kind.DRAW,
        amount_mg=-row.net_mg,
        observed_at=observed_at,
        purpose=batch.number,
    )
    row.save(force_insert=True)
    _add_to_edge(batch, source, row.net_mg)
    if batch.status == BatchStatus.PLANNED:
        moves.move_batch(
            by=by, batch=batch, new=BatchStatus.IN_PROCESS, observed_at=observed_at
        )
    _write(by, batch, "charge weighed", after=_charge_facts(row), submission=submission)
    return row


@transaction.atomic
def amend_charge(
    *,
    by: User,
    charge: Charge,
    reason: str,
    gross_mg: int = 0,
    tare_mg: int = 0,
    source: Stock | None = None,
    void: bool = False,
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> Charge:
    """Correct a charge by a new row: other masses, another lot, or taken back.

    The stock follows: what the old row drew goes back, what the new row says is
    drawn. Both rows stay legible.
    """
    require(by, Right.MAKER)
    batch = moves.still_open(charge.batch)
    _newest(charge, Charge.objects.all())
    reason = need_reason(reason)
    new_source = source or charge.source
    if new_source.pk != charge.source_id:
        sources.check_source(
            batch=batch,
            line=charge.line,
            source=new_source,
            on=local_day(charge.observed_at),
        )
    row = Charge(
        batch=batch,
        line=charge.line,
        source=new_source,
        entered_by=by,
        supersedes=charge,
        reason=reason,
        is_void=void,
    )
    if new_source.pk == charge.source_id:
        row.certificate, row.figure = charge.certificate, charge.figure
        row.figure_origin = charge.figure_origin
    else:
        _with_figure(row)
    _weighed(
        row,
        scale=charge.scale,
        gross_mg=0 if void else gross_mg,
        tare_mg=0 if void else tare_mg,
        observed_at=plausible_time(observed_at or charge.observed_at),
    )
    _move_difference(by, charge, row)
    row.save(force_insert=True)
    _add_to_edge(batch, charge.source, -charge.net_mg)
    _add_to_edge(batch, new_source, row.net_mg)
    _write(
        by,
        batch,
        "charge taken back" if void else "charge corrected",
        before=_charge_facts(charge),
        after=_charge_facts(row),
        reason=reason,
        submission=submission,
    )
    return row


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
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> Reading:
    """Record a temperature, a pH or the clarity, with how it was taken.

    Every result stays; a repeated test is another row beside the first.
    """
    require(by, Right.MAKER)
    batch = moves.still_open(batch)
    if batch.status == BatchStatus.PLANNED:
        raise Refusal("Nothing is in the pot yet. Weigh the first charge.")
    row = _reading(
        Reading(batch=batch, characteristic=characteristic, entered_by=by),
        value=value,
        clarity=clarity,
        method=method,
        instrument=instrument,
        observed_at=plausible_time(observed_at or timezone.now()),
    )
    row.save(force_insert=True)
    _write(
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
    submission: uuid.UUID | None = None,
) -> Reading:
    """Correct a reading that was written down wrongly; the old value stays legible."""
    require(by, Right.MAKER)
    batch = moves.still_open(reading.batch)
    _newest(reading, Reading.objects.all())
    row = Reading(
        batch=batch,
        characteristic=reading.characteristic,
        entered_by=by,
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
    )
    row.save(force_insert=True)
    _write(
        by,
        batch,
        f"{row.get_characteristic_display()} corrected",
        before=_reading_facts(reading),
        after=_reading_facts(row),
        reason=row.reason,
        submission=submission,
    )
    return row


@transaction.atomic
def weigh_bulk(
    *,
    by: User,
    batch: Batch,
    scale: Instrument,
    gross_mg: int,
    tare_mg: int,
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> BulkWeighing:
    """Weigh what the batch has made; from now on that much is on hand of it."""
    require(by, Right.MAKER)
    batch = moves.still_open(batch)
    if batch.status != BatchStatus.IN_PROCESS:
        raise Refusal("Weigh the charges first; then weigh what came out.")
    observed_at = plausible_time(observed_at or timezone.now())
    row = _weighed(
        BulkWeighing(batch=batch, entered_by=by),
        scale=scale,
        gross_mg=gross_mg,
        tare_mg=tare_mg,
        observed_at=observed_at,
    )
    row.save(force_insert=True)
    ledger.move(
        by=by,
        stock=batch.stock,
        kind=Kind.PRODUCTION,
        amount_mg=row.net_mg,
        observed_at=observed_at,
        purpose=batch.number,
    )
    _write(
        by, batch, "yield weighed", after=_weighing_facts(row), submission=submission
    )
    return row


@transaction.atomic
def amend_bulk(
    *,
    by: User,
    weighing: BulkWeighing,
    gross_mg: int,
    tare_mg: int,
    reason: str,
    submission: uuid.UUID | None = None,
) -> BulkWeighing:
    """Correct the weighing of what the batch made; the stock follows."""
    require(by, Right.MAKER)
    batch = moves.still_open(weighing.batch)
    _newest(weighing, BulkWeighing.objects.all())
    row = _weighed(
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
    )
    row.save(force_insert=True)
    if row.net_mg != weighing.net_mg:
        ledger.move(
            by=by,
            stock=batch.stock,
            kind=Kind.ADJUSTMENT,
            amount_mg=row.net_mg - weighing.net_mg,
            observed_at=timezone.now(),
            purpose=batch.number,
            reason=row.reason,
        )
    _write(
        by,
        batch,
        "yield corrected",
        before=_weighing_facts(weighing),
        after=_weighing_facts(row),
        reason=row.reason,
        submission=submission,
    )
    return row


@transaction.atomic
def finish(*, by: User, batch: Batch, submission: uuid.UUID | None = None) -> Batch:
    """Close the batch to charges and hand it over for review.

    It never opens to charges again: that is what keeps the genealogy free of loops.
    """
    batch = moves.locked(batch)
    if batch.status == BatchStatus.IN_PROCESS:
        _complete(batch)
    moves.move_batch(by=by, batch=batch, new=BatchStatus.AWAITING_REVIEW)
    _write(
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
    _write(
        by,
        batch,
        "batch abandoned",
        before={"status": old},
        after={"status": batch.status},
        reason=reason,
        submission=submission,
    )
    return batch


def _oils_first(batch: Batch) -> None:
    missing = planning.uncharged_oils(batch)
    if missing:
        raise Refusal(
            f"Weigh the oils first ({', '.join(missing)}): the potash is computed from"
            " what is really in the pot."
        )


def _complete(batch: Batch) -> None:
    if not BulkWeighing.objects.current().filter(batch=batch).exists():
        raise Refusal("Weigh what came out of the batch before finishing it.")
    missing = planning.lines_needed(batch)
    if missing:
        raise Refusal(
            f"Not weighed yet: {', '.join(missing)}. Weigh it, or abandon the batch."
        )


def _with_figure(row: Charge) -> Charge:
    if row.source.kind != Stock.Kind.LOT:
        return row
    figure = sources.figure_of(planning.lot_of(row.source))
    if figure is not None:
        row.figure = figure.value.quantize(Decimal("0.000001"))
        row.figure_origin = figure.origin
        row.certificate = figure.certificate
    return row


Weighed = TypeVar("Weighed", Charge, BulkWeighing)


def _weighed(
    row: Weighed,
    *,
    scale: Instrument,
    gross_mg: int,
    tare_mg: int,
    observed_at: datetime.datetime,
) -> Weighed:
    if scale.kind != Instrument.Kind.SCALE:
        raise Refusal("Choose the scale it was weighed on.", field="scale")
    row.scale = scale
    row.gross_mg, row.tare_mg, row.net_mg = gross_mg, tare_mg, gross_mg - tare_mg
    row.observed_at = observed_at
    row.full_clean()
    return row


def _reading(
    row: Reading,
    *,
    value: Decimal | None,
    clarity: str,
    method: str,
    instrument: Instrument | None,
    observed_at: datetime.datetime,
) -> Reading:
    row.value, row.clarity, row.method = value, clarity, method.strip()
    row.instrument, row.observed_at = instrument, observed_at
    if instrument is not None:
        _fits(row, instrument)
        row.standard_uncertainty = instrument.standard_uncertainty()
    row.full_clean()
    return row


def _fits(row: Reading, instrument: Instrument) -> None:
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
    if instrument.is_expired(local_day(row.observed_at)):
        raise Refusal(
            f"{instrument.name} expired on {instrument.expires_on:%d %b %Y}. Open a new"
            " lot and repeat the test with it.",
            field="instrument",
        )


def _newest(row: Correctable, rows: models.QuerySet[Any]) -> None:
    if rows.filter(supersedes_id=row.pk).exists():
        raise Conflict(
            "This entry was corrected already. Open the batch again and correct the"
            " newest one."
        )
    if row.is_void:
        raise Conflict("This entry was taken back; record a new one instead.")


def _move_difference(by: User, old: Charge, new: Charge) -> None:
    if new.source_id == old.source_id:
        _draw(by, new, new.net_mg - old.net_mg)
    else:
        _draw(by, old, -old.net_mg, reason=new.reason)
        _draw(by, new, new.net_mg)


def _draw(by: User, row: Charge, amount_mg: int, *, reason: str = "") -> None:
    if amount_mg:
        ledger.move(
            by=by,
            stock=row.source,
            kind=Kind.DRAW if amount_mg > 0 else Kind.DRAW_BACK,
            amount_mg=-amount_mg,
            observed_at=row.observed_at,
            purpose=row.batch.number,
            reason=reason or row.reason,
        )


def _add_to_edge(batch: Batch, source: Stock, mass_mg: int) -> None:
    if not mass_mg:
        return
    Input.objects.get_or_create(batch=batch, source=source, defaults={"mass_mg": 0})
    Input.objects.filter(batch=batch, source=source).update(
        mass_mg=models.F("mass_mg") + mass_mg
    )


def _weighing_facts(row: Charge | BulkWeighing) -> dict[str, Any]:
    return {
        "gross_mg": row.gross_mg,
        "tare_mg": row.tare_mg,
        "net_mg": row.net_mg,
        "is_void": row.is_void,
        "scale": row.scale.name,
        "observed_at": row.observed_at.isoformat(),
    }


def _charge_facts(row: Charge) -> dict[str, Any]:
    return {**_weighing_facts(row), "source": row.source.code}


def _reading_facts(row: Reading) -> dict[str, Any]:
    return {
        "characteristic": row.characteristic,
        "value": None if row.value is None else str(row.value),
        "clarity": row.clarity,
        "method": row.method,
        "is_void": row.is_void,
        "instrument": row.instrument.name if row.instrument else None,
        "observed_at": row.observed_at.isoformat(),
    }


def _write(
    by: User,
    batch: Batch,
    act: str,
    *,
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
    reason: str = "",
    submission: uuid.UUID | None = None,
) -> None:
    journal.write(
        by=by,
        act=act,
        subject=batch,
        label=batch.number,
        before=before,
        after=after,
        reason=reason,
        submission=submission,
    )
