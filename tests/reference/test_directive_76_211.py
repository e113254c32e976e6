"""Net contents of prepackages: Council Directive 76/211/EEC.

Read at legislation.gov.uk/eudr/1976/211: Annex I 2.4 as its table (to 1 l), Annex II
2.1.3, 2.2.1, 2.2.2 and 2.3. The formulae of 2.3.3 are pictures there: their numbers
are those of the British regulations that copy them (test_uksi_2006_659.py).
"""

from __future__ import annotations

import functools
from decimal import Decimal

import pytest

from batches.chemistry.net_content import (
    fill_limits,
    sampling_plan,
    tolerable_negative_error,
)
from tests.reference.outside import Check, Flag

SOURCE = "Council Directive 76/211/EEC"

# Nominal quantity and error: fixed ones as printed, percentages where they are exact.
ERRORS = [
    ("5", "0.5"),  # 9 % is 0.45, rounded up
    ("40", "3.6"),  # 9 %
    ("75", "4.5"),
    ("160", "7.2"),  # 4.5 %
    ("250", "9"),
    ("400", "12"),  # 3 %
    ("750", "15"),
]

# lot, weighed, units aggregate, accepted with
PLANS = [
    (100, 30, 30, 1),
    (500, 60, 60, 4),
    (501, 50, 50, 2),
    (3200, 100, 100, 6),
    (3201, 80, 80, 3),
    (3201, 160, 160, 8),
]


def accepted(lot: int, weighed: int) -> int:
    return sampling_plan(lot, weighed).allowed


def in_the_sample(lot: int, weighed: int) -> int:
    return sampling_plan(lot, weighed).sample


CHECKS = [
    *(
        Check(
            what=f"tolerable negative error of {nominal} ml",
            clause="Annex I 2.4",
            flag=Flag.SEEN,
            ours=functools.partial(tolerable_negative_error, Decimal(nominal)),
            published=Decimal(error),
        )
        for nominal, error in ERRORS
    ),
    *(
        Check(
            what=f"defective units accepted, {weighed} of {lot} weighed",
            clause="Annex II 2.2.1",
            flag=Flag.SEEN,
            ours=functools.partial(accepted, lot, weighed),
            published=allowed,
        )
        for lot, weighed, _, allowed in PLANS
    ),
    *(
        Check(
            what=f"units in the sample, {weighed} of {lot} weighed",
            clause="Annex II 2.2.1",
            flag=Flag.SEEN,
            ours=functools.partial(in_the_sample, lot, weighed),
            published=sample,
        )
        for lot, weighed, sample, _ in PLANS
    ),
    Check(
        what="defective units accepted of 20 opened ones",
        clause="Annex II 2.2.2",
        flag=Flag.SEEN,
        ours=lambda: sampling_plan(100, 20, destructive=True).allowed,
        published=1,
    ),
    Check(
        what="lowest content of a bottle of 500 ml, twice the error below",
        clause="Annex I 5",
        flag=Flag.SECOND_HAND,
        ours=lambda: fill_limits(Decimal(500)).second,
        published=470,
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
