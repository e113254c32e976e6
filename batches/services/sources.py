"""What a batch may draw from; the figures of a lot stand in ``figures``."""

from __future__ import annotations

import datetime

from batches import trace
from batches.lifecycle import BatchStatus
from batches.models import Batch, FormulaLine
from batches.services.figures import (
    LEAST_COUNTED,
    RANGE_WORDS,
    TITRATION_WORDS,
    Figure,
    acid_figure,
    by_certificate,
    figure_of,
    newest_titration,
    potash_as_known,
    potash_fraction,
    range_middle,
    saponification_value,
)
from batches.services.gains import HOLD_WORDS
from producer.errors import Refusal
from producer.models import Material, RawLot, Stock

__all__ = [
    "HOLD_WORDS",
    "LEAST_COUNTED",
    "RANGE_WORDS",
    "TITRATION_WORDS",
    "Figure",
    "acid_figure",
    "by_certificate",
    "check_source",
    "corrects",
    "figure_of",
    "must_be_asked_for",
    "must_correct",
    "newest_titration",
    "potash_as_known",
    "potash_fraction",
    "range_middle",
    "saponification_value",
    "why_not",
]

DRAWABLE = {BatchStatus.RELEASED, BatchStatus.REWORKED}


def check_source(
    *,
    batch: Batch,
    line: FormulaLine | None,
    source: Stock,
    on: datetime.date,
    observed_on: datetime.date | None = None,
    is_correction: bool = False,
) -> None:
    """Raise :class:`Refusal` unless ``batch`` may draw from ``source`` on that day.

    ``on`` is the day on which it must be in date, ``observed_on`` the day on which it
    was drawn, which cannot lie before it came.
    A correction needs no line of the formula, but a lot that moves the alkali balance.
    The source is locked until the transaction ends, so that a recall that opens at
    the same moment either finds the new batch or stops the draw.
    """
    if source.kind == Stock.Kind.LOT:
        lot = (
            RawLot.objects.select_for_update(of=("self",))
            .select_related("stock", "material")
            .get(pk=source.pk)
        )
        if is_correction:
            must_correct(lot)
        else:
            must_be_asked_for(line=line, lot=lot)
        _check_lot(lot=lot, on=on)
        if observed_on is not None and observed_on < lot.received_on:
            raise Refusal(
                f"{source.code} came on {lot.received_on:%d %b %Y}, so it cannot have"
                " been weighed before. Check the date, and the lot.",
                field="observed_at",
            )
    elif is_correction:
        raise Refusal("A correction is of a raw lot, not of a batch.", field="source")
    else:
        _check_batch(batch=batch, line=line, source=source)


def why_not(source: Stock, on: datetime.date) -> str:
    """Return why nothing may be drawn from a stock on a day, or nothing.

    By its status and its dates, for a page that offers it; :func:`check_source` is what
    refuses. The lot, or the batch, should be there already.
    """
    try:
        if source.kind == Stock.Kind.LOT:
            _check_usable(source.lot, on=on)
        else:
            _check_drawable(source.batch, source.code)
    except Refusal as refusal:
        return refusal.message
    return ""


def corrects(material: Material) -> bool:
    """Say whether a material moves the alkali balance: oil, potash or a known acid."""
    return bool(material.acid) or material.kind in {
        Material.Kind.OIL,
        Material.Kind.POTASH,
    }


def must_correct(lot: RawLot) -> None:
    """Refuse a lot that moves no alkali, where the alkali is corrected."""
    if not corrects(lot.material):
        raise Refusal(
            f"{lot.code} is {lot.material.name}, which neither takes up alkali nor"
            " brings it. Correct with oil, potash, or an acid that is registered as"
            " one.",
            field="source",
        )


def must_be_asked_for(*, line: FormulaLine | None, lot: RawLot) -> None:
    """Refuse a lot of another material than a line of the formula asks for."""
    if line is None or line.material_id != lot.material_id:
        raise Refusal(
            f"{lot.code} is {lot.material.name}, which this line of the formula does"
            " not ask for. Choose a lot of the right material.",
            field="source",
        )


def _check_lot(*, lot: RawLot, on: datetime.date) -> None:
    _check_usable(lot, on=on)
    figure_of(lot)  # refuses figures that cannot be computed with


def _check_usable(lot: RawLot, *, on: datetime.date) -> None:
    if lot.status != RawLot.Status.RELEASED:
        raise Refusal(
            f"{lot.code} is {lot.get_status_display()}, not released. Have it released"
            " on its page, or take another lot.",
            field="source",
        )
    if lot.is_expired(on):
        raise Refusal(
            f"{lot.code} expired on {lot.expires_on:%d %b %Y}. Take another lot.",
            field="source",
        )
    if lot.is_retest_due(on):
        raise Refusal(
            f"{lot.code} was due for retest on {lot.retest_on:%d %b %Y}. Retest it, or"
            " take another lot.",
            field="source",
        )


def _check_batch(*, batch: Batch, line: FormulaLine | None, source: Stock) -> None:
    origin = (
        Batch.objects.select_for_update(of=("self",))
        .select_related("stock", "formula_version")
        .get(pk=source.pk)
    )
    status = _check_drawable(origin, source.code)
    # By an entry kept on a device: no charge can be taken from a batch that is open.
    if batch.pk in trace.upstream_ids(origin.pk):
        raise Refusal(
            f"Of batch {source.code} it is on record that {batch.number} is in it"
            " already. A batch is never in itself: take another source.",
            field="source",
        )
    if status is BatchStatus.REWORKED and not batch.is_rework:
        raise Refusal(
            f"Batch {source.code} was rejected and may only go into a batch that was"
            " opened for rework.",
            field="source",
        )
    within = [] if batch.is_rework else trace.blocked([source.pk]).get(source.pk, [])
    if within:
        raise Refusal(
            f"Nothing of batch {source.code} may be used: {', '.join(within)}. A"
            " reviewer decides about that first; or take another batch.",
            field="source",
        )
    if status is BatchStatus.REWORKED and line is None:
        return
    if line is None or line.source_formula_id != origin.formula_version.formula_id:
        raise Refusal(
            f"Batch {source.code} is not what this line of the formula asks for.",
            field="source",
        )


def _check_drawable(origin: Batch, code: str) -> BatchStatus:
    status = BatchStatus(origin.status)
    if status not in DRAWABLE:
        raise Refusal(
            f"Batch {code} is {status.label}. Only a released batch, or one with a"
            " signed rework decision, can be drawn from.",
            field="source",
        )
    return status
