"""Bounds of capability indices, against scipy and printed answers.

scipy's non-central t distribution gives the exact bound for one limit, which the
published approximation (Bissell 1990, in NIST/SEMATECH 6.1.6; the origin from memory)
must come close to. The one-sided examples are of the AIAG & VDA SPC Manual, p. 48,
figure 7-6, at second hand from a verification file that quotes them.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from scipy import optimize, stats

from quality.statistics.capability import (
    Capability,
    capability,
    pp_lower_bound,
    ppk_lower_bound,
)
from tests.reference.outside import Check, Flag

pytestmark = pytest.mark.any_engine

SOURCE = "Confidence bounds of capability indices"


def exact_bound(index: float, count: int) -> float:
    """Return the exact lower 95 % bound of a one-sided index."""
    scale = 3 * math.sqrt(count)

    def miss(offset: float) -> float:
        return float(stats.nct.cdf(scale * index, count - 1, offset)) - 0.95

    return float(optimize.brentq(miss, -1, scale * index + 5)) / scale


def approximate(index: float, count: int) -> Callable[[], float]:
    return lambda: ppk_lower_bound(index, count)


def one_sided(mean: float, deviation: float) -> Callable[[], float]:
    """Return the index of values with this mean and s against an upper limit 0.40."""

    def ours() -> float:
        reach = deviation * math.sqrt(39 / 40)
        result = capability([mean - reach, mean + reach] * 20, lower=None, upper=0.40)
        assert isinstance(result, Capability)
        return result.ppk

    return ours


CHECKS = [
    *(
        Check(what=f"lower bound of Ppk {index}, n {count}",
              clause="scipy.stats.nct", flag=Flag.SEEN,
              ours=approximate(index, count), published=exact_bound(index, count),
              within=0.01)
        for count in (20, 50, 100)
        for index in (0.5, 1.0, 1.33)
    ),
    Check(what="Cpk, mean 0.166, s 0.0457, upper limit 0.40 (inferred)",
          clause="AIAG & VDA SPC Manual p. 48", flag=Flag.SECOND_HAND,
          ours=one_sided(0.166, 0.0457), published=1.71, within=5e-3),
    Check(what="Cpk, mean 0.250, s 0.0292, upper limit 0.40 (inferred)",
          clause="AIAG & VDA SPC Manual p. 48", flag=Flag.SECOND_HAND,
          ours=one_sided(0.250, 0.0292), published=1.71, within=5e-3),
    # The answer read there takes 10.12, the 5 % point of χ² with 19 degrees, and calls
    # the interval two-sided; its lower end is a one-sided bound of 95 %.
    Check(what="lower bound of Cp 2.29, n 20, χ² 10.12",
          clause="wizedu.com, question 1595352, after a textbook", flag=Flag.SEEN,
          ours=lambda: pp_lower_bound(2.29, 20), published=1.671, within=1e-3),
    Check(what="lower end of the 95 % interval, Cpk 1.33, n 20",
          clause="Montgomery, section 8.3", flag=Flag.MEMORY,
          ours=lambda: ppk_lower_bound(1.33, 20, 0.975), published=0.88, within=5e-3),
]  # fmt: skip


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
