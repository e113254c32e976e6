"""How much of a weighed gram of potash can make soap.

>>> usable_fraction(assay_percent=Decimal("90.2"), basis=HYDROXIDE)
Decimal('0.902')
"""

from __future__ import annotations

from decimal import Decimal

from batches.chemistry.constants import KOH_PER_K2CO3, PERCENT
from batches.chemistry.errors import ChemistryError, OutOfRangeError

TOTAL_ALKALI = "total_alkali"
HYDROXIDE = "hydroxide"


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
        raise OutOfRangeError(
            "By these figures the potash is all carbonate and makes no soap. Check the"
            " certificate; if it is right, do not cook with this lot."
        )
    if usable_percent + carbonate_percent > PERCENT:
        raise OutOfRangeError(
            "Hydroxide and carbonate together are more than 100 %. Check the"
            " certificate, above all what its assay counts."
        )
