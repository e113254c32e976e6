"""Molar masses by registry number, from the tables of the `chemicals` library.

Looked up by CAS number, not added up from a formula: so it would also show a formula
of ours that is wrong. Its atomic weights are older and differ by up to 30 parts in a
million.
"""

from __future__ import annotations

import chemicals
import pytest

from batches.chemistry.acids import (
    CITRIC_ANHYDROUS,
    CITRIC_MONOHYDRATE,
    koh_per_gram,
)
from batches.chemistry.outcome import (
    GLYCEROL_PER_KOH,
    MOLAR_MASS_GLYCEROL,
    MOLAR_MASS_WATER,
)
from tests.reference.outside import Check, Flag

pytestmark = pytest.mark.any_engine

SOURCE = "chemicals 1.5, molar masses by CAS number"


def registered(number: str) -> float:
    return float(chemicals.MW(number))


KOH = registered("1310-58-3")

ROWS = [
    ("glycerol, g/mol", MOLAR_MASS_GLYCEROL, registered("56-81-5")),
    ("water, g/mol", MOLAR_MASS_WATER, registered("7732-18-5")),
    ("glycerol per KOH, g/g", GLYCEROL_PER_KOH, registered("56-81-5") / 3 / KOH),
    (
        "citric acid per KOH, g/g",
        1 / koh_per_gram(CITRIC_ANHYDROUS),
        registered("77-92-9") / 3 / KOH,
    ),
    (
        "citric acid monohydrate per KOH, g/g",
        1 / koh_per_gram(CITRIC_MONOHYDRATE),
        registered("5949-29-1") / 3 / KOH,
    ),
]

CHECKS = [
    Check(
        what=what,
        clause="registry",
        flag=Flag.SEEN,
        ours=lambda ours=ours: ours,  # type: ignore[misc]
        published=published,
        relative=5e-5,
    )
    for what, ours, published in ROWS
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
