"""A value with what is known about it, as it goes into a budget.

Decimal, because these stand on records beside masses and certificate values and must
come back from the database as they went in. What is computed *from* them, the budget,
is float and lies elsewhere.

>>> rectangular(Decimal(90), Decimal(92), "at least 90 %").value
Decimal('91')
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from decimal import ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from typing import Final

from batches.chemistry.errors import OutOfRangeError

NORMAL: Final = "normal"
RECTANGULAR: Final = "rectangular"

# A sum of independent parts still looks like a rectangle while one of them makes most
# of it; common practice, no source: the share of the variance is ours.
_RULES_FROM: Final = Decimal("0.75")
_AS_GOOD: Final = Decimal("0.05")


@dataclasses.dataclass(frozen=True)
class Estimate:
    """Best estimate, standard uncertainty in the same unit, shape, and why, in words.

    ``distribution`` is one of ``NORMAL`` and ``RECTANGULAR``.
    """

    value: Decimal
    standard_uncertainty: Decimal
    distribution: str
    words: str = ""


def rectangular(low: Decimal, high: Decimal, words: str = "") -> Estimate:
    """Return the middle of an interval that certainly holds the value, nothing more.

    Source: JCGM 100:2008 (GUM) 4.3.7, u = (high − low)/√12. Raises
    :class:`OutOfRangeError` for bounds that are upside down.

    >>> rectangular(Decimal(184), Decimal(196)).standard_uncertainty.quantize(
    ...     Decimal("0.001")
    ... )
    Decimal('3.464')
    """
    if low > high:
        raise OutOfRangeError(
            "The lower end of an interval is above the upper end. Swap them."
        )
    spread = (high - low) / Decimal(12).sqrt()
    return Estimate((low + high) / 2, spread, RECTANGULAR, words)


def rectangular_around(value: Decimal, half_width: Decimal) -> Estimate:
    """Return a value that may be wrong by up to ± ``half_width``, GUM 4.3.7.

    >>> rectangular_around(Decimal(190), Decimal(3)).standard_uncertainty.quantize(
    ...     Decimal("0.001")
    ... )
    Decimal('1.732')
    """
    return rectangular(value - half_width, value + half_width)


def combined(parts: Iterable[Estimate]) -> Estimate:
    """Return the sum of independent parts: values add, uncertainties in quadrature.

    Source: GUM 5.1.2. The shape is that of a part that makes three quarters or more of
    the variance, else normal (GUM G.2.1); the words are those of the parts.

    >>> parts = [
    ...     Estimate(Decimal(5), Decimal(3), NORMAL),
    ...     Estimate(Decimal(2), Decimal(4), NORMAL),
    ... ]
    >>> combined(parts).value, combined(parts).standard_uncertainty
    (Decimal('7'), Decimal('5'))
    """
    listed = list(parts)
    variance = sum((part.standard_uncertainty**2 for part in listed), Decimal(0))
    largest = max(listed, key=lambda part: part.standard_uncertainty)
    rules = largest.standard_uncertainty**2 >= variance * _RULES_FROM
    return Estimate(
        value=sum((part.value for part in listed), Decimal(0)),
        standard_uncertainty=variance.sqrt(),
        distribution=largest.distribution if rules else NORMAL,
        words="; ".join(part.words for part in listed if part.words),
    )


def scaled(estimate: Estimate, factor: Decimal) -> Estimate:
    """Return an estimate times an exact factor, the uncertainty never below zero.

    >>> scaled(rectangular(Decimal(0), Decimal(3)), Decimal(-2)).value
    Decimal('-3.0')
    """
    return Estimate(
        estimate.value * factor,
        estimate.standard_uncertainty * abs(factor),
        estimate.distribution,
        estimate.words,
    )


def plus_minus(value: Decimal, expanded: Decimal) -> tuple[Decimal, Decimal]:
    """Return value and U, U rounded up to two digits and the value to the same place.

    Rounded up, unless U lies less than a twentieth of the last place above: then the
    smaller is as good. Source: GUM 7.2.6, where 10.47 mΩ becomes 11 and 28.05 kHz
    becomes 28; the twentieth is ours, read off that example. A U of 0 leaves the value
    as it is.

    >>> [str(part) for part in plus_minus(Decimal("89.0234"), Decimal("0.3124"))]
    ['89.02', '0.32']
    """
    if expanded <= 0:
        return value, expanded
    place = Decimal(1).scaleb(expanded.adjusted() - 1)
    whole = (expanded / place).to_integral_value(ROUND_FLOOR)
    if expanded / place - whole > _AS_GOOD:
        whole += 1
    rounded = (whole * place).quantize(place)
    if rounded.adjusted() > expanded.adjusted():  # 0.999 became 1.00
        place *= 10
        rounded = rounded.quantize(place)
    return value.quantize(place, ROUND_HALF_EVEN), rounded


def format_plus_minus(value: Decimal, expanded: Decimal) -> str:
    """Return “x ± U” with both to the same place, see :func:`plus_minus`.

    >>> format_plus_minus(Decimal("190.467"), Decimal("1.02"))
    '190.5 ± 1.1'
    """
    shown, spread = plus_minus(value, expanded)
    return f"{shown:f} ± {spread:f}"
