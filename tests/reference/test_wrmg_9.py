"""Soft, medium and hard water in German law.

Wasch- und Reinigungsmittelgesetz (WRMG) § 9 (2), read at
gesetze-im-internet.de/wrmg/__9.html; the German degrees beside them at
wasser-twm.de/wasserhaerte, a waterworks that quotes the paragraph.
"""

from __future__ import annotations

import functools
from decimal import Decimal

import pytest

from batches.chemistry.hardness import HardnessUnit, from_mmol, hardness_range
from tests.reference.outside import Check, Flag

SOURCE = "WRMG § 9"

RANGES = [
    ("1.49", "soft"),  # weich: weniger als 1,5
    ("1.5", "medium"),  # mittel: 1,5 bis 2,5
    ("2.5", "medium"),
    ("2.51", "hard"),  # hart: mehr als 2,5
]

CHECKS = [
    *(
        Check(
            what=f"{mmol} mmol/l",
            clause="§ 9 (2)",
            flag=Flag.SEEN,
            ours=functools.partial(hardness_range, Decimal(mmol)),
            published=word,
        )
        for mmol, word in RANGES
    ),
    *(
        Check(
            what=f"{mmol} mmol/l in °dH",
            clause="waterworks quoting § 9",
            flag=Flag.SECOND_HAND,
            ours=functools.partial(from_mmol, Decimal(mmol), HardnessUnit.GERMAN),
            published=Decimal(german),
            within=0.05,
        )
        for mmol, german in (("1.5", "8.4"), ("2.5", "14.0"))
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
