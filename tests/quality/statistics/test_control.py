"""Charts of single values, against what must hold for every series."""

from __future__ import annotations

import doctest
import math
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from quality.statistics import control
from quality.statistics.control import (
    Standing,
    ewma_chart,
    individuals_chart,
    standing_of,
)
from quality.statistics.errors import (
    NoSpreadError,
    StatisticsError,
    TooFewValuesError,
)

pytestmark = pytest.mark.any_engine

VALUES = st.floats(min_value=-1000, max_value=1000).map(lambda v: round(v, 3))
SERIES = st.lists(VALUES, min_size=2, max_size=40).filter(lambda s: len(set(s)) > 1)


def test_the_worked_examples_hold() -> None:
    assert doctest.testmod(control).failed == 0


@given(SERIES, st.floats(0.01, 100), st.floats(-100, 100))
def test_another_unit_and_zero_move_the_limits_as_they_move_the_values(
    series: list[float], factor: float, shift: float
) -> None:
    chart = individuals_chart(series)
    moved = individuals_chart([factor * value + shift for value in series])
    for before, after in (
        (chart.centre, moved.centre),
        (chart.lower, moved.lower),
        (chart.upper, moved.upper),
    ):
        assert after == pytest.approx(factor * before + shift, rel=1e-6, abs=1e-6)
    assert moved.range_limit == pytest.approx(factor * chart.range_limit, rel=1e-6)


@given(SERIES)
def test_a_series_read_backwards_has_the_same_limits(series: list[float]) -> None:
    forwards, backwards = individuals_chart(series), individuals_chart(series[::-1])
    assert backwards.centre == pytest.approx(forwards.centre)
    assert backwards.upper == pytest.approx(forwards.upper)


@given(SERIES)
def test_the_limits_are_the_familiar_multiples_of_the_mean_range(
    series: list[float],
) -> None:
    chart = individuals_chart(series)
    assert chart.upper - chart.centre == pytest.approx(
        2.66 * chart.mean_range, rel=1e-3
    )
    assert chart.centre - chart.lower == pytest.approx(chart.upper - chart.centre)
    assert len(chart.moving_ranges) == len(series) - 1


@given(SERIES, st.lists(VALUES, max_size=10))
def test_later_points_leave_the_limits_of_the_baseline_alone(
    series: list[float], later: list[float]
) -> None:
    before = individuals_chart(series)
    after = individuals_chart([*series, *later], baseline=len(series))
    assert (after.lower, after.upper) == (before.lower, before.upper)
    assert len(after.values) == len(series) + len(later)


@given(SERIES, st.lists(st.tuples(st.integers(0, 40), VALUES), max_size=5))
def test_values_set_apart_stay_in_the_chart_and_leave_the_limits_alone(
    series: list[float], odd: list[tuple[int, float]]
) -> None:
    mixed = [(value, False) for value in series]
    for place, value in odd:
        mixed.insert(place, (value, True))
    apart = {place for place, (_, is_odd) in enumerate(mixed) if is_odd}
    chart = individuals_chart([value for value, _ in mixed], apart=apart)
    alone = individuals_chart(series)
    assert (chart.lower, chart.upper) == (alone.lower, alone.upper)
    assert chart.range_limit == alone.range_limit
    assert chart.baseline == len(series)
    assert len(chart.values) == len(mixed)


def test_too_many_values_set_apart_leave_nothing_to_draw_from() -> None:
    with pytest.raises(TooFewValuesError, match="set apart"):
        individuals_chart([1.0, 2.0, 3.0], apart={0, 2})


def test_a_step_that_is_too_wide_names_the_point_it_leads_to() -> None:
    chart = individuals_chart([1, 2, 1, 2, 1, 2, 9, 8], baseline=6)
    assert chart.wide_steps == (6,)


@pytest.mark.parametrize("values", [[], [3.0]])
def test_fewer_than_two_values_make_no_chart(values: list[float]) -> None:
    with pytest.raises(TooFewValuesError):
        individuals_chart(values)


@pytest.mark.parametrize("baseline", [0, 1, 4])
def test_a_baseline_has_at_least_two_values_and_no_more_than_there_are(
    baseline: int,
) -> None:
    with pytest.raises(TooFewValuesError):
        individuals_chart([1.0, 2.0, 3.0], baseline=baseline)


@pytest.mark.parametrize("odd", [math.nan, math.inf, -math.inf])
def test_what_is_not_a_number_is_named_by_its_place(odd: float) -> None:
    with pytest.raises(StatisticsError, match="Value 2"):
        individuals_chart([1.0, odd, 2.0])


def test_values_that_are_all_the_same_say_so() -> None:
    with pytest.raises(NoSpreadError, match="all the same"):
        individuals_chart([9.2] * 9)


@pytest.mark.parametrize(
    ("count", "standing"),
    [
        (2, Standing.TOO_FEW),
        (7, Standing.TOO_FEW),
        (8, Standing.PROVISIONAL),
        (19, Standing.PROVISIONAL),
        (20, Standing.FIRM),
    ],
)
def test_limits_become_provisional_then_firm(count: int, standing: Standing) -> None:
    assert standing_of(count) is standing
    assert individuals_chart([1.0, 2.0] * 10, baseline=count).standing is standing


WEIGHTS = st.floats(0.05, 1)


@given(SERIES, WEIGHTS)
def test_a_weighted_mean_stays_among_what_it_is_made_of(
    series: list[float], weight: float
) -> None:
    chart = ewma_chart(series, start=series[0], sigma=1, weight=weight)
    slack = 1e-9 * (1 + max(map(abs, series)))
    for mean in chart.smoothed:
        assert min(series) - slack <= mean <= max(series) + slack


@given(SERIES)
def test_with_all_the_weight_on_the_newest_value_the_mean_is_that_value(
    series: list[float],
) -> None:
    chart = ewma_chart(series, start=0, sigma=2, weight=1)
    assert chart.smoothed == pytest.approx(series)
    assert chart.upper == pytest.approx([6.0] * len(series))


@given(st.integers(1, 60), WEIGHTS)
def test_exact_limits_open_towards_the_asymptotic_ones(
    count: int, weight: float
) -> None:
    series = [0.0] * count
    exact = ewma_chart(series, start=0, sigma=1, weight=weight, exact=True)
    settled = ewma_chart(series, start=0, sigma=1, weight=weight)
    assert list(exact.upper) == sorted(exact.upper)
    assert exact.upper[0] == pytest.approx(3 * weight)
    assert all(a <= b + 1e-12 for a, b in zip(exact.upper, settled.upper, strict=True))


@given(WEIGHTS)
def test_a_lasting_shift_is_found_and_an_unmoved_series_is_not(weight: float) -> None:
    assert ewma_chart([0.0] * 30, start=0, sigma=1, weight=weight).beyond == ()
    shifted = ewma_chart([4.0] * 60, start=0, sigma=1, weight=weight)
    assert 59 in shifted.beyond


@pytest.mark.parametrize(
    "changes",
    [
        {"weight": 0},
        {"weight": 1.01},
        {"sigma": 0},
        {"sigma": -1},
        {"width": 0},
        {"start": math.nan},
        {"sigma": math.inf},
    ],
)
def test_settings_that_cannot_be_are_refused(changes: dict[str, float]) -> None:
    facts: dict[str, Any] = {"start": 0, "sigma": 1, **changes}
    with pytest.raises(StatisticsError):
        ewma_chart([1.0, 2.0], **facts)


def test_one_value_is_enough_for_a_weighted_mean_but_none_is_not() -> None:
    assert ewma_chart([5.0], start=5, sigma=1).smoothed == (5.0,)
    with pytest.raises(TooFewValuesError):
        ewma_chart([], start=5, sigma=1)


@given(SERIES)
def test_a_point_beyond_means_beyond_its_own_limits(series: list[float]) -> None:
    assume(len(series) > 2)
    chart = ewma_chart(series, start=0, sigma=10)
    for place, mean in enumerate(chart.smoothed):
        outside = not chart.lower[place] <= mean <= chart.upper[place]
        assert (place in chart.beyond) == outside
