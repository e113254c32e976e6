"""JECFA, specification of potassium hydroxide, INS 525 (1975, revised 2002).

Flag: read in a copy, paperzz.com/doc/8027345/potassium-hydroxide. “Carbonate: not more
than 3.5 % (as potassium carbonate). Each ml of 1 N sulfuric acid required between the
phenolphthalein and methyl orange endpoints … is equivalent to 138.2 mg of K2CO3.”
“Each ml of 1 N sulfuric acid is equivalent to 56.11 mg of total alkali.” Its formula
weight is 56.11.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from batches.chemistry.constants import MOLAR_MASS_KOH
from batches.chemistry.potash import MOST_CARBONATE
from batches.chemistry.titration import hydroxide_and_carbonate, total_alkali
from tests.reference.outside import Check, Flag

SOURCE = "JECFA, FNP 52 Add. 10 (2002), potassium hydroxide"

CHECKS = [
    Check(
        what="formula weight of KOH",
        clause="Definition",
        flag=Flag.SECOND_HAND,
        ours=lambda: MOLAR_MASS_KOH.value,
        published=56.11,
        within=0.005,
    ),
    Check(
        what="mg of total alkali as KOH for each ml of 1 N acid",
        clause="Method of assay",
        flag=Flag.SECOND_HAND,
        ours=lambda: (
            total_alkali(
                mass_g=Decimal(1),
                acid_ml=Decimal(1),
                acid_concentration=Decimal(1),
                back_ml=Decimal(0),
                back_concentration=Decimal(1),
            )
            * 10
        ),
        published=56.11,
        within=0.005,
    ),
    Check(
        what="mmol of carbonate in 138.2 mg, one ml of 1 N between the end points",
        clause="Purity, carbonate",
        flag=Flag.SECOND_HAND,
        ours=lambda: hydroxide_and_carbonate(
            first_ml=Decimal(20), total_ml=Decimal(21), concentration=Decimal(1)
        )[1],
        published=138.2 / 138.205,
        relative=1e-4,
    ),
    Check(
        what="most carbonate a food-grade potash may have, percent",
        clause="Purity, carbonate",
        flag=Flag.SECOND_HAND,
        ours=lambda: MOST_CARBONATE,
        published=3.5,
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
