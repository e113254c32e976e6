"""Mass in, mass out."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.yields import (
    percentage_yield,
    theoretical_yield,
    yield_variance_percent,
)

GRAMS = st.integers(1, 10**8).map(lambda mg: Decimal(mg) / 1000)


@given(st.lists(st.integers(-(10**8), 10**8)))
def test_all_that_went_in_is_the_theoretical_yield_to_the_milligram(
    charges: list[int],
) -> None:
    total = theoretical_yield(Decimal(mg) / 1000 for mg in charges)
    assert total * 1000 == sum(charges)


@given(GRAMS)
def test_what_came_out_whole_is_a_hundred_percent(mass: Decimal) -> None:
    assert percentage_yield(mass, mass) == 100
    assert yield_variance_percent(mass, mass) == 0


@given(GRAMS, GRAMS)
def test_variance_is_above_zero_only_if_more_came_out_than_went_in(
    actual: Decimal, theoretical: Decimal
) -> None:
    variance = yield_variance_percent(actual, theoretical)
    assert (variance > 0) == (actual > theoretical)
    assert (variance < 0) == (actual < theoretical)
    share = percentage_yield(actual, theoretical)
    assert share == pytest.approx(variance + 100, rel=Decimal("1e-20"))
    assert share == pytest.approx(actual / theoretical * 100, rel=Decimal("1e-20"))


@given(GRAMS, GRAMS, st.integers(2, 1000))
def test_variance_does_not_depend_on_the_unit(
    actual: Decimal, theoretical: Decimal, times: int
) -> None:
    assert yield_variance_percent(
        actual * times, theoretical * times
    ) == yield_variance_percent(actual, theoretical)


def test_scenario_24_a_yield_of_103_percent_shows_as_3_above() -> None:
    assert percentage_yield(Decimal(1648), Decimal(1600)) == 103
    assert yield_variance_percent(Decimal(1648), Decimal(1600)) == 3


@pytest.mark.parametrize("theoretical", [0, -5])
def test_nothing_weighed_in_has_no_yield(theoretical: int) -> None:
    for function in (percentage_yield, yield_variance_percent):
        with pytest.raises(OutOfRangeError, match="Nothing was weighed in"):
            function(Decimal(5), Decimal(theoretical))
