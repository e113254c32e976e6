"""Control charts of single values: what is chance in a series, and what is not.

Floats, because centre and limits are estimates from the series itself: nothing here is
compared with a limit somebody set. Sources: NIST/SEMATECH e-Handbook of Statistical
Methods (doi:10.18434/M32189), 6.3.2.2 individuals charts, 6.3.2.4 EWMA charts.

>>> chart = individuals_chart([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4])
>>> round(chart.centre, 2), round(chart.upper, 2), chart.standing.value
(50.3, 55.7, 'provisional')
"""

from __future__ import annotations

import dataclasses
import enum
import itertools
import math
from collections.abc import Collection, Sequence
from typing import Final

from quality.statistics.errors import (
    NoSpreadError,
    StatisticsError,
    TooFewValuesError,
)

# Expected range of two normal values in units of their σ. Exact: 2/√π = 1.12838; the
# published charts and so the worked examples use the rounded value.
D2_OF_TWO: Final = 1.128
# Upper limit of the moving range in units of its mean, 1 + 3·d3/d2 for two values.
D4_OF_TWO: Final = 3.267
LIMIT_WIDTH: Final = 3.0  # σ either side; 3/D2_OF_TWO is the familiar 2.66

PROVISIONAL_FROM: Final = 8  # requirements C26: common practice, no source
FIRM_FROM: Final = 20

EWMA_WEIGHT: Final = 0.3  # NIST 6.3.2.4 example; usual are 0.2 to 0.3
EWMA_WIDTH: Final = 3.0


class Standing(enum.StrEnum):
    """How much limits from so many points can be relied on."""

    TOO_FEW = "too few points"
    PROVISIONAL = "provisional"
    FIRM = "firm"


def standing_of(count: int) -> Standing:
    """Return how far limits from ``count`` points can be relied on.

    From 8 provisional, from 20 firm: common practice, no source.

    >>> [standing_of(count).value for count in (7, 8, 20)]
    ['too few points', 'provisional', 'firm']
    """
    if count < PROVISIONAL_FROM:
        return Standing.TOO_FEW
    return Standing.PROVISIONAL if count < FIRM_FROM else Standing.FIRM


@dataclasses.dataclass(frozen=True, kw_only=True)
class IndividualsChart:
    """Values, their moving ranges and the limits of both, in the unit of the values.

    ``baseline`` of the values set the limits; all are held against them.
    ``moving_ranges[i]`` is the step from value i to value i + 1.
    """

    values: tuple[float, ...]
    moving_ranges: tuple[float, ...]
    baseline: int
    centre: float
    mean_range: float

    @property
    def sigma(self) -> float:
        """Short-term standard deviation, mean moving range over d2."""
        return self.mean_range / D2_OF_TWO

    @property
    def lower(self) -> float:
        """Lower limit of a value."""
        return self.centre - LIMIT_WIDTH * self.sigma

    @property
    def upper(self) -> float:
        """Upper limit of a value."""
        return self.centre + LIMIT_WIDTH * self.sigma

    @property
    def range_limit(self) -> float:
        """Upper limit of a moving range; the lower one is zero."""
        return D4_OF_TWO * self.mean_range

    @property
    def standing(self) -> Standing:
        """How far the limits can be relied on."""
        return standing_of(self.baseline)

    @property
    def wide_steps(self) -> tuple[int, ...]:
        """Positions of the values that lie too far from the one before."""
        return tuple(
            place + 1
            for place, step in enumerate(self.moving_ranges)
            if step > self.range_limit
        )


def individuals_chart(
    values: Sequence[float],
    *,
    baseline: int | None = None,
    apart: Collection[int] = (),
) -> IndividualsChart:
    """Return an individuals and moving-range chart: x̄ ± 3·MR̄/1.128, MR to 3.267·MR̄.

    ``baseline`` is how many of the first values set the limits, all by default. Keep
    it when values are added: limits are recalculated by decision, not silently.
    ``apart`` are positions that do not set them: the limits are those of the series
    without these values. Source: NIST/SEMATECH 6.3.2.2.

    Raises :class:`TooFewValuesError` below two values, :class:`StatisticsError` for
    one that is not a finite number, :class:`NoSpreadError` where the baseline does
    not move.

    >>> chart = individuals_chart([9.0, 9.2, 9.1, 9.3, 12.0], baseline=4)
    >>> round(chart.lower, 3), round(chart.upper, 3), chart.wide_steps
    (8.707, 9.593, (4,))
    """
    series = _checked(values)
    asked = len(series) if baseline is None else baseline
    setting = [series[i] for i in range(min(asked, len(series))) if i not in apart]
    used = len(setting)
    if asked > len(series) or used < 2:  # noqa: PLR2004 - one value has no range
        raise TooFewValuesError(
            f"Limits need at least two values to stand on; {asked} of {len(series)}"
            " cannot be used, or too many of them are set apart."
        )
    mean_range = math.fsum(_steps(setting)) / (used - 1)
    if not mean_range:
        raise NoSpreadError(
            f"The first {used} values are all the same, so they have no spread to draw"
            " limits from. Read the instrument to a finer step, or wait for more."
        )
    return IndividualsChart(
        values=series,
        moving_ranges=_steps(series),
        baseline=used,
        centre=math.fsum(setting) / used,
        mean_range=mean_range,
    )


def _steps(values: Sequence[float]) -> tuple[float, ...]:
    return tuple(abs(later - earlier) for earlier, later in itertools.pairwise(values))


@dataclasses.dataclass(frozen=True, kw_only=True)
class EwmaChart:
    """Exponentially weighted means, one a value, with a pair of limits for each."""

    values: tuple[float, ...]
    start: float
    smoothed: tuple[float, ...]
    lower: tuple[float, ...]
    upper: tuple[float, ...]

    @property
    def beyond(self) -> tuple[int, ...]:
        """Positions of the means that lie outside their limits."""
        return tuple(
            place
            for place, (low, mean, high) in enumerate(
                zip(self.lower, self.smoothed, self.upper, strict=True)
            )
            if not low <= mean <= high
        )


def ewma_chart(
    values: Sequence[float],
    *,
    start: float,
    sigma: float,
    weight: float = EWMA_WEIGHT,
    width: float = EWMA_WIDTH,
    exact: bool = False,
) -> EwmaChart:
    """Return z_t = λ·x_t + (1 − λ)·z_(t−1), with z_0 = ``start``, and its limits.

    By default the limits are the asymptotic ones of NIST/SEMATECH 6.3.2.4, start ±
    k·σ·√(λ/(2 − λ)), the same for every point; with ``exact`` they open from the
    first point on, the square being multiplied by 1 − (1 − λ)^(2t). ``weight`` is λ,
    ``width`` k, ``sigma`` the standard deviation of a single value.

    Raises :class:`StatisticsError` for a weight outside 0 < λ ≤ 1, a σ or width that
    is not above zero, or a value that is not finite.

    >>> chart = ewma_chart([52, 47, 53], start=50, sigma=2.0539)
    >>> [round(mean, 2) for mean in chart.smoothed], round(chart.upper[0], 3)
    ([50.6, 49.52, 50.56], 52.588)
    >>> exact = ewma_chart([52, 47], start=50, sigma=2.0539, exact=True)
    >>> round(exact.upper[0], 4)
    51.8485
    """
    series = _checked(values, fewest=1)
    if not 0 < weight <= 1:
        raise StatisticsError("The weight of the newest value lies above 0, at most 1.")
    if not (sigma > 0 and width > 0 and math.isfinite(sigma + width + start)):
        raise StatisticsError(
            "The spread and the width of the limits are numbers above zero; the start"
            " is a number."
        )
    smoothed, mean = [], start
    for value in series:
        mean = weight * value + (1 - weight) * mean
        smoothed.append(mean)
    settled = weight / (2 - weight)
    shares = [
        1 - (1 - weight) ** (2 * place) if exact else 1.0
        for place in range(1, len(series) + 1)
    ]
    reach = [width * sigma * math.sqrt(settled * share) for share in shares]
    return EwmaChart(
        values=series,
        start=start,
        smoothed=tuple(smoothed),
        lower=tuple(start - one for one in reach),
        upper=tuple(start + one for one in reach),
    )


def _checked(values: Sequence[float], *, fewest: int = 2) -> tuple[float, ...]:
    series = tuple(float(value) for value in values)
    if len(series) < fewest:
        raise TooFewValuesError(
            f"A chart needs at least {fewest} values; there is {len(series)}."
        )
    for place, value in enumerate(series, start=1):
        if not math.isfinite(value):
            raise StatisticsError(f"Value {place} is not a number. Leave it out.")
    return series
