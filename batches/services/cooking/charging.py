"""Charges: weighed in, corrected, taken back; the stock follows."""

from __future__ import annotations

import datetime
import uuid
from decimal import Decimal
from typing import Any

from django.db import models, transaction
from django.utils import timezone

from batches.lifecycle import CLOSED_TO_CHARGES, BatchStatus
from batches.models import Batch, BulkWeighing, Charge, FormulaLine, Input
from batches.services import hold_points, moves, planning, sources
from batches.services.closed import Also, act_and_facts, may_amend
from batches.services.cooking.how import PLAIN, How
from batches.services.cooking.plausible import check_correction, check_target
from batches.services.cooking.rows import newest, weighed, weighing_facts, write
from producer.errors import Refusal
from producer.models import Instrument, Material, Right, Stock, StockMovement, User
from producer.services import stock as ledger
from producer.services.checks import local_day, need_reason, plausible_time, require


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
    how: How = PLAIN,
    observed_at: datetime.datetime | None = None,
    unusual: str = "",
    submission: uuid.UUID | None = None,
) -> Charge:
    """Record a weighed addition and draw it from its stock, both or neither.

    ``unusual`` is the reason for a mass far from what the formula asks for; without
    one such a mass is refused, because it is mostly a slip of unit or tare.

    ``line`` is the line of the formula it serves; None only for a rejected batch
    going into its rework. Potash comes last: it is refused until every oil has been
    weighed, because its amount follows from them. Nothing is weighed in before the
    hold points were gone through.
    """
    require(by, Right.MAKER)
    observed_at = plausible_time(observed_at or timezone.now())
    batch = still_takes_charges(batch)
    hold_points.stop_unless_passed(batch)
    if line is not None and line.version_id != batch.formula_version_id:
        raise Refusal("This line belongs to another formula version.", field="line")
    sources.check_source(
        batch=batch, line=line, source=source, on=local_day(observed_at)
    )
    if line and line.material and line.material.kind == Material.Kind.POTASH:
        _oils_first(batch)
    row = weighed(
        with_figure(Charge(batch=batch, line=line, source=source, entered_by=by)),
        scale=scale,
        gross_mg=gross_mg,
        tare_mg=tare_mg,
        observed_at=observed_at,
        how=how,
    )
    row.reason = unusual.strip()
    if not row.reason:
        check_target(batch, row)
    put_in(by, row)
    if batch.status == BatchStatus.PLANNED:
        moves.move_batch(
            by=by, batch=batch, new=BatchStatus.IN_PROCESS, observed_at=observed_at
        )
    write(by, batch, "charge weighed", after=charge_facts(row), submission=submission)
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
    also: Also | None = None,
    submission: uuid.UUID | None = None,
) -> Charge:
    """Correct a charge by a new row: other masses, another lot, or taken back.

    The stock follows: what the old row drew goes back, what the new row says is
    drawn. Both rows stay legible. It is held to what a new row is held to: the scale
    must carry it, a new lot must fit, a correction stays small. Only a mass far from
    the formula needs no second reason.

    ``also`` lets a signed batch be corrected, but for the lot; only quality's change
    after signature passes it, see :mod:`batches.services.closed`.
    """
    batch = may_amend(by=by, batch=charge.batch, also=also)
    newest(charge, Charge.objects.all())
    reason = need_reason(reason)
    new_source = source or charge.source
    if also is None:
        _not_taken_back_too_late(batch, void=void)
    elif new_source.pk != charge.source_id:
        # A signed batch may have been drawn from: a loop could arise here.
        raise Refusal("The lot of a charge is not changed after the signature.")
    if new_source.pk != charge.source_id:
        sources.check_source(
            batch=batch,
            line=charge.line,
            source=new_source,
            on=local_day(charge.observed_at),
            is_correction=is_correction(charge),
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
        row.figure_uncertainty = charge.figure_uncertainty
        row.figure_distribution = charge.figure_distribution
        row.figure_origin = charge.figure_origin
    else:
        with_figure(row)
    weighed(
        row,
        scale=charge.scale,
        gross_mg=0 if void else gross_mg,
        tare_mg=0 if void else tare_mg,
        observed_at=plausible_time(observed_at or charge.observed_at),
    )
    if is_correction(row) and not void:
        check_correction(batch, row.net_mg, instead_of_mg=charge.net_mg)
    _move_difference(by, charge, row)
    row.save(force_insert=True)
    _add_to_edge(batch, charge.source, -charge.net_mg)
    _add_to_edge(batch, new_source, row.net_mg)
    act, further = act_and_facts(
        "charge taken back" if void else "charge corrected", also, batch, charge, row
    )
    write(
        by,
        batch,
        act,
        before=charge_facts(charge),
        after={**charge_facts(row), **further},
        reason=reason,
        submission=submission,
    )
    return row


def _not_taken_back_too_late(batch: Batch, *, void: bool) -> None:
    if void and batch.status in CLOSED_TO_CHARGES:
        raise Refusal(
            f"Batch {batch.number} is finished: nothing could be weighed in instead."
            " Correct the masses or the lot of this charge."
        )


def still_takes_charges(batch: Batch) -> Batch:
    """Return the batch, locked, if something may still be weighed in."""
    batch = moves.still_open(batch)
    if batch.status in CLOSED_TO_CHARGES:
        raise Refusal(f"Batch {batch.number} is finished; nothing can be added to it.")
    if BulkWeighing.objects.current().filter(batch=batch).exists():
        raise Refusal(
            "What came out has been weighed already, so nothing can be weighed in any"
            " more. Finish the batch; if it needs mending, it is reworked."
        )
    return batch


def is_correction(charge: Charge) -> bool:
    """Say whether a charge corrects the alkali: a raw lot that no line asks for."""
    return charge.line_id is None and charge.source.kind == Stock.Kind.LOT


def put_in(by: User, row: Charge) -> None:
    """Draw a charge from its stock, save it and add it to the genealogy."""
    ledger.move(
        by=by,
        stock=row.source,
        kind=StockMovement.Kind.DRAW,
        amount_mg=-row.net_mg,
        observed_at=row.observed_at,
        purpose=row.batch.number,
    )
    row.save(force_insert=True)
    _add_to_edge(row.batch, row.source, row.net_mg)


def _oils_first(batch: Batch) -> None:
    missing = planning.uncharged_oils(batch)
    if missing:
        raise Refusal(
            f"Weigh the oils first ({', '.join(missing)}): the potash is computed from"
            " what is really in the pot."
        )


def with_figure(row: Charge) -> Charge:
    """Return a charge with what its lot gives to the alkali computation today."""
    if row.source.kind != Stock.Kind.LOT:
        return row
    figure = sources.figure_of(planning.lot_of(row.source))
    if figure is not None:
        row.figure = figure.value.quantize(Decimal("0.000001"))
        row.figure_uncertainty = figure.standard_uncertainty.quantize(
            Decimal("0.000001")
        )
        row.figure_distribution = figure.distribution
        row.figure_origin = figure.origin
        row.certificate = figure.certificate
    return row


def _move_difference(by: User, old: Charge, new: Charge) -> None:
    if new.source_id == old.source_id:
        _draw(by, new, new.net_mg - old.net_mg)
    else:
        # In one order for everybody: two people who swap two lots at once would wait
        # for each other.
        both = Stock.objects.filter(pk__in=[old.source_id, new.source_id])
        list(both.select_for_update().order_by("pk"))
        _draw(by, old, -old.net_mg, reason=new.reason)
        _draw(by, new, new.net_mg)


def _draw(by: User, row: Charge, amount_mg: int, *, reason: str = "") -> None:
    if amount_mg:
        ledger.move(
            by=by,
            stock=row.source,
            kind=StockMovement.Kind.DRAW
            if amount_mg > 0
            else StockMovement.Kind.DRAW_BACK,
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


def charge_facts(row: Charge) -> dict[str, Any]:
    """Return a charge as plain JSON values for the journal."""
    return {**weighing_facts(row), "source": row.source.code}
