"""The reference test in British law: Weights and Measures (Packaged Goods) 2006.

S.I. 2006/659, Schedule 2, paragraphs 2.8 and 4, read at legislation.gov.uk; the
factors are t(0.995; n−1)/√n, which SciPy gives too. Errors and their rounding as
gov.uk/weights-measures-and-packaging-the-law/packaged-goods prints them.
"""

from __future__ import annotations

import functools
import math
from decimal import Decimal

import pytest
from scipy import stats

from batches.chemistry.net_content import (
    lot_check,
    sampling_plan,
    tolerable_negative_error,
)
from tests.reference.outside import Check, Flag

SOURCE = "S.I. 2006/659, Schedule 2"


def least_mean_of_two_hundred(spread: int) -> Decimal:
    """Return the lowest mean that 30 of 200 bottles pass with."""
    contents = [Decimal(500 - spread), Decimal(500 + spread)] * 15
    check = lot_check(Decimal(500), contents, lot_size=200)
    return (500 - check.least_mean_ml) / check.standard_deviation_ml


def factor_of(lot: int, n: int, *, destructive: bool) -> Decimal:
    return sampling_plan(lot, n, destructive=destructive).factor


def student(n: int) -> float:
    return float(stats.t.ppf(0.995, n - 1)) / math.sqrt(n)


FACTORS = [
    (100, 30, False, "0.503"),
    (500, 30, False, "0.503"),
    (501, 50, False, "0.379"),
    (100, 20, True, "0.640"),
]

CHECKS = [
    *(
        Check(
            what=f"the mean of {n} of {lot} may miss by so many s",
            clause="4.5, 4.6",
            flag=Flag.SEEN,
            ours=functools.partial(factor_of, lot, n, destructive=opened),
            published=Decimal(factor),
        )
        for lot, n, opened, factor in FACTORS
    ),
    *(
        Check(
            what=f"t(0.995) by the root of {n}, of SciPy",
            clause="4.2",
            flag=Flag.SEEN,
            ours=functools.partial(factor_of, lot, n, destructive=opened),
            published=student(n),
            within=0.0005,
        )
        for lot, n, opened, _ in FACTORS[1:]
    ),
    Check(
        what="the verdict uses that many s of the sample",
        clause="4.4, 4.5",
        flag=Flag.SEEN,
        ours=lambda: least_mean_of_two_hundred(7),
        published=Decimal("0.503"),
        within=1e-9,
    ),
    Check(
        what="below a hundred the mean must not miss at all",
        clause="4.7",
        flag=Flag.SEEN,
        ours=lambda: sampling_plan(99, 99).factor,
        published=0,
    ),
    *(
        Check(
            what=f"tolerable negative error of {nominal} ml",
            clause="gov.uk, packaged goods",
            flag=Flag.SEEN,
            ours=functools.partial(tolerable_negative_error, Decimal(nominal)),
            published=Decimal(error),
        )
        for nominal, error in (("60", "4.5"), ("220", "9"), ("900", "15"))
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
