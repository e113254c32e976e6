"""Whether a titration contradicts what is known of its lot.

A titrant of 1 mol/l written as 0.5 halves the potash, and the charge doubles; the
titration itself looks as sure as ever. So a result that does not fit the certificate or
the published range asks for a reason when it is recorded. Decimal, because it decides
by comparison.
"""

from __future__ import annotations

from decimal import Decimal

from batches.chemistry.constants import PERCENT
from batches.chemistry.estimates import format_plus_minus
from batches.chemistry.replicates import Determination, Kind
from batches.services.figures import (
    Figure,
    by_certificate_if_possible,
    combined_expanded,
)
from producer.errors import Refusal
from producer.models import Material, RawLot
from producer.quantities import format_number
from producer.services.intake import LEAST_ASSAY

# Percent by which a potash may lie below its certificate by age alone; common
# practice, no source.
MOST_AGEING = Decimal(8)


def check(
    *,
    lot: RawLot,
    kind: Kind,
    found: Determination,
    concentration: Decimal,
    unusual: str,
) -> None:
    """Raise :class:`Refusal` for a result that contradicts what is known of the lot.

    ``unusual`` is the reason that lets it stand. What is no potash for soap at all,
    less than 40 % hydroxide, is refused even then, as on a certificate.
    ``concentration`` in mol/l is named in the sentence.
    """
    slips = (
        f"Check the strength of the titrant ({concentration.normalize():f} mol/l),"
        " whether mass and volume were swapped, and whether litres were written for"
        " millilitres."
    )
    if kind is Kind.POTASH and found.value < LEAST_ASSAY:
        raise Refusal(
            f"Hydroxide of {found.value:.1f} % KOH is no potash for soap: liquid potash"
            f" has 45 to 50 %, flakes 85 to 92 %. {slips}"
        )
    against = _contradicted(lot, kind, found)
    if against and not unusual.strip():
        raise Refusal(
            f"{against} {slips} If it is right all the same, say why it is unusual.",
            field="unusual",
        )


def _contradicted(lot: RawLot, kind: Kind, found: Determination) -> str:
    """Return what the result does not fit, with both figures; empty where it fits."""
    if kind is Kind.POTASH:
        return _by_potash(lot, found)
    if kind is Kind.SAPONIFICATION_VALUE:
        return _by_range(lot.material, found) or _by_certificate(lot, found)
    return ""


def _by_potash(lot: RawLot, found: Determination) -> str:
    stated = by_certificate_if_possible(lot)
    own = _own(found, PERCENT)
    if stated is None:
        return ""
    above = own.value - stated.value
    if above <= combined_expanded(own, stated) and -above * PERCENT <= MOST_AGEING:
        return ""
    return (
        f"Hydroxide of {_shown(own, PERCENT)} % KOH does not fit {stated.certificate},"
        f" which says {_shown(stated, PERCENT)} %."
        + (" Ageing explains less." if above < 0 else " Potash does not get stronger.")
    )


def _by_range(material: Material, found: Determination) -> str:
    low, high = material.saponification_low, material.saponification_high
    if low is None or high is None:
        return ""
    own = _own(found, Decimal(1))
    expanded = 2 * own.standard_uncertainty
    if low - expanded <= own.value <= high + expanded:
        return ""
    return (
        f"A saponification value of {_shown(own, Decimal(1))} mg KOH/g does not fit the"
        f" published range of {material.name}, {format_number(low)} to"
        f" {format_number(high)}."
    )


def _by_certificate(lot: RawLot, found: Determination) -> str:
    stated = by_certificate_if_possible(lot)
    own = _own(found, Decimal(1))
    if stated is None:
        return ""
    if abs(own.value - stated.value) <= combined_expanded(own, stated):
        return ""
    return (
        f"A saponification value of {_shown(own, Decimal(1))} mg KOH/g does not fit"
        f" {stated.certificate}, which says {_shown(stated, Decimal(1))}."
    )


def _own(found: Determination, per: Decimal) -> Figure:
    return Figure(
        found.value / per,
        "",
        standard_uncertainty=found.standard_uncertainty / per,
    )


def _shown(figure: Figure, per: Decimal) -> str:
    return format_plus_minus(figure.value * per, 2 * figure.standard_uncertainty * per)
