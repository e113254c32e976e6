"""Standard uncertainties, and how they combine.

Source: JCGM 100:2008, the Guide to the expression of uncertainty in measurement (GUM).

>>> reading, zero = from_resolution(Decimal(1)), from_resolution(Decimal(1))
>>> expanded(combine(reading, zero)).quantize(Decimal("0.001"))
Decimal('0.816')
"""

from __future__ import annotations

from decimal import Decimal

COVERAGE_FACTOR = Decimal(2)


def from_resolution(step: Decimal) -> Decimal:
    """Return u of a digital reading that moves in steps: step/√12. GUM F.2.2.1.

    The unit is that of the step, here as everywhere below.

    >>> from_resolution(Decimal("0.01")).quantize(Decimal("0.0000001"))
    Decimal('0.0028868')
    """
    return _width(step) / Decimal(12).sqrt()


def from_half_width_rectangular(half_width: Decimal) -> Decimal:
    """Return u of a value known only to lie within ± ``half_width``: a/√3. GUM 4.3.7.

    >>> from_half_width_rectangular(Decimal("0.5")).quantize(Decimal("0.0001"))
    Decimal('0.2887')
    """
    return _width(half_width) / Decimal(3).sqrt()


def combine(*uncertainties: Decimal) -> Decimal:
    """Return the root of the sum of squares of independent parts. GUM 5.1.2.

    Parts that are wrong the same way each time are not independent: add those.

    >>> combine(Decimal(3), Decimal(4))
    Decimal('5')
    """
    return sum((_width(u) ** 2 for u in uncertainties), Decimal(0)).sqrt()


def expanded(
    standard_uncertainty: Decimal, coverage_factor: Decimal = COVERAGE_FACTOR
) -> Decimal:
    """Return U = k·u; k = 2 by default, about 95 % for a normal value. GUM 6.2.1.

    >>> expanded(Decimal("0.3"))
    Decimal('0.6')
    """
    if coverage_factor <= 0:
        raise ValueError("A coverage factor is above zero.")
    return _width(standard_uncertainty) * coverage_factor


def _width(value: Decimal) -> Decimal:
    if value < 0:
        raise ValueError("A step, a half width or an uncertainty is not below zero.")
    return value
