"""An uncertainty budget: what a result is worth, and which input makes it so.

Source: JCGM 100:2008, the Guide to the expression of uncertainty in measurement (GUM):
law of propagation 5.1.2 and 5.2.2 (equation 13), effective degrees of freedom G.4.1,
coverage factor G.3 and G.6. The slopes of the formula come from the ``uncertainties``
library, which differentiates it exactly. This is linear: the formula is taken for
straight over the width of its inputs. Where it is not, :mod:`.simulation` says more.

Floats, not Decimal: an uncertainty is known to two digits, slopes and distributions
have no exact decimals, and arrays of draws go through the same formula. Decimals of
records are converted in :class:`.Quantity` and nowhere else.

>>> scale = rectangular("scale", 100, 0.5, unit="g")
>>> purity = normal("purity", 0.9, 0.01)
>>> usable = budget(lambda mass, share: mass * share, [scale, purity], unit="g")
>>> f"{usable.value:.1f} ± {usable.expanded_uncertainty:.1f} {usable.unit}"
'90.0 ± 2.1 g'
>>> usable.lines[0].quantity.name, round(usable.lines[0].share, 2)
('purity', 0.94)
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence
from typing import Any

from scipy.special import ndtr, stdtr, stdtrit
from uncertainties import ufloat

from quality.statistics.correlations import Correlations, Pair, checked_pairs, groups
from quality.statistics.errors import InputError, NotFiniteError
from quality.statistics.quantities import (
    Distribution,
    Number,
    Quantity,
    arcsine,
    normal,
    readings,
    rectangular,
    resolution,
    triangular,
)

__all__ = [
    "Budget",
    "Correlations",
    "Distribution",
    "Line",
    "Model",
    "Number",
    "Quantity",
    "arcsine",
    "budget",
    "coverage_factor",
    "distribution_function",
    "normal",
    "readings",
    "rectangular",
    "resolution",
    "triangular",
]

Model = Callable[..., Any]

COVERAGE = math.erf(math.sqrt(2))  # 95.45 %: the share of a normal within two u
NORMAL_FACTOR = 2.0
# From so many effective degrees of freedom on, the normal distribution and k = 2 are
# used. Student's t would give 2.05 there, less than the digits of U can show. Common
# practice, no source: GUM G.6.6 is content with 10.
MANY_DEGREES = 50
# What is left of a variance when everything cancels: rounding of the last digits.
CANCELLED = 1e-14


@dataclasses.dataclass(frozen=True, kw_only=True)
class Line:
    """What one input does to the result.

    ``sensitivity`` c is the slope of the formula, in units of the result per unit of
    the input; ``contribution`` is c·u, with its sign; ``share`` its part of the
    variance. Shares sum to 1. Of two correlated inputs each takes half of what they
    make together; a share below zero belongs to an input that takes away from others.
    """

    quantity: Quantity
    sensitivity: float
    contribution: float
    share: float


@dataclasses.dataclass(frozen=True, kw_only=True)
class Budget:
    """A result with its uncertainty and how it came about; ``lines`` largest first.

    ``standard_uncertainty`` is u, ``expanded_uncertainty`` U = k·u with
    ``coverage_factor`` k for about 95 %, all in ``unit``. ``correlations`` are those
    that were given.
    """

    value: float
    standard_uncertainty: float
    degrees_of_freedom: float
    coverage_factor: float
    expanded_uncertainty: float
    unit: str
    lines: list[Line]
    correlations: dict[tuple[str, str], float] = dataclasses.field(default_factory=dict)

    @property
    def low(self) -> float:
        """The lower end of value ± U."""
        return self.value - self.expanded_uncertainty

    @property
    def high(self) -> float:
        """The upper end of value ± U."""
        return self.value + self.expanded_uncertainty

    @property
    def dominant(self) -> Line | None:
        """The input with the largest share; None where nothing is uncertain."""
        return self.lines[0] if self.standard_uncertainty else None

    def probability_above(self, limit: Number) -> float:
        """Return the chance, 0 to 1, that the true value is above ``limit``.

        By the distribution that also gave k: normal, or Student's t with few degrees
        of freedom. Of a result without uncertainty it is 0 or 1, 0 on the limit.
        """
        return self._tail(self.value - float(limit))

    def probability_below(self, limit: Number) -> float:
        """Return the chance, 0 to 1, that the true value is below ``limit``."""
        return self._tail(float(limit) - self.value)

    def _tail(self, distance: float) -> float:
        """Return the chance of all that lies farther than the limit on this side."""
        if not self.standard_uncertainty:
            return 1.0 if distance > 0 else 0.0
        return distribution_function(
            distance / self.standard_uncertainty, self.degrees_of_freedom
        )


def distribution_function(z: float, degrees_of_freedom: float = math.inf) -> float:
    """Return the share below ``z`` of a standard normal, or of t with few degrees.

    Source: ``scipy.special``; few are fewer than ``MANY_DEGREES``.

    >>> round(distribution_function(-2), 4), round(distribution_function(-2, 4), 4)
    (0.0228, 0.0581)
    """
    if degrees_of_freedom < MANY_DEGREES:
        return float(stdtr(degrees_of_freedom, z))
    return float(ndtr(z))


def coverage_factor(degrees_of_freedom: float = math.inf) -> float:
    """Return k for a coverage of 95.45 %: 2, or Student's t with few degrees.

    Source: GUM G.3.4 and table G.2; between whole degrees the t of the fraction itself
    is taken, which G.4.1 allows as interpolation. From ``MANY_DEGREES`` on k is 2.

    >>> coverage_factor(), round(coverage_factor(16), 2)
    (2.0, 2.17)
    """
    if not degrees_of_freedom > 0:
        raise InputError("Degrees of freedom are above zero: check the readings.")
    if degrees_of_freedom < MANY_DEGREES:
        return float(stdtrit(degrees_of_freedom, (1 + COVERAGE) / 2))
    return NORMAL_FACTOR


def budget(
    model: Model,
    quantities: Sequence[Quantity],
    *,
    correlations: Correlations | None = None,
    unit: str = "",
) -> Budget:
    """Return the result of ``model`` at the values of its inputs, with its budget.

    ``model`` takes one positional argument per quantity, in order, and is plain
    arithmetic. ``correlations`` are coefficients −1 to 1 by pairs of names. ``unit`` is
    that of the result.

    Degrees of freedom are effective ones (Welch–Satterthwaite, GUM G.4.1). That formula
    is for independent inputs; inputs that are correlated, directly or through others,
    are taken as one, with the fewest degrees among them.

    Raises :class:`InputError` without inputs, :class:`CorrelationError` for
    correlations that cannot be, :class:`NotFiniteError` where the formula has no value
    or no slope.

    >>> a, b = normal("a", 10, 3), normal("b", 20, 4)
    >>> budget(lambda x, y: x + y, [a, b]).standard_uncertainty
    5.0
    >>> budget(
    ...     lambda x, y: x + y, [a, b], correlations={("a", "b"): 1}
    ... ).standard_uncertainty
    7.0
    """
    if not quantities:
        raise InputError("A budget needs at least one input.")
    pairs = checked_pairs(quantities, correlations or {})
    value, slopes = _linearise(model, quantities)
    parts = [
        slope * quantity.standard_uncertainty
        for slope, quantity in zip(slopes, quantities, strict=True)
    ]
    together = _together(parts, pairs)
    variance = _variance(parts, together)
    u = math.sqrt(variance)
    degrees = _effective_degrees(quantities, together, pairs, variance)
    factor = coverage_factor(degrees)
    lines = [
        Line(
            quantity=quantity,
            sensitivity=slope,
            contribution=part,
            share=joint / variance if variance else 0.0,
        )
        for quantity, slope, part, joint in zip(
            quantities, slopes, parts, together, strict=True
        )
    ]
    lines.sort(key=lambda line: -line.share)
    return Budget(
        value=value,
        standard_uncertainty=u,
        degrees_of_freedom=degrees,
        coverage_factor=factor,
        expanded_uncertainty=factor * u,
        unit=unit,
        lines=lines,
        correlations=dict(correlations or {}),
    )


def _linearise(
    model: Model, quantities: Sequence[Quantity]
) -> tuple[float, list[float]]:
    """Return the value of the formula and its slopes, one per input."""
    # The slopes do not depend on the widths given here; a width of 1 spares the
    # library's warning about a width of nought.
    inputs = [ufloat(quantity.value, 1.0) for quantity in quantities]
    try:
        result = model(*inputs)
        found: Any = getattr(result, "derivatives", {})
    except ArithmeticError as error:
        raise NotFiniteError(
            "The formula cannot be computed at these values, for example because it"
            " divides by zero: check the inputs."
        ) from error
    nominal: Any = getattr(result, "nominal_value", result)
    value = float(nominal)
    slopes = [float(found.get(one, 0.0)) for one in inputs]
    if not all(map(math.isfinite, [value, *slopes])):
        raise NotFiniteError(
            "The formula has no value or no slope at these values: check the inputs."
        )
    return value, slopes


def _together(parts: Sequence[float], pairs: Sequence[Pair]) -> list[float]:
    """Return what each input adds to the variance, with half of what each pair adds."""
    variances = [part * part for part in parts]
    for first, second, coefficient in pairs:
        joint = coefficient * parts[first] * parts[second]
        variances[first] += joint
        variances[second] += joint
    return variances


def _variance(parts: Sequence[float], together: Sequence[float]) -> float:
    alone = sum(part * part for part in parts)
    variance = math.fsum(together)
    return variance if variance > CANCELLED * alone else 0.0


def _effective_degrees(
    quantities: Sequence[Quantity],
    together: Sequence[float],
    pairs: Sequence[Pair],
    variance: float,
) -> float:
    """Return ν of the result; see :func:`budget` for correlated inputs."""
    spent = 0.0
    for group in groups(len(quantities), pairs):
        degrees = min(quantities[place].degrees_of_freedom for place in group)
        share = sum(together[place] for place in group) / variance if variance else 0.0
        spent += share * share / degrees
    return 1 / spent if spent else math.inf
