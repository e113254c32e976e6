"""Pure triglycerides, by the molar masses of a general chemistry library.

Source: definition of the saponification value (ISO 3657, with M(KOH) = 56.1 as the
standards round it; from memory, the same variables seen for ASTM D94, clause 21) and
the atomic weights in `periodictable` 2. Each mole of triglyceride takes three of KOH.
"""

from __future__ import annotations

from decimal import Decimal

import periodictable
import pytest

from batches.chemistry.saponification import Oil, alkali_need, potash_to_weigh

# Glyceryl ester, and its saponification value with 56.1 from a table computed apart.
TRIGLYCERIDES = [
    pytest.param("C39H74O6", "263.3741", id="trilaurin"),
    pytest.param("C51H98O6", "208.4626", id="tripalmitin"),
    pytest.param("C57H110O6", "188.7827", id="tristearin"),
    pytest.param("C57H104O6", "190.0722", id="triolein"),
    pytest.param("C57H98O6", "191.3794", id="trilinolein"),
    pytest.param("C57H92O6", "192.7047", id="trilinolenin"),
    pytest.param("C57H104O9", "180.2989", id="triricinolein"),
]
MASS_G = Decimal("873.25")
PURITY = Decimal("0.885")


def moles_of_potassium_hydroxide(formula: str) -> float:
    return 3 * float(MASS_G) / float(periodictable.formula(formula).mass)


@pytest.mark.parametrize(("formula", "value"), TRIGLYCERIDES)
def test_the_potash_is_what_the_mole_balance_asks_for(formula: str, value: str) -> None:
    koh_g = moles_of_potassium_hydroxide(formula) * periodictable.formula("KOH").mass
    ours = potash_to_weigh(alkali_need([Oil(MASS_G, Decimal(value))]), PURITY)
    # 56.1 against 56.1053: 9.4 parts in 100 000
    assert float(ours) == pytest.approx(koh_g / float(PURITY), rel=1e-4)


@pytest.mark.parametrize(("formula", "value"), TRIGLYCERIDES)
def test_with_the_rounding_of_the_standards_it_agrees_to_six_digits(
    formula: str, value: str
) -> None:
    koh_g = moles_of_potassium_hydroxide(formula) * 56.1
    ours = alkali_need([Oil(MASS_G, Decimal(value))])
    assert float(ours) == pytest.approx(koh_g, rel=5e-7)
