"""Potash into water: how hot."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batches.chemistry import lye
from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.heat import (
    Peak,
    heat_of_solution,
    heating,
    peak,
    water_temperature_to_stay_under,
    water_to_stay_under,
)

pytestmark = pytest.mark.any_engine

SHARES = st.floats(0.76, 1.0)
RATIOS = st.floats(3.5, 30)  # grams of water for one of potash


def degrees(found: Peak) -> float:
    return 100.0 if found.temperature_c is None else found.temperature_c


# Computed by another program when the reference pack was made: pure KOH from 20 °C.
@pytest.mark.parametrize(("water", "hottest"), [(10, 45.2), (5, 70.0), (4, 82.0)])
def test_another_program_says_the_same(water: float, hottest: float) -> None:
    found = heating(potash_g=1, usable_fraction=1, water_g=water).high
    assert found.temperature_c == pytest.approx(hottest, abs=0.1)
    assert not found.boils


@pytest.mark.parametrize("water", [3, 2.5, 2, 1.2])
def test_at_boiling_there_is_no_number(water: float) -> None:
    found = heating(potash_g=1, usable_fraction=1, water_g=water).high
    assert found == Peak(temperature_c=None, boils=True)


def test_water_s_heat_capacity_would_say_far_too_little() -> None:
    found = heating(potash_g=1, usable_fraction=1, water_g=5).high
    with_water = 20 + 57610 / 56.1053 / 6 / 4.184
    assert degrees(found) - with_water > 8


@given(SHARES, RATIOS)
def test_hydrate_in_the_potash_makes_it_less_hot(share: float, water: float) -> None:
    found = heating(potash_g=1, usable_fraction=share, water_g=water)
    assert degrees(found.low) <= degrees(found.high)


@given(SHARES, RATIOS, st.floats(0.1, 5))
def test_more_water_makes_it_less_hot(share: float, water: float, more: float) -> None:
    less = heating(potash_g=1, usable_fraction=share, water_g=water).high
    much = heating(potash_g=1, usable_fraction=share, water_g=water + more).high
    assert degrees(much) <= degrees(less)


@given(SHARES, st.floats(6, 30), st.floats(1, 1000))
def test_only_the_ratio_matters(share: float, water: float, times: float) -> None:
    one = heating(potash_g=1, usable_fraction=share, water_g=water)
    many = heating(potash_g=times, usable_fraction=share, water_g=water * times)
    assert degrees(many.high) == pytest.approx(degrees(one.high), abs=1e-6)
    assert many.strength == pytest.approx(one.strength)


@given(st.floats(0.01, 0.15), st.floats(4, 50))
def test_the_heat_set_free_is_the_heat_taken_up(strength: float, start: float) -> None:
    found = peak(strength=strength, heat_kj_mol=57.61, start_c=start)
    if found.temperature_c is None:
        return
    steps = 400  # a plain sum of middles, where the module has Simpson's rule
    width = (found.temperature_c - start) / steps
    taken = sum(
        lye.heat_capacity(strength, start + (index + 0.5) * width) * width
        for index in range(steps)
    )
    assert taken == pytest.approx(strength / 56.1053 * 57610, rel=1e-5)


def test_where_boiling_begins_nothing_lies_between() -> None:
    just = water_to_stay_under(potash_g=100, usable_fraction=1, limit_c=99.9)
    assert not heating(potash_g=100, usable_fraction=1, water_g=just).high.boils
    assert heating(potash_g=100, usable_fraction=1, water_g=just * 0.995).high.boils


def test_nothing_to_dissolve_stays_as_it_was() -> None:
    found = peak(strength=0.0, heat_kj_mol=57.61, start_c=20)
    assert found.temperature_c == pytest.approx(20)


# ------------------------------------------------------------------ heat of solution


def test_of_90_percent_potash_a_third_is_hydrate() -> None:
    # 34.6 % of the KOH, by hand: 57.61 − 0.346 · (57.61 − 14.64)
    assert heat_of_solution(0.9) == pytest.approx(42.74, abs=0.01)


@pytest.mark.parametrize("share", [0.757, 0.75, 0.5])
def test_what_is_all_hydrate_or_wetter_gives_the_hydrate_s_heat(share: float) -> None:
    assert heat_of_solution(share) == pytest.approx(14.64, abs=0.05)
    assert heat_of_solution(share) >= 14.64


@given(st.floats(0.5, 0.99), st.floats(0.001, 0.01))
def test_purer_potash_gives_more_heat(share: float, step: float) -> None:
    assert heat_of_solution(share + step) >= heat_of_solution(share)


# ------------------------------------------------------------------ the other way


@settings(deadline=None)
@given(SHARES, st.floats(30, 95))
def test_the_least_water_just_keeps_it_under(share: float, limit: float) -> None:
    water = water_to_stay_under(potash_g=150, usable_fraction=share, limit_c=limit)
    found = heating(potash_g=150, usable_fraction=share, water_g=water).high
    assert degrees(found) == pytest.approx(limit, abs=1e-4)


@settings(deadline=None)
@given(SHARES, st.floats(5, 20), st.floats(40, 95))
def test_the_warmest_water_just_keeps_it_under(
    share: float, water: float, limit: float
) -> None:
    warmest = water_temperature_to_stay_under(
        potash_g=1, usable_fraction=share, water_g=water, limit_c=limit
    )
    if warmest is None:
        return
    together = (warmest * water + 20) / (1 + water)
    found = heating(potash_g=1, usable_fraction=share, water_g=water, start_c=together)
    assert degrees(found.high) == pytest.approx(limit, abs=1e-4)


def test_no_water_is_cold_enough_for_strong_lye() -> None:
    assert (
        water_temperature_to_stay_under(
            potash_g=200, usable_fraction=0.9, water_g=400, limit_c=70
        )
        is None
    )


def test_warm_potash_counts() -> None:
    facts = {"potash_g": 200.0, "usable_fraction": 0.9, "water_g": 900.0}
    cool = water_temperature_to_stay_under(**facts, limit_c=70, room_c=10)
    warm = water_temperature_to_stay_under(**facts, limit_c=70, room_c=30)
    assert cool is not None
    assert warm is not None
    assert cool - warm == pytest.approx(20 * 200 / 900)


# ------------------------------------------------------------------ refused


def test_lye_stronger_than_the_data_is_refused_not_guessed() -> None:
    with pytest.raises(OutOfRangeError, match="strength of lye"):
        heating(potash_g=100, usable_fraction=1, water_g=110)


@pytest.mark.parametrize(
    ("potash", "share", "water"),
    [(-1, 0.9, 5), (0, 0.9, 5), (5, 0.9, 0), (5, 0.9, -1), (math.nan, 0.9, 1)],
)
def test_impossible_masses_are_refused(
    potash: float, share: float, water: float
) -> None:
    with pytest.raises(OutOfRangeError, match="Weigh potash and water"):
        heating(potash_g=potash, usable_fraction=share, water_g=water)


@pytest.mark.parametrize("share", [0, 1.1, 90, math.nan])
def test_a_purity_in_percent_is_refused(share: float) -> None:
    with pytest.raises(OutOfRangeError, match="Check the purity"):
        heating(potash_g=5, usable_fraction=share, water_g=50)


@pytest.mark.parametrize("start", [3.9, 100.1, math.nan])
def test_a_start_outside_the_model_is_refused(start: float) -> None:
    with pytest.raises(OutOfRangeError, match="temperature to start from"):
        heating(potash_g=5, usable_fraction=1, water_g=50, start_c=start)


def test_a_heat_above_that_of_dry_potash_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="heat of solution"):
        peak(strength=0.1, heat_kj_mol=60, start_c=20)


@pytest.mark.parametrize("limit", [20, 15, 100, 120, math.nan])
def test_a_limit_that_no_water_can_meet_is_refused(limit: float) -> None:
    with pytest.raises(OutOfRangeError, match="Choose another"):
        water_to_stay_under(potash_g=5, usable_fraction=1, limit_c=limit)


def test_a_limit_only_just_above_the_start_would_need_a_lake() -> None:
    with pytest.raises(OutOfRangeError, match="no useful lye"):
        water_to_stay_under(potash_g=5, usable_fraction=1, limit_c=20.1)
