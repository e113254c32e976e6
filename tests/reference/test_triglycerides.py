"""Pure triglycerides, by the molar masses of a general chemistry library.

Each mole of triglyceride takes three of KOH. Each saponification value was computed
apart with the 56.1 of the standards; the library has 56.1053, 9.4 parts in 100 000
more.
"""

from __future__ import annotations

import functools
from decimal import Decimal

import periodictable
import pytest

from batches.chemistry.saponification import Oil, alkali_need, potash_to_weigh
from tests.reference.outside import Check, Flag

SOURCE = "periodictable 2.1 (IUPAC abridged atomic weights), definition of ISO 3657"

# Glyceryl ester, and its saponification value with 56.1.
TRIGLYCERIDES = {
    "trilaurin": ("C39H74O6", "263.3741"),
    "tripalmitin": ("C51H98O6", "208.4626"),
    "tristearin": ("C57H110O6", "188.7827"),
    "triolein": ("C57H104O6", "190.0722"),
    "trilinolein": ("C57H98O6", "191.3794"),
    "trilinolenin": ("C57H92O6", "192.7047"),
    "triricinolein": ("C57H104O9", "180.2989"),
}
MASS_G = Decimal("873.25")
PURITY = Decimal("0.885")


def moles_of_potassium_hydroxide(formula: str) -> float:
    return 3 * float(MASS_G) / float(periodictable.formula(formula).mass)


def potash(value: str) -> float:
    need = alkali_need([Oil(MASS_G, Decimal(value))])
    return float(potash_to_weigh(need, PURITY))


CHECKS = [
    Check(
        what=f"potash of 88.5 % for 873.25 g of {name}, in g",
        clause="mole balance",
        flag=Flag.LIBRARY,
        ours=functools.partial(potash, value),
        published=moles_of_potassium_hydroxide(formula)
        * float(periodictable.formula("KOH").mass)
        / float(PURITY),
        relative=1e-4,
    )
    for name, (formula, value) in TRIGLYCERIDES.items()
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()


@pytest.mark.parametrize("name", TRIGLYCERIDES)
def test_with_the_rounding_of_the_standards_it_agrees_to_six_digits(name: str) -> None:
    formula, value = TRIGLYCERIDES[name]
    koh_g = moles_of_potassium_hydroxide(formula) * 56.1
    ours = alkali_need([Oil(MASS_G, Decimal(value))])
    assert float(ours) == pytest.approx(koh_g, rel=5e-7)
