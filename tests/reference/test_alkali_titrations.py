"""Published titrations of soap and of mixed alkali, worked out by teachers.

Free alkali in soap: askfilo.com, “Experiment No.2, determine %age of free alkali”
(read): 5.1 g of soap, the alkali taken up in neutral alcohol, 8.50 ml of 0.1 N acid,
0.0264 g of Na2O (31 g a mole of acid), 0.52 %.

Hydroxide beside carbonate: mcqoptions.com, question 449885 (read): 500 ml hold 2.65 g
of Na2CO3 and 4 g of NaOH; 20 ml take 50 ml of N/10 acid to phenolphthalein, 60 ml to
methyl orange. Used backwards: from the two volumes to the amounts. Sodium in the place
of potassium changes no mole.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from batches.chemistry.titration import KOH, free_alkali, hydroxide_and_carbonate
from tests.reference.outside import Check, Flag

SOURCE = "worked examples at askfilo.com and mcqoptions.com"
SODA_PER_ACID = Decimal(31)


def soda_percent() -> Decimal:
    """Return free alkali as Na2O, the way the example states it."""
    as_koh = free_alkali(
        mass_g=Decimal("5.100"),
        volume_ml=Decimal("8.50"),
        concentration=Decimal("0.1"),
    )
    return as_koh * SODA_PER_ACID / KOH


def grams_in_500_ml(place: int, molar_mass: str) -> Decimal:
    mmol = hydroxide_and_carbonate(
        first_ml=Decimal(50), total_ml=Decimal(60), concentration=Decimal("0.1")
    )[place]
    return mmol * Decimal(molar_mass) / 1000 * 500 / 20


CHECKS = [
    Check(
        what="free alkali of a soap in alcohol, as Na2O, percent",
        clause="askfilo, Experiment No.2",
        flag=Flag.SEEN,
        ours=soda_percent,
        published=0.52,
        within=0.005,
    ),
    Check(
        what="the same in grams",
        clause="askfilo, Experiment No.2",
        flag=Flag.SEEN,
        ours=lambda: soda_percent() * Decimal("5.1") / 100,
        published=0.0264,
        within=0.0001,
    ),
    Check(
        what="grams of NaOH in 500 ml by two end points",
        clause="mcqoptions 449885",
        flag=Flag.SEEN,
        ours=lambda: grams_in_500_ml(0, "40"),
        published=4,
        within=1e-9,
    ),
    Check(
        what="grams of Na2CO3 in 500 ml by two end points",
        clause="mcqoptions 449885",
        flag=Flag.SEEN,
        ours=lambda: grams_in_500_ml(1, "106"),
        published=2.65,
        within=1e-9,
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
