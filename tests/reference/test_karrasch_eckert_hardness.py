"""Units of hardness in a table of conversion factors of a German water engineer.

Read at karrasch-eckert.de/wissen/umrechnung_en.html, “Conversion Factors for Units in
the Water Chemistry”. It rounds 100.09 mg to 100, so the French degree and ppm are
held to its three digits.
"""

from __future__ import annotations

import functools
from decimal import Decimal

import pytest

from batches.chemistry.hardness import HardnessUnit, convert
from tests.reference.outside import Check, Flag

SOURCE = "Karrasch & Eckert, conversion factors in water chemistry (2009)"

MMOL, GERMAN = HardnessUnit.MMOL, HardnessUnit.GERMAN
ENGLISH, FRENCH = HardnessUnit.ENGLISH, HardnessUnit.FRENCH
CARBONATE = HardnessUnit.CARBONATE

# one of … is … of …
FACTORS = [
    (MMOL, GERMAN, "5.6", 0.05),
    (MMOL, ENGLISH, "7.02", 0.005),
    (MMOL, FRENCH, "10", 0.05),
    (MMOL, CARBONATE, "100", 0.5),
    (GERMAN, MMOL, "0.1783", 0.00005),
    (GERMAN, ENGLISH, "1.253", 0.001),
    (GERMAN, FRENCH, "1.78", 0.005),
    (GERMAN, CARBONATE, "17.8", 0.05),
    (ENGLISH, MMOL, "0.142", 0.0005),
    (ENGLISH, GERMAN, "0.798", 0.001),
    (ENGLISH, FRENCH, "1.43", 0.005),
    (ENGLISH, CARBONATE, "14.3", 0.05),
    (FRENCH, MMOL, "0.1", 0.0005),
    (FRENCH, GERMAN, "0.560", 0.0005),
    (FRENCH, ENGLISH, "0.702", 0.0005),
]

CHECKS = [
    Check(
        what=f"1 {old} in {new}",
        clause="Hardness, Total Alkaline Earths",
        flag=Flag.SEEN,
        ours=functools.partial(convert, Decimal(1), old, new),
        published=Decimal(published),
        within=within,
    )
    for old, new, published, within in FACTORS
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
