"""Potassium soaps and lime soap, by the molar masses of a general chemistry library.

Two soaps for each calcium: 2 C17H35COONa + Ca²⁺ → (C17H35COO)2Ca + 2 Na⁺, read at
powel-water-treatment.com/water-hardness.html; molar masses of periodictable.
"""

from __future__ import annotations

import functools
from decimal import Decimal

import periodictable
import pytest

from batches.chemistry.doses import (
    MOLAR_MASS_POTASSIUM_OLEATE,
    soap_lost_to_hardness,
    soap_molar_mass,
)
from batches.chemistry.outcome import oil_charge, potash_charge, react
from tests.reference.outside import Check, Flag

SOURCE = "periodictable 2.1; reaction of powel-water-treatment.com"


def mass(formula: str) -> float:
    return float(periodictable.formula(formula).mass)


def molar_mass_from(fat: str) -> Decimal:
    """Return ours, from a kilogram of the triglyceride and the potash it needs."""
    value = Decimal(3000 * mass("KOH") / mass(fat))
    made = react(oil_charge(Decimal(1000), value) + potash_charge(value, Decimal(1)))
    return soap_molar_mass(made.soap, made.bound)


def lost(soap: str, mmol: int, litres: int) -> Decimal:
    return soap_lost_to_hardness(
        hardness_mmol_l=Decimal(mmol),
        litres=Decimal(litres),
        molar_mass=Decimal(mass(soap)),
    )


# Triglyceride and its potassium soap.
FATS = {
    "laurin": ("C39H74O6", "C12H23KO2"),
    "palmitin": ("C51H98O6", "C16H31KO2"),
    "stearin": ("C57H110O6", "C18H35KO2"),
    "olein": ("C57H104O6", "C18H33KO2"),
    "linolein": ("C57H98O6", "C18H31KO2"),
    "ricinolein": ("C57H104O9", "C18H33KO3"),
}

CHECKS = [
    Check(
        what="potassium oleate in g/mol",
        clause="C18H33KO2",
        flag=Flag.LIBRARY,
        ours=lambda: MOLAR_MASS_POTASSIUM_OLEATE.value,
        published=mass("C18H33KO2"),
        relative=1e-6,
    ),
    *(
        Check(
            what=f"soap of tri{name} from what reacts, in g/mol",
            clause="mole balance",
            flag=Flag.LIBRARY,
            ours=functools.partial(molar_mass_from, fat),
            published=mass(soap),
            relative=1e-6,
        )
        for name, (fat, soap) in FATS.items()
    ),
    *(
        Check(
            what=f"{soap} lost to 3 mmol/l in 20 l, as lime soap less calcium, in g",
            clause="reaction",
            flag=Flag.LIBRARY,
            ours=functools.partial(lost, soap, 3, 20),
            # 60 mmol of Ca(soap)2, its calcium put back to two potassium
            published=0.06 * (mass(lime) - mass("Ca") + 2 * mass("K")),
            relative=1e-6,
        )
        for soap, lime in (
            ("C18H33KO2", "C36H66CaO4"),
            ("C12H23KO2", "C24H46CaO4"),
            ("C18H35KO2", "C36H70CaO4"),
        )
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
