"""What the pH test sees."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry import water
from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.ph import (
    activity_coefficient,
    expected_ph,
    free_alkali,
    molality,
    ph_of,
)

pytestmark = pytest.mark.any_engine

ALKALI = st.floats(0.001, 2)
STRENGTHS = st.floats(0.5, 20)
TEMPERATURES = st.floats(0, 50)


# By hand: 0.056 % of a 1 % solution is 5.6 mg KOH in 1 kg, a ten-thousandth of a mole.
def test_a_very_little_free_alkali_gives_ph_10() -> None:
    found = expected_ph(free_alkali_percent=0.0561, strength_percent=1, ideal=True)
    assert found == pytest.approx(13.994 - 4, abs=0.002)


@pytest.mark.parametrize(
    ("molal", "with_activity"), [(0.001, 10.980), (0.01, 11.950), (0.1, 12.888)]
)
def test_activity_lowers_it_as_computed_elsewhere(
    molal: float, with_activity: float
) -> None:
    assert ph_of(molal, ideal=False) == pytest.approx(with_activity, abs=0.002)


@given(alkali=ALKALI, strength=STRENGTHS, celsius=TEMPERATURES, ideal=st.booleans())
def test_there_and_back(
    *, alkali: float, strength: float, celsius: float, ideal: bool
) -> None:
    ph = expected_ph(
        free_alkali_percent=alkali,
        strength_percent=strength,
        temperature_c=celsius,
        ideal=ideal,
    )
    back = free_alkali(
        ph=ph, strength_percent=strength, temperature_c=celsius, ideal=ideal
    )
    assert back == pytest.approx(alkali, rel=1e-6)


@given(ALKALI, STRENGTHS, TEMPERATURES)
def test_more_alkali_reads_higher(
    alkali: float, strength: float, celsius: float
) -> None:
    def ph(share: float) -> float:
        return expected_ph(
            free_alkali_percent=share, strength_percent=strength, temperature_c=celsius
        )

    assert ph(alkali * 1.01) > ph(alkali)


@given(ALKALI, STRENGTHS)
def test_warmer_reads_lower(alkali: float, strength: float) -> None:
    cold, warm = (
        expected_ph(
            free_alkali_percent=alkali, strength_percent=strength, temperature_c=celsius
        )
        for celsius in (20, 30)
    )
    assert 0.3 < cold - warm < 0.4


def test_ten_times_the_strength_reads_one_unit_higher() -> None:
    weak, strong = (
        expected_ph(free_alkali_percent=0.1, strength_percent=strength, ideal=True)
        for strength in (1, 10)
    )
    assert strong - weak == pytest.approx(1, abs=0.001)


@given(st.floats(1e-6, 0.1), TEMPERATURES)
def test_activity_never_raises_it(molal: float, celsius: float) -> None:
    ideal = ph_of(molal, celsius, ideal=True)
    assert ph_of(molal, celsius, ideal=False) <= ideal


@given(TEMPERATURES)
def test_without_alkali_it_is_neutral(celsius: float) -> None:
    half = water.ionisation(celsius) / 2
    assert expected_ph(
        free_alkali_percent=0, strength_percent=1, temperature_c=celsius
    ) == pytest.approx(half)
    assert free_alkali(
        ph=half + 1e-9, strength_percent=1, temperature_c=celsius
    ) == pytest.approx(0, abs=1e-9)


def test_water_s_own_ions_count_in_next_to_nothing() -> None:
    # m = 1e-7: the ions of water are as many; without them the pH would be 6.99
    assert ph_of(1e-7, ideal=True) == pytest.approx(7.206, abs=0.002)


def test_the_coefficient_is_one_without_ions_and_falls() -> None:
    assert activity_coefficient(0) == 1
    values = [activity_coefficient(m / 100) for m in range(11)]
    assert values == sorted(values, reverse=True)


@pytest.mark.parametrize("strength", [0, -1, 20.1, 100, math.nan])
def test_paste_itself_is_no_test_solution(strength: float) -> None:
    with pytest.raises(OutOfRangeError, match="no test solution"):
        molality(free_alkali_percent=0.1, strength_percent=strength)


@pytest.mark.parametrize("alkali", [-0.1, 100.1, math.nan])
def test_a_share_that_is_none_is_refused(alkali: float) -> None:
    with pytest.raises(OutOfRangeError, match="free alkali"):
        molality(free_alkali_percent=alkali, strength_percent=1)


@pytest.mark.parametrize("celsius", [-0.1, 50.1, math.nan])
def test_a_temperature_outside_is_refused(celsius: float) -> None:
    with pytest.raises(OutOfRangeError, match="temperature of the solution"):
        ph_of(0.01, celsius, ideal=True)


@pytest.mark.parametrize(("ideal", "molal"), [(False, 0.101), (True, 1.01)])
def test_too_much_alkali_for_the_formula_is_refused(
    *, ideal: bool, molal: float
) -> None:
    with pytest.raises(OutOfRangeError, match="alkali in the solution"):
        ph_of(molal, ideal=ideal)


@pytest.mark.parametrize("ph", [6.9, 3, 13.5, math.nan])
def test_a_ph_that_no_free_alkali_explains_is_refused(ph: float) -> None:
    with pytest.raises(OutOfRangeError, match="the soap is splitting"):
        free_alkali(ph=ph, strength_percent=1)


def test_an_activity_outside_the_equation_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="ionic strength"):
        activity_coefficient(0.11)
