"""CRC Handbook of Chemistry and Physics: water and solutions in it.

Flags: pKw of the current edition read at hbcp.chemnetbase.com, 05_20_0001 (computed
there from an earlier release of IAPWS, hence 0.002); pKw of the 2005 edition, after
Marshall and Franck 1981, read at zanotowane.pl/1023/1715: older, and used to show how
far tables differ, not as an oracle; heat capacity second hand at
wfrjr.com/data/formula/data/water.html; mean activity coefficients of 1:1 electrolytes,
page 5-106, second hand at paperzz.com/doc/8778636. So dilute, all of them are one.
"""

from __future__ import annotations

import functools

import pytest

from batches.chemistry.ph import activity_coefficient
from batches.chemistry.water import heat_capacity, ionisation
from tests.reference.outside import Check, Flag

pytestmark = pytest.mark.any_engine

SOURCE = "CRC Handbook of Chemistry and Physics, water"
CHECKS = [
    *(
        Check(
            what=f"pKw at {celsius:g} °C",
            clause="section 5, Ion Product of Water Substance, 0.1 MPa",
            flag=Flag.SEEN,
            ours=functools.partial(ionisation, celsius),
            published=published,
            within=0.002,
        )
        for celsius, published in (
            (0.0, 14.946),
            (25.0, 13.995),
            (50.0, 13.264),
            (75.0, 12.696),
            (100.0, 12.252),
        )
    ),
    *(
        Check(
            what=f"pKw at {celsius:g} °C in the older table",
            clause="2005 edition, page 8-79",
            flag=Flag.SEEN,
            ours=functools.partial(ionisation, celsius),
            published=published,
            within=0.013,
        )
        for celsius, published in (
            (10.0, 14.528),
            (20.0, 14.163),
            (30.0, 13.836),
            (40.0, 13.542),
            (100.0, 12.265),
        )
    ),
    *(
        Check(
            what=f"heat capacity of water at {celsius:g} °C, J/(g K)",
            clause="section 6, Properties of Water",
            flag=Flag.SECOND_HAND,
            ours=functools.partial(heat_capacity, celsius),
            published=published,
            within=0.001,
        )
        for celsius, published in (
            (10.0, 4.1921),
            (20.0, 4.1818),
            (40.0, 4.1785),
            (60.0, 4.1843),
            (80.0, 4.1963),
            (100.0, 4.2159),
        )
    ),
    *(
        Check(
            what=f"activity coefficient of {salt} at {molality:g} mol/kg",
            clause="page 5-106, after Hamer and Wu 1972",
            flag=Flag.SECOND_HAND,
            ours=functools.partial(activity_coefficient, molality),
            published=published,
            within=within,
        )
        for salt, molality, published, within in (
            ("CsCl", 0.001, 0.965, 0.0005),
            ("CsCl", 0.002, 0.951, 0.002),
            ("CsF", 0.005, 0.929, 0.003),
            ("CsF", 0.010, 0.905, 0.004),
            ("CsF", 0.100, 0.792, 0.012),
        )
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
