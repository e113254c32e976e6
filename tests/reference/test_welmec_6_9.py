"""How wrong the measurement itself may be: WELMEC guide 6.9, issue 1 (2009).

Its summary, read at welmec.org/documents/guides/69: the error made in measuring the
actual contents shall not exceed one-fifth of the tolerable negative error.
"""

from __future__ import annotations

import functools
from decimal import Decimal

import pytest

from batches.chemistry.net_content import fill_limits, scale_is_fit
from tests.reference.outside import Check, Flag

SOURCE = "WELMEC 6.9"


def error_of_measurement(nominal: str) -> Decimal:
    return fill_limits(Decimal(nominal)).measuring_error


CHECKS = [
    Check(
        what=f"largest error of measurement for {nominal} ml",
        clause="summary",
        flag=Flag.SEEN,
        ours=functools.partial(error_of_measurement, nominal),
        published=Decimal(error),
    )
    for nominal, error in (("500", "3"), ("250", "1.8"))
] + [
    Check(
        what="± 0.8 g at a density of 1 serves bottles of 100 ml",
        clause="summary",
        flag=Flag.SEEN,
        ours=lambda: scale_is_fit(Decimal(100), Decimal(1), Decimal("0.8")),
        published=True,  # a fifth of 4.5
    ),
    Check(
        what="± 1 g does not",
        clause="summary",
        flag=Flag.SEEN,
        ours=lambda: scale_is_fit(Decimal(100), Decimal(1), Decimal(1)),
        published=False,
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
