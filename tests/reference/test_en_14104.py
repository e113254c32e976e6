"""EN 14104:2003, acid value, clause 10; and free fatty acid after SEAFDEC.

Flags: EN 14104 read in a copy, dgaequipment.com/en-14104-…-7951.html: (56.1 × V × c)/m,
and V' = Vt × [1 − 0.0011 × (t − t0)] for an ethanolic solution. Free fatty acid as
oleic acid, AV·(282.27/56.11)/10: Low and Ng, SEAFDEC manual, after Pearson 1976, read
at scribd.com/document/617323158.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from batches.chemistry.titration import (
    acid_value,
    free_fatty_acid_percent,
    volume_at_standard_temperature,
)
from tests.reference.outside import Check, Flag

SOURCE = "EN 14104:2003; SEAFDEC laboratory manual"

CHECKS = [
    Check(
        what="mg of KOH for each ml of 1 mol/l and gram",
        clause="EN 14104, 10",
        flag=Flag.SECOND_HAND,
        ours=lambda: acid_value(
            mass_g=Decimal(1), volume_ml=Decimal(1), concentration=Decimal(1)
        ),
        published=56.1,
        within=0.05,
    ),
    Check(
        what="share of its volume that the titrant grows in one degree",
        clause="EN 14104, 10, note",
        flag=Flag.SECOND_HAND,
        ours=lambda: (
            1
            - volume_at_standard_temperature(
                Decimal(1),
                temperature=Decimal(21),
                standard_temperature=Decimal(20),
            )
        ),
        published=0.0011,
        within=1e-12,
    ),
    Check(
        what="percent of oleic acid for an acid value of 1",
        clause="SEAFDEC, free fatty acids",
        flag=Flag.SEEN,
        ours=lambda: free_fatty_acid_percent(Decimal(1), Decimal("282.27")),
        published=282.27 / 56.11 / 10,
        relative=1e-4,
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
