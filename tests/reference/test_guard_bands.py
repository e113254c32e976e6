"""Guard bands and the worst risk behind them, as ILAC-G8:09/2019 tabulates them.

Flag: second hand, in a page of a calibration laboratory (Harper Metrology, October
2024) that lists the bands with their risk: 0.83·U of ISO 14253-1:2017, U of ILAC-G8,
1.5·U and 3·U. U is 2u. The risks are printed as bounds (“< 2.5 %”); a bound is tested
from both sides, so that a band half as wide fails. Those risks are of one limit; that
of two close together is held against the coverage of k = 2, read in NIST TN 1297.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from quality.statistics.conformity import RULES
from quality.statistics.risks import guard_band_for, worst_false_accept
from tests.reference.outside import Check, Flag

SOURCE = "ILAC-G8:09/2019"
U = 2.0  # of u = 1

BOUNDS = [("0.83·U", 0.83, 0.05), ("U", 1.0, 0.025), ("1.5·U", 1.5, 0.0016)]
BOUNDS.append(("3·U", 3.0, 1e-6))

CHECKS = [
    Check(
        what=f"guard band of {name}: risk below {bound:g}, and not much below",
        clause="table of guard bands",
        flag=Flag.SECOND_HAND,
        ours=lambda part=part, bound=bound: (  # type: ignore[misc]
            worst_false_accept(part * U, 1) < bound
            and worst_false_accept(part * U / 2, 1) > bound
        ),
        published=True,
    )
    for name, part, bound in BOUNDS
]
CHECKS += [
    Check(
        what=f"the rule {slug} has the band that is tabulated with {bound:.1%}",
        clause="table of guard bands",
        flag=Flag.SECOND_HAND,
        ours=lambda slug=slug: RULES[slug].guard_band(Decimal(1)),  # type: ignore[misc]
        published=Decimal(str(part)),
    )
    for slug, (_, part, bound) in zip(
        ("guard_083u_1", "guard_u_1"), BOUNDS, strict=False
    )
]
CHECKS.append(
    Check(
        what="guard band of U, two limits 2·U apart: what lies beyond k = 2",
        clause="NIST TN 1297:1994, table B.1: 95.45 % inside k = 2.000",
        flag=Flag.SEEN,
        ours=lambda: worst_false_accept(U, 1, window=2 * U),
        published=1 - 0.9545,
        within=0.5e-4,
    )
)


@pytest.mark.any_engine
@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()


@pytest.mark.any_engine
@pytest.mark.parametrize(("_name", "part", "bound"), BOUNDS[:3])
def test_the_band_for_a_bound_is_no_wider_than_the_published_one(
    _name: str, part: float, bound: float
) -> None:
    assert part * U * 0.97 < float(guard_band_for(bound, 1)) < part * U
