"""Risks of too much alkali and of too much oil, beside a printed table of Φ(z).

Flag: read at math.com/tables/stat/distributions/z-dist.htm, “Standard Normal
Probabilities”, area below z. Each row puts the limit z uncertainties away from E.
"""

from __future__ import annotations

import functools

import pytest

from batches.chemistry.excess import Charge, Limits, probability_above, risks_of
from tests.reference.outside import Check, Flag

SOURCE = "Standard normal table, math.com"

# z in units of u, and the printed Φ(z).
TABLE = {-3.5: 0.00023, -3.0: 0.00135, -2.7: 0.00347, -2.5: 0.00621, -2.4: 0.0082}
LIMITS = Limits(free_alkali_percent=0.25, unsaponified_percent=1.0)
PASTE_G = 1600.0  # 4 g of KOH may be left over; oil of 16 g, by 187.5 3 g, lacking
SV = 187.5


def over(z: float) -> float:
    """Return P(over) of an E that lies −z uncertainties of 1 g below 4 g."""
    return risks_of(
        excess_g=4.0 + z,
        uncertainty_g=1.0,
        paste_g=PASTE_G,
        mean_saponification_value=SV,
        limits=LIMITS,
    ).over


def under(z: float) -> float:
    """Return P(under) of an E that lies −z uncertainties of 2 g above −3 g."""
    return risks_of(
        excess_g=-3.0 - 2 * z,
        uncertainty_g=2.0,
        paste_g=PASTE_G,
        mean_saponification_value=SV,
        limits=LIMITS,
    ).under


def aimed_at(printed: float) -> float:
    """Return how many u the limit is away from E at the discount for this risk."""
    charge = Charge(
        brought_g=200.0,
        taken_g=195.0,
        share_uncertainty_g=0.0,
        other_uncertainty_g=2.0,
        potash_g=222.0,
        other_mass_g=1378.0,
        mean_saponification_value=SV,
    )
    discount = charge.discount_for(printed, LIMITS)
    allowed = LIMITS.free_alkali_g(charge.paste_g(discount))
    return (charge.excess_g(discount) - allowed) / 2.0


CHECKS = [
    *[
        Check(
            what=f"chance of too much alkali with the limit {-z:g} u above E",
            clause=f"z = {z:g}",
            flag=Flag.SEEN,
            ours=functools.partial(over, z),
            published=printed,
            within=6e-6,
        )
        for z, printed in TABLE.items()
    ],
    *[
        Check(
            what=f"chance of unsaponified oil with the limit {-z:g} u below E",
            clause=f"z = {z:g}",
            flag=Flag.SEEN,
            ours=functools.partial(under, z),
            published=printed,
            within=6e-6,
        )
        for z, printed in TABLE.items()
    ],
    *[
        Check(
            what=f"u between E and the limit at the discount for {printed:g}",
            clause=f"z = {z:g}",
            flag=Flag.SEEN,
            ours=functools.partial(aimed_at, printed),
            published=z,
            within=0.01,
        )
        for z, printed in list(TABLE.items())[1:]
    ],
]


@pytest.mark.any_engine
@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()


@pytest.mark.any_engine
def test_the_table_is_read_at_the_right_end() -> None:
    assert probability_above(4.0, value=7.0, uncertainty=1.0) > 0.99
