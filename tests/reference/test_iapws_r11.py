"""IAPWS R11-24, Release on the Ionization Constant of H2O: its computer-check values.

Flag: second hand, as the test suite of a public implementation quotes them
(MilanSkocic/iapws, test/testsuite_r1124.f90).
"""

from __future__ import annotations

import functools

import pytest

from batches.chemistry.water import ionisation_at
from tests.reference.outside import Check, Flag

pytestmark = pytest.mark.any_engine

SOURCE = "IAPWS R11-24"
CHECKS = [
    Check(
        what=f"pKw at {kelvin:g} K and {density:g} g/cm³",
        clause="table of check values",
        flag=Flag.SECOND_HAND,
        ours=functools.partial(ionisation_at, kelvin, density),
        published=published,
        within=1e-6,
    )
    for kelvin, density, published in (
        (300.0, 1.0, 13.906672),
        (600.0, 0.07, 20.161651),
        (600.0, 0.7, 11.147093),
        (800.0, 0.2, 14.487671),
        (800.0, 1.2, 6.4058649),
        (1270.0, 0.0, 35.081557),
    )
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
