"""Standard uncertainties and how they combine."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quality.statistics.uncertainty import (
    combine,
    expanded,
    from_half_width_rectangular,
    from_resolution,
)

WIDTHS = st.decimals(min_value=0, max_value=1000, places=3)
NEAR = Decimal("1e-20")


@given(WIDTHS)
def test_a_step_is_a_rectangle_of_half_its_width(step: Decimal) -> None:
    difference = from_resolution(step) - from_half_width_rectangular(step / 2)
    assert abs(difference) < NEAR


@given(st.lists(WIDTHS, max_size=6), WIDTHS)
def test_combining_is_between_the_largest_and_the_sum_in_any_order(
    parts: list[Decimal], more: Decimal
) -> None:
    everything = [*parts, more]
    total = combine(*everything)
    assert max(everything) - NEAR <= total <= sum(everything) + NEAR
    assert abs(total - combine(*reversed(everything))) < NEAR


@given(WIDTHS, WIDTHS, st.integers(1, 1000))
def test_uncertainties_scale_with_the_unit(
    one: Decimal, other: Decimal, times: int
) -> None:
    assert combine(one * times, other * times) == pytest.approx(
        combine(one, other) * times, rel=Decimal("1e-20")
    )


def test_nothing_combined_is_no_uncertainty() -> None:
    assert combine() == 0


def test_expanded_is_twice_unless_said_otherwise() -> None:
    assert expanded(Decimal("0.25")) == Decimal("0.5")
    assert expanded(Decimal("0.25"), Decimal(3)) == Decimal("0.75")


def test_widths_below_zero_are_refused() -> None:
    below = Decimal("-0.1")
    for function in (from_resolution, from_half_width_rectangular, combine, expanded):
        with pytest.raises(ValueError, match="not below zero"):
            function(below)


@pytest.mark.parametrize("factor", [0, -2])
def test_a_coverage_factor_is_above_zero(factor: int) -> None:
    with pytest.raises(ValueError, match="coverage factor"):
        expanded(Decimal(1), Decimal(factor))


def test_a_coverage_factor_below_one_is_allowed() -> None:
    assert expanded(Decimal(2), Decimal("0.5")) == 1
