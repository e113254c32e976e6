"""Molar masses of the library `periodictable`: potash, its carbonate, its acids.

Flag: run in the library, which has the IUPAC abridged atomic weights from a source of
its own; nothing of ours is in it.
"""

from __future__ import annotations

import periodictable
import pytest

from batches.chemistry import acids, ageing
from batches.chemistry.constants import KOH_PER_K2CO3
from tests.reference.outside import Check, Flag

SOURCE = "periodictable 2.1.0"


def molar_mass(formula: str) -> float:
    return float(periodictable.formula(formula).mass)


CHECKS = [
    Check(
        what="molar mass of citric acid",
        clause="C6H8O7",
        flag=Flag.LIBRARY,
        ours=lambda: acids.MOLAR_MASS_CITRIC_ACID,
        published=molar_mass("C6H8O7"),
        relative=1e-6,
    ),
    Check(
        what="molar mass of its monohydrate",
        clause="C6H8O7·H2O",
        flag=Flag.LIBRARY,
        ours=lambda: acids.MOLAR_MASS_CITRIC_MONOHYDRATE,
        published=molar_mass("C6H8O7") + molar_mass("H2O"),
        relative=1e-6,
    ),
    Check(
        what="grams of KOH that a gram of citric acid takes up",
        clause="3 KOH : C6H8O7",
        flag=Flag.LIBRARY,
        ours=lambda: acids.koh_per_gram(acids.CITRIC_ANHYDROUS),
        published=3 * molar_mass("KOH") / molar_mass("C6H8O7"),
        relative=1e-6,
    ),
    Check(
        what="grams of KOH that a gram of the monohydrate takes up",
        clause="3 KOH : C6H8O7·H2O",
        flag=Flag.LIBRARY,
        ours=lambda: acids.koh_per_gram(acids.CITRIC_MONOHYDRATE),
        published=3 * molar_mass("KOH") / (molar_mass("C6H8O7") + molar_mass("H2O")),
        relative=1e-6,
    ),
    Check(
        what="molar mass of carbon dioxide",
        clause="CO2",
        flag=Flag.LIBRARY,
        ours=lambda: ageing.MOLAR_MASS_CO2,
        published=molar_mass("CO2"),
        relative=1e-6,
    ),
    Check(
        what="grams of carbon dioxide that a gram of KOH takes",
        clause="2 KOH : CO2",
        flag=Flag.LIBRARY,
        ours=lambda: 1 / ageing.KOH_PER_CO2,
        published=molar_mass("CO2") / molar_mass("KOH") / 2,
        relative=1e-6,
    ),
    Check(
        what="grams of KOH that an assay counts for a gram of carbonate",
        clause="2 KOH : K2CO3",
        flag=Flag.LIBRARY,
        ours=lambda: KOH_PER_K2CO3,
        published=2 * molar_mass("KOH") / molar_mass("K2CO3"),
        relative=1e-6,
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
