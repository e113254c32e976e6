"""Pure water."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.water import (
    density,
    heat_capacity,
    ionisation,
    ionisation_at,
    within,
)

pytestmark = pytest.mark.any_engine


@given(st.floats(4, 99), st.floats(0.01, 1))
def test_above_4_degrees_warmer_water_is_lighter(cold: float, step: float) -> None:
    assert density(cold + step) < density(cold)


def test_water_is_heaviest_at_4_degrees() -> None:
    assert density(4) > max(density(3), density(5))


@given(st.floats(0, 99), st.floats(0.01, 1))
def test_warmer_water_is_more_ionised(cold: float, step: float) -> None:
    assert ionisation(cold + step) < ionisation(cold)


@given(st.floats(0, 130))
def test_the_heat_capacity_of_water_hardly_changes(celsius: float) -> None:
    assert 4.17 < heat_capacity(celsius) < 4.28


@pytest.mark.parametrize("celsius", [-0.1, 100.1, math.nan, math.inf])
def test_water_that_is_no_liquid_has_no_density(celsius: float) -> None:
    for function in (density, ionisation):
        with pytest.raises(OutOfRangeError, match=r"outside 0 to 100.*Check"):
            function(celsius)


@pytest.mark.parametrize("celsius", [-0.1, 130.1, math.nan])
def test_the_heat_capacity_ends_at_130_degrees(celsius: float) -> None:
    with pytest.raises(OutOfRangeError, match="outside 0 to 130"):
        heat_capacity(celsius)


@pytest.mark.parametrize(("kelvin", "thick"), [(273, 1), (1274, 1), (300, 1.3)])
def test_the_equation_of_the_release_ends_where_it_says(
    kelvin: float, thick: float
) -> None:
    with pytest.raises(OutOfRangeError):
        ionisation_at(kelvin, thick)


def test_the_ends_of_a_range_belong_to_it() -> None:
    assert (within(4, 4, 95, "x"), within(95, 4, 95, "x")) == (4, 95)
