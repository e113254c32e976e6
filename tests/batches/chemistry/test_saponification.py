"""The potash to weigh, and what is left over."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry.errors import ChemistryError, OutOfRangeError
from batches.chemistry.saponification import (
    Oil,
    alkali_need,
    check_saponification_value,
    excess_alkali,
    midpoint,
    potash_to_weigh,
)

VALUES = st.decimals(min_value=160, max_value=280, places=1)
MASSES = st.integers(0, 10**8).map(lambda mg: Decimal(mg) / 1000)
OILS = st.lists(st.builds(Oil, MASSES, VALUES), min_size=1, max_size=6)
FRACTIONS = st.decimals(min_value="0.4", max_value=1, places=4)


def test_the_need_of_one_oil_is_mass_times_value() -> None:
    assert alkali_need([Oil(Decimal(500), Decimal(190))]) == 95


def test_no_oil_needs_no_alkali() -> None:
    assert alkali_need([]) == 0


@given(OILS)
def test_the_need_of_a_mixture_is_the_sum_of_its_oils_in_any_order(
    oils: list[Oil],
) -> None:
    assert alkali_need(oils) == sum((alkali_need([oil]) for oil in oils), Decimal(0))
    assert alkali_need(oils) == alkali_need(reversed(oils))


@given(OILS, st.integers(1, 100))
def test_the_need_scales_with_the_pot(oils: list[Oil], times: int) -> None:
    larger = [Oil(oil.mass_g * times, oil.saponification_value) for oil in oils]
    assert alkali_need(larger) == alkali_need(oils) * times


@given(OILS, VALUES)
def test_more_oil_needs_more_alkali(oils: list[Oil], value: Decimal) -> None:
    assert alkali_need([*oils, Oil(Decimal("0.001"), value)]) > alkali_need(oils)


@given(OILS, FRACTIONS)
def test_what_is_weighed_by_the_need_leaves_nothing_over(
    oils: list[Oil], fraction: Decimal
) -> None:
    potash = potash_to_weigh(alkali_need(oils), fraction)
    assert abs(excess_alkali(potash, fraction, oils)) < Decimal("1e-18")


@given(OILS, FRACTIONS, st.integers(-5000, 5000))
def test_potash_more_or_less_is_found_again_as_excess(
    oils: list[Oil], fraction: Decimal, extra_mg: int
) -> None:
    extra = Decimal(extra_mg) / 1000
    potash = potash_to_weigh(alkali_need(oils), fraction) + extra
    found = excess_alkali(potash, fraction, oils)
    assert abs(found - extra * fraction) < Decimal("1e-18")


@given(st.integers(1, 10**6), FRACTIONS, FRACTIONS)
def test_purer_potash_is_weighed_less(need: int, one: Decimal, other: Decimal) -> None:
    poorer, purer = sorted([one, other])
    assert potash_to_weigh(Decimal(need), purer) <= potash_to_weigh(
        Decimal(need), poorer
    )


def test_a_lye_discount_leaves_its_share_of_the_need_out() -> None:
    assert potash_to_weigh(Decimal(200), Decimal(1), Decimal("0.03")) == 194
    assert potash_to_weigh(Decimal(180), Decimal("0.9")) == 200


@pytest.mark.parametrize("value", ["159.9", "280.1", "0.19", "1905", "-190"])
def test_a_value_no_oil_has_is_refused(value: str) -> None:
    with pytest.raises(OutOfRangeError, match=r"outside 160 to 280\. Check the unit"):
        check_saponification_value(Decimal(value))
    with pytest.raises(OutOfRangeError):
        Oil(Decimal(1), Decimal(value))


@pytest.mark.parametrize("value", ["160", "280"])
def test_the_ends_of_the_guarded_range_are_inside(value: str) -> None:
    assert check_saponification_value(Decimal(value)) == Decimal(value)


def test_a_value_outside_is_told_in_round_figures() -> None:
    value = Decimal("57.57530786026200873362445415")
    with pytest.raises(OutOfRangeError, match=r"value of 57\.58 mg KOH per gram"):
        check_saponification_value(value)


def test_a_table_for_sodium_hydroxide_is_noticed() -> None:
    olive_on_sodium_basis = Decimal(190) * Decimal("39.997") / Decimal("56.105")
    with pytest.raises(OutOfRangeError, match="not for sodium hydroxide"):
        check_saponification_value(olive_on_sodium_basis)


def test_a_mass_below_zero_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="Weigh again"):
        Oil(Decimal("-0.001"), Decimal(190))


@pytest.mark.parametrize("fraction", ["0", "-0.9", "1.0001", "90"])
def test_a_purity_that_is_no_share_is_refused(fraction: str) -> None:
    with pytest.raises(OutOfRangeError, match=f"usable share of {fraction} is not"):
        potash_to_weigh(Decimal(100), Decimal(fraction))


@pytest.mark.parametrize("discount", ["-0.01", "1", "3"])
def test_a_lye_discount_that_is_no_share_is_refused(discount: str) -> None:
    with pytest.raises(OutOfRangeError, match=f"lye discount of {discount} is not"):
        potash_to_weigh(Decimal(100), Decimal("0.9"), Decimal(discount))


def test_a_need_below_zero_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="need of KOH cannot be below zero"):
        potash_to_weigh(Decimal(-1), Decimal("0.9"))


@given(VALUES, VALUES)
def test_a_midpoint_is_as_far_from_both_ends(one: Decimal, other: Decimal) -> None:
    low, high = sorted([one, other])
    middle = midpoint(low, high)
    assert middle - low == high - middle


def test_a_range_upside_down_or_out_of_bounds_is_refused() -> None:
    with pytest.raises(ChemistryError, match="above the upper end"):
        midpoint(Decimal(195), Decimal(189))
    with pytest.raises(OutOfRangeError):
        midpoint(Decimal(130), Decimal(190))
    with pytest.raises(OutOfRangeError):
        midpoint(Decimal(190), Decimal(300))
