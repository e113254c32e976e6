"""Three worked errors from a training page of the OIML's working group in Peru.

Seen at workgroups.oiml.org: 350 ml, 250 g and 1000 g with their tolerable deficiency.
"""

from __future__ import annotations

import functools
from decimal import Decimal

import pytest

from batches.chemistry.net_content import tolerable_negative_error
from tests.reference.outside import Check, Flag

SOURCE = "OIML R 87, as worked on its page for Peru"

CHECKS = [
    Check(
        what=f"tolerable deficiency of {nominal}",
        clause="R 87, Table 1",
        flag=Flag.SEEN,
        ours=functools.partial(tolerable_negative_error, Decimal(nominal)),
        published=Decimal(error),
    )
    for nominal, error in (("350", "10.5"), ("250", "9"), ("1000", "15"))
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
