"""How likely a value conforms, and how likely a judgement of it is wrong.

Source: JCGM 106:2012: conformance probability 7 (one limit 7.3, two limits 7.4),
specific consumer's and producer's risk 3.3.13 and 3.3.14, guard band 8.3. Nothing is
assumed of the value but what was measured (7.2.1 with a prior that says nothing).
The clauses are named from memory, the formulas follow from the distribution.

Values and limits come as Decimal or float; probabilities are floats, since they are
known to two digits at best. Only :func:`guard_band_for` returns Decimal, because
:func:`.conformity.judge` decides with it.

>>> chance = probability_of_conformance(9.8, 0.3, lower=8, upper=10)
>>> round(chance, 2), round(risk_of_wrong_decision(9.8, 0.3, lower=8, upper=10), 2)
(0.75, 0.25)
"""

from __future__ import annotations

import math
from decimal import ROUND_UP, Decimal

from scipy.special import ndtri, stdtrit

from quality.statistics.budgets import MANY_DEGREES, Number, distribution_function
from quality.statistics.errors import InputError
from quality.statistics.rounding import as_decimal

HALF = 0.5
BAND_DIGITS = 6  # of a guard band, rounded up: finer than any display


def probability_of_conformance(
    value: Number,
    standard_uncertainty: Number,
    *,
    lower: Number | None = None,
    upper: Number | None = None,
    degrees_of_freedom: float = math.inf,
) -> float:
    """Return the chance, 0 to 1, that the true value lies inside the limits.

    All in one unit; the distribution is normal, or Student's t with few degrees of
    freedom. Without uncertainty the chance is 1 inside or on a limit and 0 outside.
    JCGM 106, 7.3 and 7.4.

    Raises :class:`InputError` without a limit, with limits upside down, with an
    uncertainty below zero or with what is no number.

    >>> round(probability_of_conformance(10.4, 0.3, upper=10), 3)
    0.091
    """
    centre, u = _checked(value, standard_uncertainty, lower, upper)

    def share_below(limit: Number | None, otherwise: float) -> float:
        if limit is None:
            return otherwise
        return distribution_function((float(limit) - centre) / u, degrees_of_freedom)

    if not u:
        inside = (lower is None or lower <= value) and (upper is None or value <= upper)
        return 1.0 if inside else 0.0
    return max(0.0, share_below(upper, 1.0) - share_below(lower, 0.0))


def risk_of_wrong_decision(
    value: Number,
    standard_uncertainty: Number,
    *,
    lower: Number | None = None,
    upper: Number | None = None,
    degrees_of_freedom: float = math.inf,
) -> float:
    """Return the chance, 0 to 1, that taking the value at its word is wrong.

    For a value inside the limits this is the chance of accepting what does not conform
    (the specific consumer's risk), for one outside the chance of rejecting what does
    (the specific producer's risk). JCGM 106, 3.3.13 and 3.3.14. Raises as
    :func:`probability_of_conformance` does.

    >>> round(risk_of_wrong_decision(10.4, 0.3, upper=10), 3)
    0.091
    """
    conforms = probability_of_conformance(
        value,
        standard_uncertainty,
        lower=lower,
        upper=upper,
        degrees_of_freedom=degrees_of_freedom,
    )
    accepted = (lower is None or lower <= value) and (upper is None or value <= upper)
    return 1 - conforms if accepted else conforms


def worst_false_accept(
    guard_band: Number,
    standard_uncertainty: Number,
    *,
    window: Number = math.inf,
    degrees_of_freedom: float = math.inf,
) -> float:
    """Return the largest risk of an accepted value: one on the acceptance limit.

    ``guard_band`` is the distance kept from a limit and ``window`` the distance between
    two limits, infinite with one; both in the unit of the uncertainty. Between two
    limits the value can also lie beyond the far one: at worst, in a window of two guard
    bands, the risk is twice that of one limit. JCGM 106, 8.3.2 and 7.4.

    Raises :class:`InputError` for a guard band below zero, no uncertainty, or a window
    narrower than two guard bands, in which nothing is accepted.

    >>> band, u = Decimal("0.6"), Decimal("0.3")
    >>> round(worst_false_accept(band, u), 4)
    0.0228
    >>> round(worst_false_accept(band, u, window=2 * band), 4)
    0.0455
    """
    band, u, width = float(guard_band), float(standard_uncertainty), float(window)
    if not (band >= 0 and 0 < u < math.inf):
        raise InputError(
            "A guard band is zero or more and an uncertainty above zero: check both."
        )
    if not width >= 2 * band:
        raise InputError("Two limits hold two guard bands at least to accept anything.")
    near = distribution_function(-band / u, degrees_of_freedom)
    if width == math.inf:
        return near
    return near + distribution_function((band - width) / u, degrees_of_freedom)


def guard_band_for(
    maximum_risk: float,
    standard_uncertainty: Number,
    *,
    degrees_of_freedom: float = math.inf,
) -> Decimal:
    """Return the guard band that keeps the risk of an accepted value to a chosen one.

    w = z·u with the z that only ``maximum_risk`` of the distribution lies beyond, in
    the unit of the uncertainty, rounded up in the sixth digit. One limit. JCGM 106,
    8.3.2.

    Raises :class:`InputError` for a risk that is not above 0 and at most 0.5, or for an
    uncertainty below zero.

    >>> guard_band_for(0.05, Decimal("0.3"))
    Decimal('0.493457')
    """
    u = float(standard_uncertainty)
    if not 0 < maximum_risk <= HALF:
        raise InputError("A risk to be accepted is above 0 and at most 0.5 (50 %).")
    if not 0 <= u < math.inf:
        raise InputError("An uncertainty is a number from zero up.")
    few = degrees_of_freedom < MANY_DEGREES
    z = -float(
        stdtrit(degrees_of_freedom, maximum_risk) if few else ndtri(maximum_risk)
    )
    exact = as_decimal(max(0.0, z) * u)
    if not exact:
        return Decimal(0)
    place = Decimal(1).scaleb(exact.adjusted() - BAND_DIGITS + 1)
    return exact.quantize(place, ROUND_UP)


def _checked(
    value: Number, u: Number, lower: Number | None, upper: Number | None
) -> tuple[float, float]:
    """Return value and uncertainty as floats once all four can be what they say."""
    if lower is None and upper is None:
        raise InputError("Whether a value conforms needs a limit.")
    if lower is not None and upper is not None and lower > upper:
        raise InputError("The lower limit is above the upper one.")
    given = [float(one) for one in (value, u, lower, upper) if one is not None]
    if not all(map(math.isfinite, given)) or u < 0:
        raise InputError(
            "Value, uncertainty and limits must be numbers, and the uncertainty not"
            " below zero."
        )
    return float(value), float(u)
