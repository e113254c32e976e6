"""What a batch may draw from, and the figures its certificates give."""

from __future__ import annotations

import dataclasses
import datetime
from decimal import Decimal

from batches.chemistry.acids import ACID_HALF_WIDTH, koh_per_gram
from batches.chemistry.constants import PERCENT
from batches.chemistry.errors import ChemistryError
from batches.chemistry.estimates import (
    NORMAL,
    RECTANGULAR,
    format_plus_minus,
    rectangular,
    rectangular_around,
)
from batches.chemistry.potash import HYDROXIDE, TOTAL_ALKALI, Assay, usable_share
from batches.chemistry.saponification import midpoint
from batches.lifecycle import BatchStatus
from batches.models import Batch, FormulaLine, Titration
from producer.errors import Refusal
from producer.models import Certificate, Material, RawLot, Stock
from producer.quantities import format_number
from producer.services.checks import local_day
from producer.services.intake import current_certificate

DRAWABLE = {BatchStatus.RELEASED, BatchStatus.REWORKED}
BASIS_WORDS = {TOTAL_ALKALI: "total alkali", HYDROXIDE: "hydroxide only"}
# mg KOH/g, of a certificate that states no ±; common practice, no source.
UNSTATED_SAPONIFICATION = Decimal(1)
# How an origin begins; a charge keeps its origin, and what it is known by, in words.
RANGE_WORDS = "middle of the published range"
TITRATION_WORDS = "own titration"


@dataclasses.dataclass(frozen=True)
class Figure:
    """A value that enters the computation, what is known of it, and from where.

    ``standard_uncertainty`` is in the unit of the value, ``distribution`` the shape of
    what is known; 0 and empty for the figure of a charge, which keeps its own.
    """

    value: Decimal
    origin: str
    certificate: Certificate | None = None
    standard_uncertainty: Decimal = Decimal(0)
    distribution: str = ""


def figure_of(lot: RawLot) -> Figure | None:
    """Return what a lot gives to the alkali computation; None for water and the like.

    Usable KOH per gram for potash, mg KOH per gram for an oil, KOH taken up per gram
    for an acid.
    """
    if lot.material.kind == Material.Kind.POTASH:
        return potash_fraction(lot)
    if lot.material.kind == Material.Kind.OIL:
        return saponification_value(lot)
    if lot.material.acid:
        return acid_figure(lot.material)
    return None


def potash_fraction(lot: RawLot) -> Figure:
    """Return usable KOH per gram of a potash lot, with what is known about it.

    Of its newest certificate or its newest own titration, whichever is of the later
    day: potash weakens. Raises :class:`Refusal` without either, or with figures that
    no potash can have.
    """
    certificate = current_certificate(lot)
    titration = newest_titration(lot, Titration.Kind.POTASH)
    if titration is not None and not _is_newer(certificate, titration):
        return _titrated(titration, PERCENT, "% KOH")
    if certificate is None or certificate.assay_percent is None:
        raise Refusal(
            f"{lot.code} has no certificate with an assay. Record it on the lot's page"
            " before computing with this potash."
        )
    try:
        share = usable_share(
            Assay(
                percent=certificate.assay_percent,
                basis=certificate.assay_basis,
                is_minimum=certificate.assay_is_minimum,
                half_width=certificate.assay_half_width,
                carbonate_percent=certificate.carbonate_percent,
            )
        )
    except ChemistryError as error:
        raise Refusal(f"{lot.code}: {error}") from error
    basis = BASIS_WORDS.get(certificate.assay_basis, "")
    return Figure(
        share.value,
        f"certificate version {certificate.version}, {basis}: {share.words}",
        certificate,
        share.standard_uncertainty,
        share.distribution,
    )


def saponification_value(lot: RawLot) -> Figure:
    """Return mg KOH per gram of an oil lot, with what is known about it.

    Of its certificate, else of its newest own titration, else the middle of the
    published range; that also where a titration on too coarse a scale knows less than
    the range. A certificate without ± is taken as ± 1 mg KOH/g, rectangular:
    common practice, no source.
    """
    certificate = current_certificate(lot)
    if certificate is not None and certificate.saponification_value is not None:
        stated = certificate.saponification_half_width
        half_width = stated or UNSTATED_SAPONIFICATION
        known = rectangular_around(certificate.saponification_value, half_width)
        words = f"± {format_number(half_width)}"
        words += " as stated" if stated else ", common practice: no ± stated"
        return Figure(
            known.value,
            f"certificate version {certificate.version}, {words}",
            certificate,
            known.standard_uncertainty,
            known.distribution,
        )
    published = range_middle(lot.material)
    titration = newest_titration(lot, Titration.Kind.SAPONIFICATION_VALUE)
    if titration is None:
        return published
    own = _titrated(titration, Decimal(1), "mg KOH/g")
    if own.standard_uncertainty < published.standard_uncertainty:
        return own
    low, high = lot.material.saponification_low, lot.material.saponification_high
    return dataclasses.replace(
        published,
        origin=f"{RANGE_WORDS} {format_number(low or Decimal(0))} to"
        f" {format_number(high or Decimal(0))}, because it is surer than the own"
        " titration: weigh larger samples, on a finer scale",
    )


def range_middle(material: Material) -> Figure:
    """Return the middle of an oil's published range, the whole range being possible.

    Rectangular, GUM 4.3.7: u = (max − min)/√12.
    """
    low, high = material.saponification_low, material.saponification_high
    if low is None or high is None:
        raise Refusal(f"{material.name} has no published saponification range.")
    return Figure(
        midpoint(low, high),
        f"{RANGE_WORDS} {format_number(low)} to {format_number(high)}"
        f" ({material.saponification_source or 'source not recorded'})",
        standard_uncertainty=rectangular(low, high).standard_uncertainty,
        distribution=RECTANGULAR,
    )


def acid_figure(material: Material) -> Figure:
    """Return grams of KOH that a gram of an acid takes up.

    Taken as ± 0.5 % of it, rectangular: common practice, no source.
    """
    try:
        value = koh_per_gram(material.acid)
    except ChemistryError as error:
        raise Refusal(f"{material.name}: {error}") from error
    known = rectangular_around(value, value * ACID_HALF_WIDTH)
    return Figure(
        known.value,
        f"stoichiometry of {material.get_acid_display()}; ± 0.5 % of it, common"
        " practice",
        standard_uncertainty=known.standard_uncertainty,
        distribution=known.distribution,
    )


def newest_titration(lot: RawLot, kind: str) -> Titration | None:
    """Return the newest titration of a kind that stands, by when it was done."""
    return (
        Titration.objects.current()
        .filter(stock_id=lot.pk, kind=kind)
        .order_by("-observed_at", "-pk")
        .first()
    )


def _is_newer(certificate: Certificate | None, titration: Titration) -> bool:
    """Say whether a certificate with an assay is of a later day than a titration.

    Its day is that printed on it, else that on which it was recorded. On the same day
    the own titration counts: it is of this very container.
    """
    if certificate is None or certificate.assay_percent is None:
        return False
    issued = certificate.issued_on or local_day(certificate.entered_at)
    return issued > local_day(titration.observed_at)


def _titrated(titration: Titration, per: Decimal, unit: str) -> Figure:
    value = titration.value or Decimal(0)
    uncertainty = titration.standard_uncertainty or Decimal(0)
    day = local_day(titration.observed_at)
    return Figure(
        value / per,
        f"{TITRATION_WORDS} of {day.day} {day:%b %Y}:"
        f" {format_plus_minus(value, 2 * uncertainty)} {unit} (k = 2)",
        standard_uncertainty=uncertainty / per,
        distribution=NORMAL,
    )


def check_source(
    *,
    batch: Batch,
    line: FormulaLine | None,
    source: Stock,
    on: datetime.date,
    is_correction: bool = False,
) -> None:
    """Raise :class:`Refusal` unless ``batch`` may draw from ``source`` on that day.

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
            _check_corrects(lot)
        else:
            _check_line(line=line, lot=lot)
        _check_lot(lot=lot, on=on)
    elif is_correction:
        raise Refusal("A correction is of a raw lot, not of a batch.", field="source")
    else:
        _check_batch(batch=batch, line=line, source=source)


def corrects(material: Material) -> bool:
    """Say whether a material moves the alkali balance: oil, potash or a known acid."""
    return bool(material.acid) or material.kind in {
        Material.Kind.OIL,
        Material.Kind.POTASH,
    }


def _check_corrects(lot: RawLot) -> None:
    if not corrects(lot.material):
        raise Refusal(
            f"{lot.code} is {lot.material.name}, which neither takes up alkali nor"
            " brings it. Correct with oil, potash, or an acid that is registered as"
            " one.",
            field="source",
        )


def _check_line(*, line: FormulaLine | None, lot: RawLot) -> None:
    if line is None or line.material_id != lot.material_id:
        raise Refusal(
            f"{lot.code} is {lot.material.name}, which this line of the formula does"
            " not ask for. Choose a lot of the right material.",
            field="source",
        )


def _check_lot(*, lot: RawLot, on: datetime.date) -> None:
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
