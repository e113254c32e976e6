"""Published titrations of oils, worked out by teachers of chemistry.

Saponification value: ques10.com/p/50803 (read): 1.5 g of oil, 0.5 N, blank 25 ml,
sample 15 ml, 186.67, computed there with M(KOH) = 56. Acid value: shaalaa.com, question
58089 (read): 20 ml of oil of 0.86 g/ml, 2.5 ml of 0.1 N, 0.814, also with 56. Ours has
56.1053, so our result is brought to 56 before it is compared.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from batches.chemistry.excess import excess
from batches.chemistry.saponification import Oil, alkali_need
from batches.chemistry.titration import KOH, acid_value, saponification_value
from tests.reference.outside import Check, Flag

SOURCE = "worked examples at ques10.com and shaalaa.com"
WITH_56 = Decimal(56) / KOH

CHECKS = [
    Check(
        what="saponification value of 1.5 g, 25 − 15 ml of 0.5 N",
        clause="ques10 p/50803",
        flag=Flag.SEEN,
        ours=lambda: (
            WITH_56
            * saponification_value(
                mass_g=Decimal("1.5"),
                volume_ml=Decimal(15),
                concentration=Decimal("0.5"),
                blank_ml=Decimal(25),
            )
        ),
        published=186.67,
        within=0.005,
    ),
    Check(
        what="acid value of 17.2 g, 2.5 ml of 0.1 N",
        clause="shaalaa 58089",
        flag=Flag.SEEN,
        ours=lambda: (
            WITH_56
            * acid_value(
                mass_g=Decimal(20) * Decimal("0.86"),
                volume_ml=Decimal("2.5"),
                concentration=Decimal("0.1"),
            )
        ),
        published=0.814,
        within=0.0005,
    ),
    Check(
        what="alkali that 1.5 g of 186.67 leaves of 25 ml of 0.5 N, in ml of it",
        clause="ques10 p/50803",
        flag=Flag.SEEN,
        ours=lambda: excess([(25 * 0.5 * 0.056, 1.0)], [(1.5, 186.67)]) / (0.5 * 0.056),
        published=15.0,
        within=0.001,
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()


def test_the_need_of_the_sample_is_the_alkali_that_it_took() -> None:
    mmol_taken = (Decimal(25) - Decimal(15)) * Decimal("0.5")
    need_mg = alkali_need([Oil(Decimal("1.5"), Decimal("186.67"))]) * 1000
    assert need_mg == pytest.approx(mmol_taken * 56, abs=Decimal("0.01"))
