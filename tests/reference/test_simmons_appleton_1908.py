"""Simmons and Appleton, The Handbook of Soap Manufacture, London 1908.

Read in the transcription of Project Gutenberg, no. 21724. Its atomic weights are those
of 1908, so its factors differ from ours in the fourth digit.

Its “practicable results” of glycerine are a check from one side only: no theory may
stand below what was really got. Left out: palm-kernel oil, “18 per cent.” of 80 %
glycerine, which is 14.4 % and more than any triglyceride of its saponification value
holds, so probably a misprint; tallow and bone fat, for which no range of ours was seen.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from batches.chemistry.constants import MOLAR_MASS_KOH
from batches.chemistry.outcome import GLYCEROL_PER_KOH, Pot, oil_charge, react
from tests.reference.outside import Check, Flag

pytestmark = pytest.mark.any_engine

SOURCE = "Simmons and Appleton, The Handbook of Soap Manufacture, 1908"

FOR_A_CUBIC_CENTIMETRE = GLYCEROL_PER_KOH * MOLAR_MASS_KOH.value / 1000


def glycerol_percent(value: int) -> Decimal:
    """Return the glycerol of an oil of this saponification value, all of it neutral."""
    pot = oil_charge(Decimal(100), Decimal(value)) + Pot(koh=Decimal(100))
    return react(pot).glycerol


def of_the_example() -> Pot:
    """Return a kilogram of the fat of its example, as we weigh it in."""
    return oil_charge(Decimal(1000), Decimal("196.6"), acid_value=Decimal("15.3"))


# Parts of 80 % glycerine from 100 of oil, and the lowest saponification value of the
# oil (Codex CXS 210 and CXS 33, read in transcriptions).
PRACTICABLE = {
    "cotton-seed oil": (10, 189),
    "cocoa-nut oil": (12, 248),
    "olive oil": (10, 184),
    "palm oil": (6, 190),
}


def practicable(name: str, parts: int, value: int) -> Check:
    return Check(
        what=f"{name}: theory is not below the practicable yield of glycerine",
        clause="chapter VIII, Yield of Glycerine from Fats and Oils",
        flag=Flag.SEEN,
        ours=lambda: glycerol_percent(value) >= parts * Decimal("0.8"),
        published=True,
    )


CHECKS = [
    Check(
        what="glycerol for 1 c.c. of N/1 alkali that its ester takes, g",
        clause="chapter IX, Acetin Method",
        flag=Flag.SEEN,
        ours=lambda: FOR_A_CUBIC_CENTIMETRE,
        published=0.03067,
        within=0.00004,
    ),
    Check(
        what="example: 35.75 c.c. for 1.4367 g of crude glycerine, per cent. glycerol",
        clause="chapter IX, Acetin Method",
        flag=Flag.SEEN,
        ours=lambda: (
            Decimal("35.75") * FOR_A_CUBIC_CENTIMETRE * 100 / Decimal("1.4367")
        ),
        published=76.3,
        within=0.1,
    ),
    Check(
        what="example: ester value, saponification value 196.6 and acid value 15.3",
        clause="chapter IX, Oils and Fats",
        flag=Flag.SEEN,
        ours=lambda: of_the_example().need - of_the_example().acid_need,
        published=181.3,
        within=1e-9,
    ),
    *(practicable(name, *facts) for name, facts in PRACTICABLE.items()),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
