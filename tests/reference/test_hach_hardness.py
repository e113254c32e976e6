"""Units of hardness in a table of a maker of water tests.

Read at support.hach.com, answer 1000710, “What are some common Hardness unit
conversions?”. Its 0.83 German degrees for one English degree is a slip, being the
factor to US grains beside it; its own row for German degrees says 1.25. Left out.
"""

from __future__ import annotations

import functools
from decimal import Decimal

import pytest

from batches.chemistry.hardness import HardnessUnit, convert
from tests.reference.outside import Check, Flag

SOURCE = "Hach, hardness unit conversions"

CARBONATE, GERMAN = HardnessUnit.CARBONATE, HardnessUnit.GERMAN
ENGLISH, FRENCH = HardnessUnit.ENGLISH, HardnessUnit.FRENCH
US_GRAINS = HardnessUnit.US_GRAINS

FACTORS = [
    (ENGLISH, CARBONATE, "14.3", 0.05),
    (ENGLISH, US_GRAINS, "0.83", 0.005),
    (US_GRAINS, CARBONATE, "17.1", 0.05),
    (US_GRAINS, ENGLISH, "1.2", 0.05),
    (US_GRAINS, GERMAN, "0.96", 0.005),
    (FRENCH, US_GRAINS, "0.58", 0.005),
    (GERMAN, CARBONATE, "17.9", 0.06),  # printed from 17.85
    (GERMAN, ENGLISH, "1.25", 0.005),
    (GERMAN, US_GRAINS, "1.04", 0.005),
    (GERMAN, FRENCH, "1.79", 0.006),
]

CHECKS = [
    Check(
        what=f"1 {old} in {new}",
        clause="answer 1000710",
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
