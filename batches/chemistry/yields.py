"""What should come out of the pot, and what did.

>>> went_in = theoretical_yield([Decimal(1000), Decimal(200), Decimal(400)])
>>> yield_variance_percent(Decimal(1550), went_in)
Decimal('-3.125')
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from batches.chemistry.constants import PERCENT
from batches.chemistry.errors import OutOfRangeError


def theoretical_yield(charges_g: Iterable[Decimal]) -> Decimal:
    """Return grams that come out if nothing boils off or is lost: all that went in.

    Source: conservation of mass; the term is that of 21 CFR 210.3(b)(17).

    >>> theoretical_yield([Decimal(1000), Decimal("211.7"), Decimal(420)])
    Decimal('1631.7')
    """
    return sum(charges_g, Decimal(0))


def percentage_yield(actual_g: Decimal, theoretical_g: Decimal) -> Decimal:
    """Return actual yield as a percentage of theoretical, 21 CFR 210.3(b)(19).

    Raises :class:`OutOfRangeError` where nothing went in.

    >>> percentage_yield(Decimal(1550), Decimal(1600))
    Decimal('96.875')
    """
    return PERCENT + yield_variance_percent(actual_g, theoretical_g)


def yield_variance_percent(actual_g: Decimal, theoretical_g: Decimal) -> Decimal:
    """Return actual less theoretical yield, in percent of the theoretical.

    Below zero where water boiled off or paste was lost; above zero is impossible and
    means a weighing error. Source: difference to 100 of the percentage yield of
    21 CFR 210.3(b)(19). Raises :class:`OutOfRangeError` where nothing went in.

    >>> yield_variance_percent(Decimal(1648), Decimal(1600))
    Decimal('3')
    """
    if theoretical_g <= 0:
        raise OutOfRangeError("Nothing was weighed in, so there is no yield to state.")
    return (actual_g - theoretical_g) * PERCENT / theoretical_g
