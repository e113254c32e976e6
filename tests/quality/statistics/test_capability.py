"""Indices, their bounds, and when there are none."""

from __future__ import annotations

import doctest
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quality.statistics import capability as module
from quality.statistics.capability import (
    Capability,
    NotAssessable,
    capability,
    pp_lower_bound,
    ppk_lower_bound,
)
from quality.statistics.errors import StatisticsError

pytestmark = pytest.mark.any_engine

VALUES = st.floats(min_value=-100, max_value=100).map(lambda v: round(v, 2))
SERIES = st.lists(VALUES, min_size=20, max_size=60).filter(lambda s: len(set(s)) > 1)


def fit(
    values: list[float], *, lower: float | None = None, upper: float | None = None
) -> Capability:
    result = capability(values, lower=lower, upper=upper)
    assert isinstance(result, Capability)
    return result


def test_the_worked_examples_hold() -> None:
    assert doctest.testmod(module).failed == 0


@pytest.mark.parametrize("count", [0, 1, 19])
def test_a_short_series_is_not_assessable_and_says_so(count: int) -> None:
    result = capability([1.0, 2.0, *[1.5] * 17][:count], lower=0, upper=9)
    assert isinstance(result, NotAssessable)
    assert result.count == count
    assert result.sentence.startswith("Not assessable: ")


def test_twenty_are_enough() -> None:
    assert fit([1.0, 2.0] * 10, lower=0, upper=9).count == 20


def test_values_that_are_all_the_same_are_not_assessable() -> None:
    result = capability([9.2] * 25, lower=8, upper=10)
    assert isinstance(result, NotAssessable)
    assert "all results are the same" in result.sentence


@given(SERIES)
def test_the_worse_side_counts(series: list[float]) -> None:
    both = fit(series, lower=-10, upper=40)
    assert both.ppk == min(both.ppu or 0, both.ppl or 0)
    assert both.pp == pytest.approx(((both.ppu or 0) + (both.ppl or 0)) / 2)
    assert both.ppk <= (both.pp or 0) + 1e-9


@given(SERIES)
def test_one_limit_gives_one_side(series: list[float]) -> None:
    only = fit(series, upper=40)
    assert (only.pp, only.pp_bound, only.ppl) == (None, None, None)
    assert only.ppk == only.ppu
    assert fit(series, lower=-10).ppk == fit(series, lower=-10).ppl


@given(SERIES, st.floats(0.1, 10))
def test_another_unit_changes_no_index(series: list[float], factor: float) -> None:
    one = fit(series, lower=-10, upper=40)
    other = fit(
        [factor * value for value in series], lower=-10 * factor, upper=40 * factor
    )
    assert other.ppk == pytest.approx(one.ppk, rel=1e-6, abs=1e-9)
    assert other.ppk_bound == pytest.approx(one.ppk_bound, rel=1e-6, abs=1e-9)


@given(SERIES)
def test_a_series_mirrored_with_its_limits_has_the_same_index(
    series: list[float],
) -> None:
    mirrored = fit([-value for value in series], lower=-40, upper=10)
    assert mirrored.ppk == pytest.approx(fit(series, lower=-10, upper=40).ppk)


@given(st.floats(0.1, 3), st.integers(20, 500))
def test_a_bound_lies_below_and_comes_closer_with_more_results(
    index: float, count: int
) -> None:
    for bound in (ppk_lower_bound, pp_lower_bound):
        assert bound(index, count) < index
        assert bound(index, count) < bound(index, count + 1)
        assert bound(index, count, 0.99) < bound(index, count, 0.9)


def test_the_bounds_are_those_of_the_index_and_count() -> None:
    result = fit([15.0, 17.0] * 15, lower=8, upper=20)
    assert result.confidence == 0.95
    assert result.ppk_bound == ppk_lower_bound(result.ppk, 30)
    assert result.pp is not None
    assert result.pp_bound == pp_lower_bound(result.pp, 30)


def test_without_a_limit_there_is_no_index() -> None:
    with pytest.raises(StatisticsError, match="needs a limit"):
        capability([1.0] * 30, lower=None, upper=None)


@pytest.mark.parametrize(("lower", "upper"), [(10, 8), (9, 9)])
def test_limits_upside_down_are_refused(lower: float, upper: float) -> None:
    with pytest.raises(StatisticsError, match="below the upper"):
        capability([1.0] * 30, lower=lower, upper=upper)


@pytest.mark.parametrize("odd", [math.nan, math.inf])
def test_what_is_not_a_number_is_refused(odd: float) -> None:
    with pytest.raises(StatisticsError, match="Value 1"):
        capability([odd, 2.0], lower=0, upper=9)


@pytest.mark.parametrize(("count", "confidence"), [(1, 0.95), (20, 0), (20, 1)])
def test_a_bound_that_cannot_be_is_refused(count: int, confidence: float) -> None:
    for bound in (ppk_lower_bound, pp_lower_bound):
        with pytest.raises(StatisticsError):
            bound(1.0, count, confidence)
