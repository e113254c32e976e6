"""A result that stands out is flagged."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.outliers import critical_value, grubbs, standing_out

pytestmark = pytest.mark.any_engine

ALIKE = [190.0, 190.1, 190.0, 190.1]


def test_one_far_from_the_rest_stands_out_on_either_side() -> None:
    assert standing_out([*ALIKE, 195.0]) == 4
    assert standing_out([185.0, *ALIKE]) == 0


def test_ordinary_scatter_does_not() -> None:
    assert standing_out([190.0, 190.4, 189.7, 190.1]) is None


def test_equal_results_do_not() -> None:
    assert standing_out([190.1] * 4) is None
    assert grubbs([190.1] * 4)[0] == 0


@pytest.mark.parametrize("values", [[], [1.0], [1.0, 9.0]])
def test_with_fewer_than_three_nothing_is_said(values: list[float]) -> None:
    assert standing_out(values) is None


def test_a_stricter_level_needs_a_larger_distance() -> None:
    assert critical_value(5, significance=0.01) > critical_value(5)


@pytest.mark.parametrize("level", [0, 1, -0.5])
def test_a_level_that_is_no_probability_is_refused(level: float) -> None:
    with pytest.raises(OutOfRangeError, match="between 0 and 1"):
        critical_value(5, significance=level)


def test_no_critical_value_without_three_results() -> None:
    with pytest.raises(OutOfRangeError, match="fewer than three"):
        critical_value(2)


@given(
    st.lists(st.integers(0, 100), min_size=3, max_size=8),
    st.integers(-50, 50),
    st.sampled_from([0.25, 2.0, 8.0]),
)
def test_shift_and_unit_do_not_matter(
    values: list[int], shift: int, unit: float
) -> None:
    moved = [(value + shift) * unit for value in values]
    largest, _ = grubbs([float(value) for value in values])
    assert grubbs(moved)[0] == pytest.approx(largest)


@given(st.lists(st.floats(0, 100), min_size=3, max_size=8))
def test_the_statistic_never_exceeds_its_bound(values: list[float]) -> None:
    count = len(values)
    assert grubbs(values)[0] <= (count - 1) / count**0.5 + 1e-6
