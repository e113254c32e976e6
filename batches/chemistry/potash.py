"""How much of a weighed gram of potash can make soap.

>>> usable_fraction(assay_percent=Decimal("90.2"), basis=HYDROXIDE)
Decimal('0.902')
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from decimal import Decimal
from typing import Final

from batches.chemistry.constants import KOH_PER_K2CO3, PERCENT
from batches.chemistry.errors import ChemistryError, OutOfRangeError
from batches.chemistry.estimates import (
    NORMAL,
    Estimate,
    combined,
    rectangular,
    rectangular_around,
    scaled,
)

TOTAL_ALKALI = "total_alkali"
HYDROXIDE = "hydroxide"

# Percent by mass. USP–NF, Potassium Hydroxide: “not more than 3.5 percent of K2CO3”.
MOST_CARBONATE: Final = Decimal("3.5")
# How far above its “minimum” a potash may be; common practice, no source.
OVER_MINIMUM: Final = Decimal(2)
# The ± of an assay that states none; common practice, no source.
UNSTATED_ASSAY: Final = Decimal("0.5")
WIDEST_ASSAY: Final = Decimal(5)

_ALL_CARBONATE: Final = (
    "By these figures the potash is all carbonate and makes no soap. Check the"
    " certificate; if it is right, do not cook with this lot."
)


def usable_fraction(
    *, assay_percent: Decimal, basis: str, carbonate_percent: Decimal = Decimal(0)
) -> Decimal:
    """Return grams of KOH that react with fat, per gram of potash as it is weighed.

    ``assay_percent`` counts either hydroxide only, or *total alkali* calculated as
    KOH. The latter includes carbonate, which does not saponify fat in a warm pot (so
    it is taken here; common practice, no source seen). From total alkali A and
    carbonate c, both in percent by mass, A − c·2·M(KOH)/M(K2CO3) is left.

    Source: USP–NF monograph Potassium Hydroxide, “not less than 85.0 percent of total
    alkali, calculated as KOH, including not more than 3.5 percent of K2CO3”. Its
    worst case leaves 82.2 %:

    >>> usable_fraction(
    ...     assay_percent=Decimal(85),
    ...     basis=TOTAL_ALKALI,
    ...     carbonate_percent=Decimal("3.5"),
    ... ).quantize(Decimal("0.001"))
    Decimal('0.822')

    Raises :class:`OutOfRangeError` for percentages no potash can have, and
    :class:`ChemistryError` for an unknown basis.
    """
    if not 0 < assay_percent <= PERCENT:
        raise OutOfRangeError(
            f"An assay of {assay_percent:f} % is not possible. Read the certificate"
            " again."
        )
    if not 0 <= carbonate_percent <= PERCENT:
        raise OutOfRangeError(
            f"A carbonate content of {carbonate_percent:f} % is not possible. Read the"
            " certificate again."
        )
    if basis == HYDROXIDE:
        usable_percent = assay_percent
    elif basis == TOTAL_ALKALI:
        usable_percent = assay_percent - carbonate_percent * KOH_PER_K2CO3
    else:
        raise ChemistryError(
            "Say what the assay counts: total alkali, or hydroxide only."
        )
    _check(usable_percent, carbonate_percent)
    return usable_percent / PERCENT


def _check(usable_percent: Decimal, carbonate_percent: Decimal) -> None:
    if usable_percent <= 0:
        raise OutOfRangeError(_ALL_CARBONATE)
    if usable_percent + carbonate_percent > PERCENT:
        raise OutOfRangeError(
            "Hydroxide and carbonate together are more than 100 %. Check the"
            " certificate, above all what its assay counts."
        )


@dataclasses.dataclass(frozen=True, kw_only=True)
class Assay:
    """What a certificate says of a potash, percents by mass.

    ``half_width`` is the ± it states, ``carbonate_percent`` K2CO3; None where it says
    nothing.
    """

    percent: Decimal
    basis: str
    is_minimum: bool = False
    half_width: Decimal | None = None
    carbonate_percent: Decimal | None = None


def usable_share(assay: Assay) -> Estimate:
    """Return usable grams of KOH per gram of potash, with what is known about it.

    Decided on purpose, always for the best estimate, because the risks before cooking
    are computed from it and a value that is safe in one direction hides the risk in
    the other:

    - “Minimum” is one-sided. The truth lies in [min, min + 2], cut off where hydroxide
      and carbonate would make more than 100 %; its middle is taken. Taking the minimum
      itself would weigh in too much alkali. The 2 is a habit of the trade: common
      practice, no source.
    - No stated ±: ± 0.5 %, rectangular; common practice, no source.
    - Total alkali without a carbonate content: between 0 and 3.5 % of K2CO3, the limit
      of the USP–NF monograph; its middle is taken.
    - Hydroxide counts alone: what the carbonate is does not matter.

    Source of the rectangles: GUM 4.3.7. A minimum of 90 % hydroxide is 91 ± 1:

    >>> share = usable_share(
    ...     Assay(percent=Decimal(90), basis=HYDROXIDE, is_minimum=True)
    ... )
    >>> share.value, share.standard_uncertainty.quantize(Decimal("0.00001"))
    (Decimal('0.91'), Decimal('0.00577'))

    Raises what :func:`usable_fraction` raises, and :class:`OutOfRangeError` for a ±
    outside 0 to 5 %.
    """
    stated = assay.carbonate_percent
    usable_fraction(  # refuses what no potash can be
        assay_percent=assay.percent,
        basis=assay.basis,
        carbonate_percent=Decimal(0) if stated is None else stated,
    )
    parts = [*_assay_parts(assay)]
    if assay.basis == TOTAL_ALKALI:
        parts.append(scaled(_carbonate(stated), -KOH_PER_K2CO3))
    elif stated is not None:
        parts.append(Estimate(Decimal(0), Decimal(0), NORMAL, _carbonate_words(stated)))
    percent = combined(parts)
    if percent.value <= 0:
        raise OutOfRangeError(_ALL_CARBONATE)
    return scaled(percent, 1 / PERCENT)


def _assay_parts(assay: Assay) -> Iterator[Estimate]:
    if assay.half_width is not None and not 0 < assay.half_width <= WIDEST_ASSAY:
        raise OutOfRangeError(
            f"A ± of {assay.half_width:f} % on an assay is not possible. Read the"
            " certificate again; the ± lies above 0 and not above 5 %."
        )
    if assay.is_minimum:
        most = max(assay.percent, min(assay.percent + OVER_MINIMUM, _ceiling(assay)))
        yield rectangular(
            assay.percent,
            most,
            f"at least {_number(assay.percent)} %, taken as the middle of"
            f" {_number(assay.percent)} to {_number(most)} % (common practice: the"
            " minimum would overdose alkali)",
        )
        if assay.half_width is not None:
            yield rectangular(
                -assay.half_width,
                assay.half_width,
                f"± {_number(assay.half_width)} % as stated",
            )
    else:
        half_width = assay.half_width or UNSTATED_ASSAY
        why = "as stated" if assay.half_width else "no ± stated, common practice"
        yield dataclasses.replace(
            rectangular_around(assay.percent, half_width),
            words=f"{_number(assay.percent)} ± {_number(half_width)} % ({why})",
        )


def _ceiling(assay: Assay) -> Decimal:
    """Return the largest assay with which hydroxide and carbonate make 100 %."""
    carbonate = assay.carbonate_percent or Decimal(0)
    if assay.basis == HYDROXIDE:
        return PERCENT - carbonate
    return PERCENT - carbonate * (1 - KOH_PER_K2CO3)


def _carbonate(percent: Decimal | None) -> Estimate:
    if percent is None:
        return rectangular(
            Decimal(0),
            MOST_CARBONATE,
            "carbonate not stated, taken as the middle of 0 to"
            f" {_number(MOST_CARBONATE)} % (USP–NF limit)",
        )
    return Estimate(percent, Decimal(0), NORMAL, _carbonate_words(percent))


def _carbonate_words(percent: Decimal) -> str:
    return f"carbonate {_number(percent)} %"


def _number(value: Decimal) -> str:
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
