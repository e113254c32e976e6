"""Net contents in German law: Fertigpackungsverordnung 2020, § 9.

Read at lxgesetze.de/fpackv/9, whole table to 10 l; the same at lexcada.com. Values of
subsection 4 (none below) are printed as their own percentages.
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

SOURCE = "FPackV § 9"


def second_error(nominal: str) -> Decimal:
    limits = fill_limits(Decimal(nominal))
    return limits.nominal - limits.second


CHECKS = [
    Check(
        what="4.5 % of 125 ml, 5.625, is rounded up to a tenth",
        clause="§ 9 (3), rounding",
        flag=Flag.SEEN,
        ours=lambda: tolerable_negative_error(Decimal(125)),
        published=Decimal("5.7"),
    ),
    Check(
        what="1.5 % of 1250 ml, 18.75, is rounded up to a tenth",
        clause="§ 9 (3), rounding",
        flag=Flag.SEEN,
        ours=lambda: tolerable_negative_error(Decimal(1250)),
        published=Decimal("18.8"),
    ),
    Check(
        what="1.5 % of 5 l",
        clause="§ 9 (3)",
        flag=Flag.SEEN,
        ours=lambda: tolerable_negative_error(Decimal(5000)),
        published=75,
    ),
    Check(
        what="at most two of a hundred below the error",
        clause="§ 9 (3)",
        flag=Flag.SEEN,
        ours=lambda: sampling_plan(300, 300).allowed,
        published=6,
    ),
    *(
        Check(
            what=f"no bottle of {nominal} ml short by more than",
            clause="§ 9 (4)",
            flag=Flag.SEEN,
            ours=functools.partial(second_error, nominal),
            published=Decimal(error),
        )
        for nominal, error in (
            ("50", "9"),  # 18 %
            ("75", "9"),
            ("200", "18"),  # 9 %
            ("250", "18"),
            ("400", "24"),  # 6 %
            ("750", "30"),
            ("2000", "60"),  # 3 %
        )
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
