"""What a batch may draw from, and the figures its certificates give."""

from __future__ import annotations

import dataclasses
import datetime
from decimal import Decimal

from batches.chemistry.errors import ChemistryError
from batches.chemistry.potash import usable_fraction
from batches.chemistry.saponification import midpoint
from batches.lifecycle import BatchStatus
from batches.models import Batch, FormulaLine
from producer.errors import Refusal
from producer.models import Certificate, Material, RawLot, Stock
from producer.quantities import format_number
from producer.services.intake import current_certificate

DRAWABLE = {BatchStatus.RELEASED, BatchStatus.REWORKED}


@dataclasses.dataclass(frozen=True)
class Figure:
    """A value that enters the computation, and where it comes from in words."""

    value: Decimal
    origin: str
    certificate: Certificate | None = None


def figure_of(lot: RawLot) -> Figure | None:
    """Return what a lot gives to the alkali computation; None for water and the like.

    Usable KOH per gram for potash, mg KOH per gram for an oil.
    """
    if lot.material.kind == Material.Kind.POTASH:
        return potash_fraction(lot)
    if lot.material.kind == Material.Kind.OIL:
        return saponification_value(lot)
    return None


def potash_fraction(lot: RawLot) -> Figure:
    """Return usable KOH per gram of a potash lot, by its newest certificate.

    Raises :class:`Refusal` without one, or with figures that no potash can have.
    """
    certificate = current_certificate(lot)
    if certificate is None or certificate.assay_percent is None:
        raise Refusal(
            f"{lot.code} has no certificate with an assay. Record it on the lot's page"
            " before computing with this potash."
        )
    try:
        value = usable_fraction(
            assay_percent=certificate.assay_percent,
            basis=certificate.assay_basis,
            carbonate_percent=certificate.carbonate_percent or Decimal(0),
        )
    except ChemistryError as error:
        raise Refusal(f"{lot.code}: {error}") from error
    return Figure(value, _potash_origin(certificate), certificate)


def _potash_origin(certificate: Certificate) -> str:
    least = "at least " if certificate.assay_is_minimum else ""
    assay = format_number(certificate.assay_percent or Decimal(0))
    words = (
        f"certificate version {certificate.version}: {least}{assay} % as"
        f" {certificate.get_assay_basis_display()}"
    )
    if certificate.carbonate_percent is not None:
        words += f", carbonate {format_number(certificate.carbonate_percent)} %"
    elif certificate.assay_basis == Certificate.Basis.TOTAL_ALKALI:
        words += ", carbonate not stated and taken as none"
    if certificate.assay_is_minimum:
        words += "; “minimum” means the truth is usually higher"
    return words


def saponification_value(lot: RawLot) -> Figure:
    """Return mg KOH per gram of an oil lot: of its certificate, else the middle."""
    certificate = current_certificate(lot)
    if certificate is not None and certificate.saponification_value is not None:
        return Figure(
            certificate.saponification_value,
            f"certificate version {certificate.version}",
            certificate,
        )
    return range_middle(lot.material)


def range_middle(material: Material) -> Figure:
    """Return the middle of an oil's published range."""
    low, high = material.saponification_low, material.saponification_high
    if low is None or high is None:
        raise Refusal(f"{material.name} has no published saponification range.")
    return Figure(
        midpoint(low, high),
        f"middle of the published range {format_number(low)} to {format_number(high)}"
        f" ({material.saponification_source or 'source not recorded'})",
    )


def check_source(
    *, batch: Batch, line: FormulaLine | None, source: Stock, on: datetime.date
) -> None:
    """Raise :class:`Refusal` unless ``batch`` may draw from ``source`` on that day.

    The source is locked until the transaction ends, so that a recall that opens at
    the same moment either finds the new batch or stops the draw.
    """
    if source.kind == Stock.Kind.LOT:
        lot = (
            RawLot.objects.select_for_update(of=("self",))
            .select_related("stock", "material")
            .get(pk=source.pk)
        )
        _check_lot(line=line, lot=lot, on=on)
    else:
        _check_batch(batch=batch, line=line, source=source)


def _check_lot(*, line: FormulaLine | None, lot: RawLot, on: datetime.date) -> None:
    if line is None or line.material_id != lot.material_id:
        raise Refusal(
            f"{lot.code} is {lot.material.name}, which this line of the formula does"
            " not ask for. Choose a lot of the right material.",
            field="source",
        )
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
    figure_of(lot)  # refuses figures that cannot be computed with


def _check_batch(*, batch: Batch, line: FormulaLine | None, source: Stock) -> None:
    origin = (
        Batch.objects.select_for_update(of=("self",))
        .select_related("stock", "formula_version")
        .get(pk=source.pk)
    )
    status = BatchStatus(origin.status)
    if status not in DRAWABLE:
        raise Refusal(
            f"Batch {source.code} is {status.label}. Only a released batch, or one with"
            " a signed rework decision, can be drawn from.",
            field="source",
        )
    if status is BatchStatus.REWORKED and not batch.is_rework:
        raise Refusal(
            f"Batch {source.code} was rejected and may only go into a batch that was"
            " opened for rework.",
            field="source",
        )
    if status is BatchStatus.REWORKED and line is None:
        return
    if line is None or line.source_formula_id != origin.formula_version.formula_id:
        raise Refusal(
            f"Batch {source.code} is not what this line of the formula asks for.",
            field="source",
        )
