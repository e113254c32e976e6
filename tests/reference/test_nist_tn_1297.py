"""NIST Technical Note 1297, table B.1: t for 95.45 %, our coverage factor.

Flag: read at www.nist.gov/physical-measurement-laboratory/
nist-tn-1297-guidelines-appendix-b-table-b1. The table is that of the GUM, G.2.
"""

from __future__ import annotations

import math

import pytest

from quality.statistics.budgets import MANY_DEGREES, coverage_factor
from tests.reference.outside import Check, Flag

SOURCE = "NIST TN 1297:1994"

ONE_TO_TWENTY = """
13.97 4.53 3.31 2.87 2.65 2.52 2.43 2.37 2.32 2.28
2.25 2.23 2.21 2.20 2.18 2.17 2.16 2.15 2.14 2.13
"""
FROM_25_BY_FIVES = "2.11 2.09 2.07 2.06 2.06"
TABLE: dict[float, float] = {
    **{place: float(t) for place, t in enumerate(ONE_TO_TWENTY.split(), start=1)},
    **{25 + 5 * n: float(t) for n, t in enumerate(FROM_25_BY_FIVES.split())},
    math.inf: 2.000,
}

CHECKS = [
    Check(
        what=f"k at {degrees} degrees of freedom",
        clause="B.1",
        flag=Flag.SEEN,
        ours=lambda degrees=degrees: coverage_factor(degrees),  # type: ignore[misc]
        published=published,
        within=0.005,
    )
    for degrees, published in TABLE.items()
]


@pytest.mark.any_engine
@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()


@pytest.mark.any_engine
@pytest.mark.parametrize(("degrees", "published"), [(50, 2.05), (100, 2.025)])
def test_from_fifty_degrees_on_two_is_taken_and_is_less_than_the_table(
    degrees: float, published: float
) -> None:
    assert degrees >= MANY_DEGREES
    assert 0 < published - coverage_factor(degrees) < 0.051
