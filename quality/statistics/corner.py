"""The lesser of two uncertain values: a formula with a corner.

Soap comes of oil or of potash, whichever is less. Where both just match, a budget
follows one side of that corner and misses the other. Here mean and spread of the
lesser of two are exact, for two values that are jointly normal.

Source: C. E. Clark, “The greatest of a finite set of random variables”, Operations
Research 9 (1961) 145–162, equations for the first two moments of the greater of two
(from memory; tests hold them against numerical integration and against draws). The
lesser is min(X, Y) = −max(−X, −Y).

Floats, as in every budget.

>>> lesser = lesser_of(0, 1, 0, 1, covariance=0)
>>> round(lesser.mean, 4), round(lesser.standard_deviation, 4)
(-0.5642, 0.8256)
"""

from __future__ import annotations

import dataclasses
import math

from scipy.special import ndtr

from quality.statistics.budgets import Budget, Line, coverage_factor
from quality.statistics.errors import CorrelationError, InputError

# From so many u of the difference on, the other value does not matter: it would move
# the mean by 0.0004 u.
NEAR = 3.0
# A variance this small beside the others is rounding of the last digits.
CANCELLED = 1e-14


@dataclasses.dataclass(frozen=True, kw_only=True)
class Lesser:
    """Mean and standard deviation of min(X, Y), and how often X is the lesser."""

    mean: float
    standard_deviation: float
    first_is_lesser: float


def lesser_of(
    mean_x: float, u_x: float, mean_y: float, u_y: float, *, covariance: float
) -> Lesser:
    """Return the moments of the lesser of two jointly normal values.

    With θ² = u(x)² + u(y)² − 2·cov and α = (y − x)/θ: mean = x·Φ(α) + y·Φ(−α) − θ·φ(α)
    and the second moment (x² + u(x)²)·Φ(α) + (y² + u(y)²)·Φ(−α) − (x + y)·θ·φ(α).
    All in one unit. Source: Clark 1961. Raises :class:`InputError` for an uncertainty
    below zero or no number, :class:`CorrelationError` for a covariance above u(x)·u(y).

    Potash that is known to ± 1 and just suffices for oil that is known exactly: on
    average 0.4 is lacking.

    >>> just = lesser_of(100, 0, 100, 1, covariance=0)
    >>> round(just.mean, 3), round(just.standard_deviation, 3), just.first_is_lesser
    (99.601, 0.584, 0.5)
    """
    if not all(map(math.isfinite, (mean_x, u_x, mean_y, u_y, covariance))):
        raise InputError("The lesser of two values needs numbers: check both.")
    if u_x < 0 or u_y < 0:
        raise InputError("An uncertainty is not below zero: check both.")
    variances = u_x**2 + u_y**2
    if abs(covariance) > u_x * u_y + CANCELLED * variances:
        raise CorrelationError("Two values cannot vary together by more than each.")
    theta = math.sqrt(max(variances - 2 * covariance, 0.0))
    apart = mean_y - mean_x
    if theta**2 <= CANCELLED * variances:  # both move as one: no corner
        first = apart > 0
        return Lesser(
            mean=mean_x if first else mean_y,
            standard_deviation=u_x if first else u_y,
            first_is_lesser=float(first),
        )
    alpha = apart / theta
    first_share, second_share = float(ndtr(alpha)), float(ndtr(-alpha))
    density = math.exp(-alpha * alpha / 2) / math.sqrt(2 * math.pi)
    # Measured from x, so that the squares of large means do not cancel.
    mean = apart * second_share - theta * density
    square = (
        u_x**2 * first_share
        + (apart**2 + u_y**2) * second_share
        - apart * theta * density
    )
    return Lesser(
        mean=mean_x + mean,
        standard_deviation=math.sqrt(max(square - mean * mean, 0.0)),
        first_is_lesser=first_share,
    )


def is_near(one: Budget, other: Budget) -> bool:
    """Say whether either of two results may be the lesser: apart by less than 3 u.

    Both are results of formulas of the very same independent inputs, and u is that of
    their difference. Source: ours, see ``NEAR``.

    >>> from quality.statistics.budgets import budget, normal
    >>> need, rest = normal("need", 100, 1), normal("rest", 5, 1)
    >>> plain = budget(lambda x, y: x, [need, rest])
    >>> is_near(plain, budget(lambda x, y: x + y, [need, rest]))  # 5 ± 1 apart
    False
    >>> is_near(plain, budget(lambda x, y: x + y - 4, [need, rest]))  # 1 ± 1 apart
    True
    """
    variance = (
        one.standard_uncertainty**2
        + other.standard_uncertainty**2
        - 2 * _covariance(one, other)
    )
    return abs(one.value - other.value) < NEAR * math.sqrt(max(variance, 0.0))


def lesser_budget(one: Budget, other: Budget) -> Budget:
    """Return the budget of the lesser of two results of the same independent inputs.

    Value, u and U are those of :func:`lesser_of`, k that of the fewer degrees of
    freedom. A sensitivity is the mean of both, each weighed by its chance to be the
    lesser, which is how the mean moves with the input (Clark 1961 follows on
    differentiating); shares are those of these slopes.

    >>> from quality.statistics.budgets import budget, normal
    >>> inputs = [normal("potash", 100, 1), normal("oil", 100, 0)]
    >>> sides = [budget(lambda p, o: o, inputs), budget(lambda p, o: p, inputs)]
    >>> found = lesser_budget(*sides)
    >>> round(found.value, 3), round(found.expanded_uncertainty, 3)
    (99.601, 1.168)
    >>> found.lines[0].quantity.name, found.lines[0].sensitivity
    ('potash', 0.5)
    """
    found = lesser_of(
        one.value,
        one.standard_uncertainty,
        other.value,
        other.standard_uncertainty,
        covariance=_covariance(one, other),
    )
    degrees = min(one.degrees_of_freedom, other.degrees_of_freedom)
    factor = coverage_factor(degrees)
    return Budget(
        value=found.mean,
        standard_uncertainty=found.standard_deviation,
        degrees_of_freedom=degrees,
        coverage_factor=factor,
        expanded_uncertainty=factor * found.standard_deviation,
        unit=one.unit,
        lines=_mixed(one, other, found.first_is_lesser),
    )


def _covariance(one: Budget, other: Budget) -> float:
    parts = {id(line.quantity): line.contribution for line in one.lines}
    return sum(parts[id(line.quantity)] * line.contribution for line in other.lines)


def _mixed(one: Budget, other: Budget, chance: float) -> list[Line]:
    """Return the lines of both, by the chance of the first to be the lesser."""
    slopes = {id(line.quantity): line.sensitivity for line in other.lines}
    mixed = [
        (
            line.quantity,
            chance * line.sensitivity + (1 - chance) * slopes[id(line.quantity)],
        )
        for line in one.lines
    ]
    parts = [slope * quantity.standard_uncertainty for quantity, slope in mixed]
    total = sum(part * part for part in parts)
    lines = [
        Line(
            quantity=quantity,
            sensitivity=slope,
            contribution=part,
            share=part * part / total if total else 0.0,
        )
        for (quantity, slope), part in zip(mixed, parts, strict=True)
    ]
    return sorted(lines, key=lambda line: -line.share)
