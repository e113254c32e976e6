"""The figures of a lot: what certificate, titration, range and scale say of it."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Callable
from decimal import Decimal

from django.db.models import Count, Q

from batches.chemistry.acids import ACID_HALF_WIDTH, koh_per_gram
from batches.chemistry.constants import PERCENT
from batches.chemistry.errors import ChemistryError
from batches.chemistry.estimates import (
    NORMAL,
    RECTANGULAR,
    Estimate,
    combined,
    format_plus_minus,
    rectangular,
    rectangular_around,
)
from batches.chemistry.potash import HYDROXIDE, TOTAL_ALKALI, Assay, usable_share
from batches.chemistry.saponification import midpoint
from batches.models import ContainerWeighing, Titration
from batches.services.gains import after, chains_of, gains_of
from producer.errors import Refusal
from producer.models import Certificate, Material, RawLot
from producer.quantities import format_number
from producer.services.checks import local_day
from producer.services.intake import current_certificate

BASIS_WORDS = {TOTAL_ALKALI: "total alkali", HYDROXIDE: "hydroxide only"}
# mg KOH/g, of a certificate that states no ±; common practice, no source.
UNSTATED_SAPONIFICATION = Decimal(1)
# How an origin begins; a charge keeps its origin, and what it is known by, in words.
RANGE_WORDS = "middle of the published range"
TITRATION_WORDS = "own titration"
# What the origin of a figure says after that.
HEAVIER_WORDS = "% heavier: between"
# One sample does not say how well it repeats, so nothing is computed with it.
LEAST_COUNTED = 2


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


def figure_of(lot: RawLot, *, at: datetime.datetime | None = None) -> Figure | None:
    """Return what a lot gives to the alkali computation; None for water and the like.

    Usable KOH per gram for potash, mg KOH per gram for an oil, KOH taken up per gram
    for an acid. With ``at`` as it was known then: by what had been entered by that
    moment.
    """
    if lot.material.kind == Material.Kind.POTASH:
        return potash_fraction(lot, at=at)
    if lot.material.kind == Material.Kind.OIL:
        return saponification_value(lot, at=at)
    if lot.material.acid:
        return acid_figure(lot.material)
    return None


def potash_fraction(lot: RawLot, *, at: datetime.datetime | None = None) -> Figure:
    """Return usable KOH per gram of a potash lot as it is today, or was at a time.

    As :func:`potash_as_known`, unless a container weighing that said “hold and retest”
    is later than certificate and titrations: then anything between all that came being
    carbon dioxide and all being water is possible, until the lot is titrated again. A
    certificate is later only by the day printed on it, for it knows nothing of a tin
    that stood open.
    """
    known = potash_as_known(lot, at=at)
    gains = gains_of(lot, lambda: _later_than_known(lot, at), at=at)
    chains = chains_of(lot, gains, at=at) if gains else []
    return _aged(known, chains) if any(chains) else known


def potash_as_known(lot: RawLot, *, at: datetime.datetime | None = None) -> Figure:
    """Return usable KOH per gram of a potash lot, whatever its container weighs.

    Of its newest certificate or its newest own titration, whichever is of the later
    day: potash weakens. Raises :class:`Refusal` without either, or with figures that
    no potash can have.
    """
    certificate = current_certificate(lot, at=at)
    titration = newest_titration(lot, Titration.Kind.POTASH, at=at)
    if titration is not None and not _is_newer(certificate, titration):
        return _beside(
            _titrated(titration, PERCENT, "% KOH"),
            by_certificate_if_possible(lot, at=at),
        )
    found = by_certificate(lot, at=at)
    if found is None:
        raise Refusal(
            f"{lot.code} has no certificate with an assay. Record it on the lot's page"
            " before computing with this potash."
        )
    return found


def by_certificate(
    lot: RawLot, *, at: datetime.datetime | None = None
) -> Figure | None:
    """Return what the certificate alone says of a potash or an oil; None if nothing.

    A saponification value without ± is taken as ± 1 mg KOH/g, rectangular: common
    practice, no source. Raises :class:`Refusal` for figures that no potash can have.
    """
    certificate = current_certificate(lot, at=at)
    if certificate is None:
        return None
    if lot.material.kind == Material.Kind.POTASH:
        return _potash_by_certificate(lot, certificate)
    return _oil_by_certificate(certificate)


def _potash_by_certificate(lot: RawLot, certificate: Certificate) -> Figure | None:
    if certificate.assay_percent is None:
        return None
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
        f"{certificate}, {basis}: {share.words}",
        certificate,
        share.standard_uncertainty,
        share.distribution,
    )


def _oil_by_certificate(certificate: Certificate) -> Figure | None:
    if certificate.saponification_value is None:
        return None
    stated = certificate.saponification_half_width
    half_width = stated or UNSTATED_SAPONIFICATION
    known = rectangular_around(certificate.saponification_value, half_width)
    words = f"± {format_number(half_width)}"
    words += " as stated" if stated else ", common practice: no ± stated"
    return Figure(
        known.value,
        f"{certificate}, {words}",
        certificate,
        known.standard_uncertainty,
        known.distribution,
    )


def by_certificate_if_possible(
    lot: RawLot, *, at: datetime.datetime | None = None
) -> Figure | None:
    """Return what the certificate says; None also where no potash can be like that."""
    try:
        return by_certificate(lot, at=at)
    except Refusal:  # then there is only the titration to go by
        return None


def _later_than_known(
    lot: RawLot, at: datetime.datetime | None
) -> Callable[[ContainerWeighing], bool]:
    """Return what tells a weighing later than the certificate and the titrations."""
    titration = newest_titration(lot, Titration.Kind.POTASH, at=at)
    certificate = current_certificate(lot, at=at)
    issued = certificate.issued_on if certificate is not None else None

    def is_later(row: ContainerWeighing) -> bool:
        if titration is not None and titration.observed_at > row.observed_at:
            return False
        return issued is None or issued <= local_day(row.observed_at)

    return is_later


def _aged(known: Figure, chains: list[list[ContainerWeighing]]) -> Figure:
    """Return what is left of a potash that got heavier, as a rectangle, GUM 4.3.7.

    Gains one after another add up: each may be all carbon dioxide or all water. Over
    several containers it reaches from the weakest to the strongest, because a charge
    is computed for the lot. How well it was known before counts too, as much thinner
    as the potash got.
    """
    fraction = min(known.value, Decimal(1))
    ends = [after(fraction, chain) for chain in chains]
    least, most = min(low for low, _, _ in ends), max(high for _, high, _ in ends)
    before = Estimate(
        Decimal(0),
        known.standard_uncertainty / min(times for _, _, times in ends),
        known.distribution,
    )
    now = combined([rectangular(least, most), before])
    was, low, high, heavier = (
        format_number(percent, places=1)
        for percent in (
            known.value * PERCENT,
            least * PERCENT,
            most * PERCENT,
            (max(times for _, _, times in ends) - 1) * PERCENT,
        )
    )
    return Figure(
        now.value,
        f"{_name(known)}, {was} % usable, then {heavier} {HEAVIER_WORDS} {low} %, if"
        f" all of that is carbon dioxide, and {high} %, if all is water",
        known.certificate,
        now.standard_uncertainty,
        now.distribution,
    )


def saponification_value(lot: RawLot, *, at: datetime.datetime | None = None) -> Figure:
    """Return mg KOH per gram of an oil lot, with what is known about it.

    Of its certificate or its newest own titration, whichever is better known, that is
    of the smaller standard uncertainty; without either the middle of the published
    range, and that also where a titration on too coarse a scale knows less than the
    range.
    """
    stated = by_certificate(lot, at=at)
    titration = newest_titration(lot, Titration.Kind.SAPONIFICATION_VALUE, at=at)
    own = None if titration is None else _titrated(titration, Decimal(1), "mg KOH/g")
    if stated is not None:
        if own is None or own.standard_uncertainty >= stated.standard_uncertainty:
            return _beside(stated, own)
        return _beside(own, stated)
    published = range_middle(lot.material)
    if own is None:
        return published
    if own.standard_uncertainty < published.standard_uncertainty:
        return own
    low, high = lot.material.saponification_low, lot.material.saponification_high
    return dataclasses.replace(
        published,
        origin=f"{RANGE_WORDS} {format_number(low or Decimal(0))} to"
        f" {format_number(high or Decimal(0))}, because it is surer than the own"
        " titration: weigh larger samples, on a finer scale",
    )


def _beside(counts: Figure, other: Figure | None) -> Figure:
    """Return the figure that counts, saying so if another one contradicts it.

    More than U of the difference apart: independent, GUM 5.1.2, k = 2.
    """
    if other is None:
        return counts
    gap = abs(counts.value - other.value)
    if gap <= combined_expanded(counts, other):
        return counts
    per, unit = (PERCENT, "%") if other.value <= 1 else (Decimal(1), "mg KOH/g")
    shown = format_plus_minus(other.value * per, 2 * other.standard_uncertainty * per)
    return dataclasses.replace(
        counts,
        origin=f"{counts.origin}; differs from {_name(other)}, {shown} {unit}",
    )


def combined_expanded(one: Figure, other: Figure) -> Decimal:
    """Return U, k = 2, of the difference of two independent figures, GUM 5.1.2.

    >>> known = Figure(Decimal(1), "", standard_uncertainty=Decimal(3))
    >>> combined_expanded(
    ...     known, dataclasses.replace(known, standard_uncertainty=Decimal(4))
    ... )
    Decimal('10')
    """
    return 2 * (one.standard_uncertainty**2 + other.standard_uncertainty**2).sqrt()


def _name(figure: Figure) -> str:
    """Return which certificate or which day's titration a figure is from."""
    if figure.certificate is not None:
        return str(figure.certificate)
    return figure.origin.partition(":")[0]


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


def newest_titration(
    lot: RawLot, kind: str, *, at: datetime.datetime | None = None
) -> Titration | None:
    """Return the newest titration of a kind that stands and has two samples or more.

    By when it was done. One of which a single sample counts does not say how well it
    repeats: it stays on record and nothing is computed with it.
    """
    counted = Count("replicates", filter=Q(replicates__excluded_because=""))
    return (
        Titration.objects.current(at=at)
        .filter(stock_id=lot.pk, kind=kind)
        .annotate(counted=counted)
        .filter(counted__gte=LEAST_COUNTED)
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
