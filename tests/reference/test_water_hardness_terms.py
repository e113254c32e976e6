"""Hardness in the words of fish keepers and farmers: German degree, milliequivalent.

Read at second hand: the FAO's glossary of small aquaponics, as aquaponics.ai quotes it,
and a thread of plantedtank.net (9655) that works the German degree out from CaO.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from batches.chemistry.hardness import HardnessUnit, convert, to_mmol
from tests.reference.outside import Check, Flag

SOURCE = "FAO glossary (aquaponics.ai); plantedtank.net thread 9655"

CHECKS = [
    Check(
        what="50 mg/l CaCO3 in °dH",
        clause="glossary, alkalinity",
        flag=Flag.SECOND_HAND,
        # The old 56 and 100 g/mol stand behind 2.805.
        ours=lambda: convert(Decimal(50), HardnessUnit.CARBONATE, HardnessUnit.GERMAN),
        published=Decimal("2.805"),
        within=0.005,
    ),
    Check(
        what="1 °dH in mg/l CaCO3",
        clause="thread 9655",
        flag=Flag.SECOND_HAND,
        ours=lambda: convert(Decimal(1), HardnessUnit.GERMAN, HardnessUnit.CARBONATE),
        published=Decimal("17.848"),
        within=0.0005,
    ),
    Check(
        what="1 °dH as mg/l of calcium",
        clause="thread 9655",
        flag=Flag.SECOND_HAND,
        ours=lambda: to_mmol(Decimal(1), HardnessUnit.GERMAN) * Decimal("40.078"),
        published=Decimal("7.147"),
        within=0.0005,
    ),
    Check(
        what="1 °dH as mg/l of magnesium",
        clause="thread 9655",
        flag=Flag.SECOND_HAND,
        ours=lambda: to_mmol(Decimal(1), HardnessUnit.GERMAN) * Decimal("24.305"),
        published=Decimal("4.335"),
        within=0.001,
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
