"""Lye in printed tables that have nothing to do with the model we use.

Densities at 18 °C: Kraków University of Technology, read at
fizyka.pk.edu.pl/tabele/GesRoztw.htm. 45 % at 25 °C: a supplier's figure read at
mcblabprotocols.com, 0.4 % above the model. Figures printed for 50 % differ by 2 % and
are left out. Solubility: Great Soviet Encyclopedia, read at
encyclopedia2.thefreedictionary.com; NIOSH Pocket Guide, 107 % at 59 °F, read in a copy
of npgd0523.html. pH of 1 M KOH: ACS Energy Lett. 6 (2021) 3567 finds 13.5 to 14
reported.
"""

from __future__ import annotations

import functools

import pytest

from batches.chemistry.lye import density, solubility
from batches.chemistry.ph import ph_of
from tests.reference.outside import Check, Flag

pytestmark = pytest.mark.any_engine

SOURCE = "printed tables of lye"
CHECKS = [
    *(
        Check(
            what=f"density of {percent} % lye at 18 °C, g/ml",
            clause="Gęstość roztworów wodnych, column KOH",
            flag=Flag.SEEN,
            ours=functools.partial(density, percent / 100, 18.0),
            published=published,
            within=0.002,
        )
        for percent, published in (
            (0, 0.9986),
            (5, 1.045),
            (10, 1.091),
            (15, 1.139),
            (20, 1.188),
            (25, 1.238),
            (30, 1.290),
            (35, 1.344),
            (40, 1.400),
        )
    ),
    Check(
        what="density of 45 % lye at 25 °C, g/ml",
        clause="supplier's figure",
        flag=Flag.SECOND_HAND,
        ours=functools.partial(density, 0.45, 25.0),
        published=1.456,
        within=0.006,
    ),
    Check(
        what="solubility at 0 °C, g/100 g water",
        clause="encyclopedia, Potassium Hydroxide",
        flag=Flag.SEEN,
        ours=functools.partial(solubility, 0.0),
        published=97,
    ),
    Check(
        what="solubility at 20 °C, g/100 g water",
        clause="encyclopedia, Potassium Hydroxide",
        flag=Flag.SEEN,
        ours=functools.partial(solubility, 20.0),
        published=112,
    ),
    Check(
        what="solubility at 15 °C, g/100 g water, between the two",
        clause="NIOSH Pocket Guide 0523",
        flag=Flag.SECOND_HAND,
        ours=functools.partial(solubility, 15.0),
        published=107,
        within=1.5,
    ),
    Check(
        what="ideal pH of 1 mol/kg KOH lies among those reported",
        clause="ACS Energy Lett. 6 (2021) 3567",
        flag=Flag.SEEN,
        ours=lambda: 13.5 <= ph_of(1.0, ideal=True) <= 14,
        published=True,
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
