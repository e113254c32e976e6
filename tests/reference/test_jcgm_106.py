"""JCGM 106:2012, the role of measurement uncertainty in conformity assessment.

Flags: of clause 7.4 the numbers that go in were read at metrologyrules.com (result
13.6, u 1.8, limits 12.5 and 16.3); what comes out is from memory, as are both sides of
the other examples. The text itself could not be read. None of these counts as an
outside check; the arithmetic behind them is checked against tables of the normal
distribution in other files here.
"""

from __future__ import annotations

import pytest

from quality.statistics.risks import (
    guard_band_for,
    probability_of_conformance,
    risk_of_wrong_decision,
)
from tests.reference.outside import Check, Flag

SOURCE = "JCGM 106:2012"

CHECKS = [
    Check(
        what="viscosity 13.6, u 1.8, from 12.5 to 16.3",
        clause="7.4",
        flag=Flag.MEMORY,
        ours=lambda: probability_of_conformance(13.6, 1.8, lower=12.5, upper=16.3),
        published=0.66,
        within=0.005,
    ),
    Check(
        what="diode −5.47 V, u 0.05 V, at most −5.40 V",
        clause="7.3",
        flag=Flag.MEMORY,
        ours=lambda: probability_of_conformance(-5.47, 0.05, upper=-5.40),
        published=0.92,
        within=0.005,
    ),
    Check(
        what="container 509.7 kPa, u 8.6 kPa, at least 490 kPa",
        clause="7.3",
        flag=Flag.MEMORY,
        ours=lambda: risk_of_wrong_decision(509.7, 8.6, lower=490),
        published=0.01,
        within=0.005,
    ),
    Check(
        what="speed above 100 km/h beyond doubt of 0.1 %, u 2 %",
        clause="8.3.3",
        flag=Flag.MEMORY,
        # at the speed found, the guard band is that of its own uncertainty
        ours=lambda: 100 / (1 - float(guard_band_for(0.001, 0.02))),
        published=107,
        within=0.5,
    ),
]


@pytest.mark.any_engine
@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
