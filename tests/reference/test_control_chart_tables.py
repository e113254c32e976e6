"""Factors for control charts: printed tables, and the normal distribution by scipy.

Read: Table A.22, Factors for Constructing Control Charts, page 766 of a textbook of
statistics (scribd.com/document/575462347); A. M. Joglekar, Statistical Methods for Six
Sigma, Wiley 2003, appendix G, © ASTM International (scribd.com/document/495921519);
Montgomery and Runger, equation 16-19 (issuhub.com, id 5218, p. 732).
"""

from __future__ import annotations

import math

import pytest
from scipy import integrate, special, stats

from quality.statistics.control import D2_OF_TWO, D4_OF_TWO, LIMIT_WIDTH
from quality.statistics.run_rules import WECO_RULES, signals
from tests.reference.outside import Check, Flag

pytestmark = pytest.mark.any_engine

SOURCE = "Tables of factors for control charts"


def moment_of_range(power: int) -> float:
    """Return a moment of |x − y|, of two standard normal values, by integration."""

    def density(width: float) -> float:
        return float(2 * stats.norm.pdf(width, scale=math.sqrt(2)) * width**power)

    value, _ = integrate.quad(density, 0, math.inf)
    return float(value)


def d2() -> float:
    return moment_of_range(1)


def d3() -> float:
    return math.sqrt(moment_of_range(2) - d2() ** 2)


def share_beyond_three() -> float:
    """Return the share of a normal lattice that rule 1 of Western Electric names."""
    count = 100_000
    lattice = special.ndtri([(place + 0.5) / count for place in range(count)])
    found = signals(list(lattice), centre=0, sigma=1, rules=WECO_RULES[:1])
    return sum(len(signal.points) for signal in found) / count


CHECKS = [
    Check(what="d2 for n = 2", clause="Table A.22", flag=Flag.SEEN,
          ours=lambda: D2_OF_TWO, published=1.128, within=0),
    Check(what="d2 for n = 2", clause="Joglekar, appendix G", flag=Flag.SEEN,
          ours=lambda: D2_OF_TWO, published=1.128, within=0),
    Check(what="D4 for n = 2", clause="Table A.22", flag=Flag.SEEN,
          ours=lambda: D4_OF_TWO, published=3.267, within=0),
    Check(what="D4 for n = 2", clause="Montgomery and Runger, eq. 16-19",
          flag=Flag.SEEN, ours=lambda: D4_OF_TWO, published=3.267, within=0),
    Check(what="3/d2, the factor of an individuals chart", clause="Montgomery, App. VI",
          flag=Flag.SECOND_HAND, ours=lambda: LIMIT_WIDTH / D2_OF_TWO, published=2.66,
          within=5e-4),
    Check(what="d2 as the mean range of two normal values", clause="scipy.integrate",
          flag=Flag.SEEN, ours=lambda: D2_OF_TWO, published=d2(), within=5e-4),
    Check(what="D4 as 1 + 3·d3/d2", clause="scipy.integrate", flag=Flag.SEEN,
          ours=lambda: D4_OF_TWO, published=1 + 3 * d3() / d2(), within=1e-3),
    Check(what="d3 for n = 2 from D4 and d2", clause="Joglekar, appendix G",
          flag=Flag.SEEN, ours=lambda: (D4_OF_TWO - 1) * D2_OF_TWO / LIMIT_WIDTH,
          published=0.8525, within=5e-4),
    Check(what="share of points beyond three sigma", clause="scipy.stats.norm",
          flag=Flag.SEEN, ours=share_beyond_three,
          published=float(2 * stats.norm.sf(3)), within=1e-5),
]  # fmt: skip


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
