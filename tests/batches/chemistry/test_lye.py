"""Lye: its strength, whether it dissolves, its density, volume and heat capacity."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry import water
from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.lye import (
    density,
    dissolves,
    heat_capacity,
    lye_strength,
    solubility,
    volume,
)

pytestmark = pytest.mark.any_engine

GRAMS = st.integers(1, 10**6).map(lambda mg: Decimal(mg) / 1000)
TEMPERATURES = st.floats(4, 95)


@given(GRAMS, GRAMS)
def test_the_potassium_hydroxide_is_all_still_there(
    potash: Decimal, water_g: Decimal
) -> None:
    strength = lye_strength(
        potash_g=potash, usable_fraction=Decimal("0.9"), water_g=water_g
    )
    found = strength * (potash + water_g)
    assert abs(found - potash * Decimal("0.9")) < Decimal("1e-20")


def test_undiluted_potash_is_as_strong_as_itself() -> None:
    assert lye_strength(
        potash_g=Decimal(7), usable_fraction=Decimal("0.9"), water_g=Decimal(0)
    ) == Decimal("0.9")


@pytest.mark.parametrize(("potash", "water_g"), [(-1, 5), (5, -1), (0, 0)])
def test_there_is_no_lye_without_potash_and_water(potash: int, water_g: int) -> None:
    with pytest.raises(OutOfRangeError, match="Weigh potash and water"):
        lye_strength(
            potash_g=Decimal(potash),
            usable_fraction=Decimal(1),
            water_g=Decimal(water_g),
        )


@pytest.mark.parametrize("fraction", ["0", "1.1"])
def test_a_purity_that_is_no_share_is_refused(fraction: str) -> None:
    with pytest.raises(OutOfRangeError, match="Check the purity"):
        lye_strength(
            potash_g=Decimal(9), usable_fraction=Decimal(fraction), water_g=Decimal(45)
        )


def test_water_alone_is_lye_of_no_strength_and_pure_potash_is_possible() -> None:
    assert (
        lye_strength(
            potash_g=Decimal(0), usable_fraction=Decimal(1), water_g=Decimal("0.5")
        )
        == 0
    )


# ------------------------------------------------------------------ solubility


@given(st.floats(0, 19), st.floats(0.01, 1))
def test_warmer_water_dissolves_more(cold: float, step: float) -> None:
    assert solubility(cold + step) > solubility(cold)


@pytest.mark.parametrize("celsius", [-0.1, 20.1, 60, math.nan])
def test_no_solubility_where_published_figures_differ(celsius: float) -> None:
    with pytest.raises(OutOfRangeError, match="outside 0 to 20"):
        solubility(celsius)


def test_lye_stays_clear_up_to_the_published_strength() -> None:
    # 112 g in 212 g, and 97 g in 197 g
    assert dissolves(0.5283, 20)
    assert not dissolves(0.5284, 20)
    assert dissolves(0.4923, 0)
    assert not dissolves(0.4925, 0)


@pytest.mark.parametrize("strength", [-0.01, 1.01, 30])
def test_a_strength_in_percent_is_not_taken_for_a_share(strength: float) -> None:
    for function in (dissolves, density, heat_capacity):
        with pytest.raises(OutOfRangeError, match="strength of lye"):
            function(strength, 20)


# ------------------------------------------------------- density, volume, heat


@given(TEMPERATURES)
def test_lye_of_no_strength_is_water(celsius: float) -> None:
    assert density(0.0, celsius) == pytest.approx(water.density(celsius))
    assert heat_capacity(0.0, celsius) == pytest.approx(water.heat_capacity(celsius))


@given(st.floats(0, 0.50), st.floats(0.001, 0.01), TEMPERATURES)
def test_stronger_lye_is_heavier(weak: float, step: float, celsius: float) -> None:
    assert density(weak + step, celsius) > density(weak, celsius)


@given(st.floats(0, 0.45), st.floats(0.001, 0.01), TEMPERATURES)
def test_stronger_lye_takes_less_heat(weak: float, step: float, celsius: float) -> None:
    assert heat_capacity(weak + step, celsius) < heat_capacity(weak, celsius)


@given(st.floats(0.05, 0.51), st.floats(4, 90))
def test_warmer_lye_is_lighter(strength: float, celsius: float) -> None:
    assert density(strength, celsius + 5) < density(strength, celsius)


@given(st.floats(0.1, 10_000), st.floats(0, 0.51), TEMPERATURES)
def test_volume_times_density_is_the_mass(
    mass: float, strength: float, celsius: float
) -> None:
    found = volume(mass, strength, celsius)
    assert found * density(strength, celsius) == pytest.approx(mass)


@pytest.mark.parametrize(
    ("strength", "celsius"), [(0.5187, 20), (0.3, 3.9), (0.3, 95.1), (0.3, math.nan)]
)
def test_no_density_beyond_the_data(strength: float, celsius: float) -> None:
    with pytest.raises(OutOfRangeError):
        density(strength, celsius)


@pytest.mark.parametrize(
    ("strength", "celsius"), [(0.4654, 20), (0.3, 3.9), (0.3, 120.1)]
)
def test_no_heat_capacity_beyond_the_data(strength: float, celsius: float) -> None:
    with pytest.raises(OutOfRangeError):
        heat_capacity(strength, celsius)


@pytest.mark.parametrize("mass", [-1, math.nan])
def test_no_volume_of_a_mass_below_zero(mass: float) -> None:
    with pytest.raises(OutOfRangeError, match="below zero"):
        volume(mass, 0.3, 20)


# Computed by another program (thermo 0.6.1) when the reference pack was made.
@pytest.mark.parametrize(
    ("percent", "celsius", "density_g_ml", "heat"),
    [
        (5, 25, 1.0424, 3.8931),
        (20, 20, 1.1872, 3.2547),
        (30, 80, None, 3.0410),
        (45, 15, 1.4563, None),
        (40, 50, None, 2.7591),
    ],
)
def test_another_program_says_the_same(
    percent: int, celsius: float, density_g_ml: float | None, heat: float | None
) -> None:
    if density_g_ml is not None:
        assert density(percent / 100, celsius) == pytest.approx(density_g_ml, abs=1e-4)
    if heat is not None:
        assert heat_capacity(percent / 100, celsius) == pytest.approx(heat, abs=0.003)
