"""Capability: how the spread of a series fits between its limits, and how sure that is.

Floats: mean and standard deviation are estimates, and the bounds come from continuous
distributions. Overall ("performance") indices from the standard deviation of the whole
series, never from moving ranges. Source: NIST/SEMATECH e-Handbook, 6.1.6 (doi:
10.18434/M32189), which writes Cp and Cpk for the same formulae.

>>> fit = capability([15.0, 17.0] * 10, lower=8, upper=20)
>>> round(fit.ppk, 2), round(fit.ppk_bound, 2)
(1.3, 0.93)
>>> capability([15.0, 17.0], lower=8, upper=20).sentence
'Not assessable: 2 results, and an index from fewer than 20 says next to nothing.'
"""

from __future__ import annotations

import dataclasses
import math
import statistics
from collections.abc import Sequence
from typing import Final

from scipy.stats import chi2, norm

from quality.statistics.errors import StatisticsError

FEWEST: Final = 20  # requirements C27: common practice, no source
CONFIDENCE: Final = 0.95
HALF_WIDTH: Final = 3.0  # σ on each side that should fit


@dataclasses.dataclass(frozen=True, kw_only=True)
class Capability:
    """Performance indices of a series; 1 means that three σ just fit.

    ``pp`` and its bound are None with one limit only. The bounds are lower ones, of
    the stated one-sided ``confidence``.
    """

    count: int
    mean: float
    standard_deviation: float
    confidence: float
    pp: float | None
    pp_bound: float | None
    ppu: float | None
    ppl: float | None
    ppk: float
    ppk_bound: float


@dataclasses.dataclass(frozen=True, kw_only=True)
class NotAssessable:
    """That nothing can be said yet, and why."""

    count: int
    sentence: str


def capability(
    values: Sequence[float],
    *,
    lower: float | None,
    upper: float | None,
    confidence: float = CONFIDENCE,
) -> Capability | NotAssessable:
    """Return the indices of ``values`` against one or two limits, or why not.

    Ppu = (upper − x̄)/3s, Ppl = (x̄ − lower)/3s, Ppk the smaller, Pp = (upper −
    lower)/6s. Fewer than 20 values, or values that are all the same, are not
    assessable. Indices of a series that is not in control mean little: look at its
    chart first.

    Raises :class:`StatisticsError` without a limit, with limits upside down, or for a
    value that is not a finite number.

    >>> one_sided = capability([15.0, 17.0] * 10, lower=None, upper=20)
    >>> one_sided.pp is None, round(one_sided.ppk, 3)
    (True, 1.3)
    """
    _check(values, lower, upper)
    count = len(values)
    if count < FEWEST:
        results = "1 result" if count == 1 else f"{count} results"
        return NotAssessable(
            count=count,
            sentence=f"Not assessable: {results}, and an index from fewer than"
            f" {FEWEST} says next to nothing.",
        )
    mean, deviation = statistics.fmean(values), statistics.stdev(values)
    if not deviation:
        return NotAssessable(
            count=count,
            sentence="Not assessable: all results are the same. Read the instrument to"
            " a finer step.",
        )
    reach = HALF_WIDTH * deviation
    ppu = None if upper is None else (upper - mean) / reach
    ppl = None if lower is None else (mean - lower) / reach
    pp = None
    if lower is not None and upper is not None:
        pp = (upper - lower) / (2 * reach)
    ppk = min(side for side in (ppu, ppl) if side is not None)
    return Capability(
        count=count,
        mean=mean,
        standard_deviation=deviation,
        confidence=confidence,
        pp=pp,
        pp_bound=None if pp is None else pp_lower_bound(pp, count, confidence),
        ppu=ppu,
        ppl=ppl,
        ppk=ppk,
        ppk_bound=ppk_lower_bound(ppk, count, confidence),
    )


def ppk_lower_bound(ppk: float, count: int, confidence: float = CONFIDENCE) -> float:
    """Return Ppk − z·√(1/(9n) + Ppk²/(2(n − 1))), one-sided.

    The approximate bound of NIST/SEMATECH 6.1.6; the same for Ppu and Ppl. For one
    limit it lies within 0.01 of the exact one, of the non-central t distribution, from
    n = 20 on and for an index of 0.2 to 2.

    >>> round(ppk_lower_bound(1.33, 50), 3)
    1.096
    """
    _check_bound(count, confidence)
    spread = 1 / (9 * count) + ppk**2 / (2 * (count - 1))
    return ppk - float(norm.ppf(confidence)) * math.sqrt(spread)


def pp_lower_bound(pp: float, count: int, confidence: float = CONFIDENCE) -> float:
    """Return Pp·√(χ²/(n − 1)) at the (1 − confidence) point: exact for normal values.

    Source: NIST/SEMATECH 6.1.6.

    >>> round(pp_lower_bound(2.29, 20), 3)
    1.671
    """
    _check_bound(count, confidence)
    freedom = count - 1
    return pp * math.sqrt(float(chi2.ppf(1 - confidence, freedom)) / freedom)


def _check(values: Sequence[float], lower: float | None, upper: float | None) -> None:
    if lower is None and upper is None:
        raise StatisticsError("Capability needs a limit. Set one first.")
    if lower is not None and upper is not None and not lower < upper:
        raise StatisticsError("The lower limit must be below the upper one.")
    for place, value in enumerate(values, start=1):
        if not math.isfinite(value):
            raise StatisticsError(f"Value {place} is not a number. Leave it out.")


def _check_bound(count: int, confidence: float) -> None:
    if count < 2:  # noqa: PLR2004 - one value has no spread
        raise StatisticsError("A bound needs at least two values.")
    if not 0 < confidence < 1:
        raise StatisticsError("A confidence lies between 0 and 1, for example 0.95.")
