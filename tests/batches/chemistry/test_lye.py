"""The strength of the lye."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.lye import lye_strength

GRAMS = st.integers(1, 10**6).map(lambda mg: Decimal(mg) / 1000)


@given(GRAMS, GRAMS)
def test_the_potassium_hydroxide_is_all_still_there(
    potash: Decimal, water: Decimal
) -> None:
    strength = lye_strength(
        potash_g=potash, usable_fraction=Decimal("0.9"), water_g=water
    )
    found = strength * (potash + water)
    assert abs(found - potash * Decimal("0.9")) < Decimal("1e-20")


def test_undiluted_potash_is_as_strong_as_itself() -> None:
    assert lye_strength(
        potash_g=Decimal(7), usable_fraction=Decimal("0.9"), water_g=Decimal(0)
    ) == Decimal("0.9")


@pytest.mark.parametrize(("potash", "water"), [(-1, 5), (5, -1), (0, 0)])
def test_there_is_no_lye_without_potash_and_water(potash: int, water: int) -> None:
    with pytest.raises(OutOfRangeError, match="Weigh potash and water"):
        lye_strength(
            potash_g=Decimal(potash), usable_fraction=Decimal(1), water_g=Decimal(water)
        )


@pytest.mark.parametrize("fraction", ["0", "1.1"])
def test_a_purity_that_is_no_share_is_refused(fraction: str) -> None:
    with pytest.raises(OutOfRangeError, match="Check the purity"):
        lye_strength(
            potash_g=Decimal(9), usable_fraction=Decimal(fraction), water_g=Decimal(45)
        )


def test_water_alone_is_lye_of_no_strength_and_pure_potash_is_possible() -> None:
    assert (
        lye_strength(
            potash_g=Decimal(0), usable_fraction=Decimal(1), water_g=Decimal("0.5")
        )
        == 0
    )
