"""A value with what is known about it."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.estimates import (
    NORMAL,
    RECTANGULAR,
    Estimate,
    combined,
    rectangular,
    rectangular_around,
    scaled,
)

pytestmark = pytest.mark.any_engine

VALUES = st.decimals(min_value=-1000, max_value=1000, places=3)
WIDTHS = st.decimals(min_value="0.001", max_value=1000, places=3)


def normal(value: int, uncertainty: int) -> Estimate:
    return Estimate(Decimal(value), Decimal(uncertainty), NORMAL)


@given(VALUES, WIDTHS)
def test_both_ways_to_say_a_rectangle_agree(value: Decimal, half: Decimal) -> None:
    by_ends = rectangular(value - half, value + half)
    around = rectangular_around(value, half)
    assert by_ends == around
    assert by_ends.value == value
    assert by_ends.standard_uncertainty * Decimal(3).sqrt() == pytest.approx(
        half, rel=Decimal("1e-20")
    )
    assert by_ends.distribution == RECTANGULAR


def test_an_interval_that_is_upside_down_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="Swap them"):
        rectangular(Decimal(2), Decimal(1))


def test_independent_parts_add_up_by_their_squares() -> None:
    both = combined([normal(1, 3), normal(2, 4)])
    assert both.value == 3
    assert both.standard_uncertainty == 5
    assert both.distribution == NORMAL


@pytest.mark.parametrize(
    ("rest", "shape"), [(0, RECTANGULAR), (1, RECTANGULAR), (2, NORMAL)]
)
def test_a_sum_looks_like_a_rectangle_while_one_makes_most_of_it(
    rest: int, shape: str
) -> None:
    # u² of the rectangle is 3, so with a rest of 1 it makes exactly three quarters
    most = rectangular_around(Decimal(0), Decimal(3))
    assert combined([most, normal(0, rest)]).distribution == shape


def test_the_words_of_the_parts_are_kept_and_silence_is_left_out() -> None:
    one = rectangular(Decimal(0), Decimal(1), "first")
    two = rectangular(Decimal(0), Decimal(1), "second")
    assert combined([one, normal(0, 1), two]).words == "first; second"


@given(VALUES, WIDTHS, VALUES)
def test_scaling_scales_both_and_keeps_the_shape(
    value: Decimal, half: Decimal, factor: Decimal
) -> None:
    estimate = Estimate(value, half, RECTANGULAR, "words")
    grown = scaled(estimate, factor)
    assert grown.value == value * factor
    assert grown.standard_uncertainty == half * abs(factor)
    assert (grown.distribution, grown.words) == (RECTANGULAR, "words")
