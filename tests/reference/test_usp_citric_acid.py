"""USP monographs Citric Acid: what an acid takes up, as a pharmacopoeia assays it.

Read: USP 28, Citric Acid (db.yaozh.com/foreign/USP28, molar masses and the limit for
water); Citric Acid Monohydrate, preview at doi.usp.org/USPNF/USPNF_M17972_04_01.html.
Anhydrous Citric Acid, assay, in a copy at scribd.com/doc/315805461: “each mL of 1 N
sodium hydroxide is equivalent to 64.03 mg of C6H8O7”. That is 192.1/3, with the molar
mass of its title; hence the tolerance.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from batches.chemistry.acids import (
    CITRIC_ANHYDROUS,
    CITRIC_MONOHYDRATE,
    MOLAR_MASS_CITRIC_ACID,
    MOLAR_MASS_CITRIC_MONOHYDRATE,
    koh_per_gram,
)
from batches.chemistry.constants import MOLAR_MASS_KOH
from tests.reference.outside import Check, Flag

pytestmark = pytest.mark.any_engine

SOURCE = "USP monographs Citric Acid, Anhydrous Citric Acid, Citric Acid Monohydrate"


def milligrams_for_a_millimole(acid: str) -> Decimal:
    return MOLAR_MASS_KOH.value / koh_per_gram(acid)


def water_percent() -> Decimal:
    """Return the water that our monohydrate has and our anhydrous acid has not."""
    hydrous, anhydrous = MOLAR_MASS_CITRIC_MONOHYDRATE, MOLAR_MASS_CITRIC_ACID
    return (hydrous - anhydrous) / hydrous * 100


CHECKS = [
    Check(
        what="anhydrous acid for 1 ml of 1 N alkali, mg",
        clause="Anhydrous Citric Acid, Assay",
        flag=Flag.SECOND_HAND,
        ours=lambda: milligrams_for_a_millimole(CITRIC_ANHYDROUS),
        published=64.03,
        within=0.015,
    ),
    Check(
        what="molar mass, anhydrous, g/mol",
        clause="USP 28, Citric Acid, title",
        flag=Flag.SEEN,
        ours=lambda: MOLAR_MASS_CITRIC_ACID,
        published=192.12,
        within=0.005,
    ),
    Check(
        what="molar mass, monohydrate, g/mol",
        clause="Citric Acid Monohydrate, title",
        flag=Flag.SEEN,
        ours=lambda: MOLAR_MASS_CITRIC_MONOHYDRATE,
        published=210.14,
        within=0.005,
    ),
    Check(
        what="monohydrate for 1 ml of 1 N alkali, mg: a third of its molar mass",
        clause="Citric Acid Monohydrate, title",
        flag=Flag.SEEN,
        ours=lambda: milligrams_for_a_millimole(CITRIC_MONOHYDRATE),
        published=210.14 / 3,
        within=0.005,
    ),
    Check(
        what="the water of our monohydrate is within its limit of 8.8 %",
        clause="USP 28, Citric Acid, Water",
        flag=Flag.SEEN,
        ours=lambda: 8 < water_percent() <= Decimal("8.8"),
        published=True,
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
