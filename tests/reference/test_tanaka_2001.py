"""Tanaka et al., Metrologia 38 (2001) 301: recommended density of water, 0 to 40 °C.

Flag: second hand, as an implementation prints it
(connorb.github.io/preMetabolizer/reference/calc_water_density.html). Our equation is
Kell's of 1975; the two differ by 3 parts in a million.
"""

from __future__ import annotations

import functools

import pytest

from batches.chemistry.water import density
from tests.reference.outside import Check, Flag

pytestmark = pytest.mark.any_engine

SOURCE = "Tanaka et al. 2001"
CHECKS = [
    Check(
        what=f"density of water at {celsius:g} °C, g/ml",
        clause="recommended formula",
        flag=Flag.SECOND_HAND,
        ours=functools.partial(density, celsius),
        published=published / 1000,
        within=4e-6,
    )
    for celsius, published in (
        (0.0, 999.8428),
        (10.0, 999.7027),
        (15.0, 999.1026),
        (20.0, 998.2067),
        (30.0, 995.6488),
    )
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
