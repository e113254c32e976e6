"""Soap and glycerol of pure triglycerides, by formulas in a general chemistry library.

One mole of triglyceride and three of KOH make three of potassium soap and one of
glycerol. The library has its own atomic weights (IUPAC, abridged). Ours knows no
formula: it gets the saponification value, 3 · M(KOH) / M, and has to find the rest.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

import periodictable
import pytest

from batches.chemistry.acids import (
    CITRIC_ANHYDROUS,
    CITRIC_MONOHYDRATE,
    koh_per_gram,
)
from batches.chemistry.outcome import (
    GLYCEROL_PER_KOH,
    SALT_PER_KOH,
    WATER_PER_KOH,
    Pot,
    oil_charge,
    react,
)
from tests.reference.outside import Check, Flag

pytestmark = pytest.mark.any_engine

SOURCE = "periodictable 2.1 (IUPAC abridged atomic weights), balance by moles"

# Triglyceride and its potassium soap.
FATS = {
    "trilaurin": ("C39H74O6", "C12H23O2K"),
    "trimyristin": ("C45H86O6", "C14H27O2K"),
    "tripalmitin": ("C51H98O6", "C16H31O2K"),
    "tristearin": ("C57H110O6", "C18H35O2K"),
    "triolein": ("C57H104O6", "C18H33O2K"),
    "trilinolein": ("C57H98O6", "C18H31O2K"),
    "trilinolenin": ("C57H92O6", "C18H29O2K"),
    "triricinolein": ("C57H104O9", "C18H33O3K"),
}


def mass(formula: str) -> float:
    return float(periodictable.formula(formula).mass)


KOH, GLYCEROL, WATER = mass("KOH"), mass("C3H8O3"), mass("H2O")


def made(fat: str) -> Pot:
    """Return the pot of a kilogram of a fat with just its potash."""
    value = Decimal(3000 * KOH / mass(fat))
    return react(oil_charge(Decimal(1000), value) + Pot(koh=value))


def checks_of(name: str, fat: str, soap: str) -> Iterator[Check]:
    yield Check(
        what=f"potassium soap of a kilogram of {name}, g",
        clause="mole balance",
        flag=Flag.LIBRARY,
        ours=lambda: made(fat).soap,
        published=3000 * mass(soap) / mass(fat),
        relative=1e-6,
    )
    yield Check(
        what=f"glycerol of a kilogram of {name}, g",
        clause="mole balance",
        flag=Flag.LIBRARY,
        ours=lambda: made(fat).glycerol,
        published=1000 * GLYCEROL / mass(fat),
        relative=1e-6,
    )


FACTORS = [
    ("glycerol for each gram of KOH", GLYCEROL_PER_KOH, GLYCEROL / 3 / KOH),
    ("water of neutralising for each gram of KOH", WATER_PER_KOH, WATER / KOH),
    (
        "potassium soap less fatty acid for each gram of KOH",
        SALT_PER_KOH,
        (mass("C18H33O2K") - mass("C18H34O2")) / KOH,
    ),
    (
        "citric acid, anhydrous, for each gram of KOH",
        1 / koh_per_gram(CITRIC_ANHYDROUS),
        mass("C6H8O7") / 3 / KOH,
    ),
    (
        "citric acid, monohydrate, for each gram of KOH",
        1 / koh_per_gram(CITRIC_MONOHYDRATE),
        mass("C6H10O8") / 3 / KOH,
    ),
]


def factor_check(what: str, ours: Decimal, published: float) -> Check:
    return Check(
        what=f"{what}, g",
        clause="mole balance",
        flag=Flag.LIBRARY,
        ours=lambda: ours,
        published=published,
        relative=1e-6,
    )


CHECKS = [
    *(
        check
        for name, (fat, soap) in FATS.items()
        for check in checks_of(name, fat, soap)
    ),
    *(factor_check(*row) for row in FACTORS),
    Check(
        what="fatty matter of the soap of a kilogram of triolein is its oleic acid, g",
        clause="mole balance",
        flag=Flag.LIBRARY,
        ours=lambda: made("C57H104O6").fatty_matter,
        published=3000 * mass("C18H34O2") / mass("C57H104O6"),
        relative=1e-6,
    ),
    Check(
        what="water from a kilogram of oleic acid, all of it free, g",
        clause="mole balance",
        flag=Flag.LIBRARY,
        ours=lambda: _of_oleic_acid().water,
        published=1000 * WATER / mass("C18H34O2"),
        relative=1e-6,
    ),
    Check(
        what="potassium oleate from a kilogram of oleic acid, g",
        clause="mole balance",
        flag=Flag.LIBRARY,
        ours=lambda: _of_oleic_acid().soap,
        published=1000 * mass("C18H33O2K") / mass("C18H34O2"),
        relative=1e-6,
    ),
]


def _of_oleic_acid() -> Pot:
    value = Decimal(1000 * KOH / mass("C18H34O2"))
    pot = oil_charge(Decimal(1000), value, acid_value=value)
    return react(pot + Pot(koh=value))


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
