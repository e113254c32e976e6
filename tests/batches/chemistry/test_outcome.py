"""What comes out of the pot: nothing is lost, and only what can react does."""

from __future__ import annotations

import dataclasses
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.outcome import (
    GLYCEROL_PER_KOH,
    SALT_PER_KOH,
    WATER_PER_KOH,
    Pot,
    acid_charge,
    content_percent,
    lesser,
    oil_charge,
    potash_charge,
    react,
    reaction,
    weighing,
)

pytestmark = pytest.mark.any_engine

GRAMS = st.integers(1, 10**8).map(lambda mg: Decimal(mg) / 1000)
VALUES = st.integers(16_000, 28_000).map(lambda n: Decimal(n) / 100)
SHARES = st.integers(1, 1000).map(lambda n: Decimal(n) / 1000)
PERCENTS = st.integers(0, 5000).map(lambda n: Decimal(n) / 100)


@st.composite
def pots(draw: st.DrawFn) -> Pot:
    """A pot with one to three oils, potash and water."""
    pot = Pot(water=draw(GRAMS))
    for _ in range(draw(st.integers(1, 3))):
        value = draw(VALUES)
        pot += oil_charge(
            draw(GRAMS),
            value,
            acid_value=value * draw(SHARES) / 3,
            unsaponifiable_percent=draw(PERCENTS),
        )
    return pot + potash_charge(draw(GRAMS), draw(SHARES))


@given(pots())
def test_oil_and_potash_are_soap_glycerol_and_water_exactly(pot: Pot) -> None:
    made = react(pot)
    assert made.total == pot.total
    gained = made.soap + made.glycerol + (made.water - pot.water)
    assert gained == (pot.oil - made.oil) + (pot.koh - made.koh)


@given(pots())
def test_either_the_potash_or_the_oil_is_used_up_and_nothing_is_below_zero(
    pot: Pot,
) -> None:
    made = react(pot)
    assert min(made.koh, made.need) == 0
    assert all(mass >= 0 for mass in dataclasses.astuple(made))
    assert made.excess == pot.excess
    assert made.bound == min(pot.koh, pot.need)


@given(pots())
def test_what_has_reacted_reacts_no_further(pot: Pot) -> None:
    once = react(pot)
    assert react(once) == once


@given(pots(), GRAMS)
def test_more_potash_never_makes_less_soap(pot: Pot, more: Decimal) -> None:
    richer = react(pot + potash_charge(more, Decimal(1)))
    assert richer.soap >= react(pot).soap
    assert richer.glycerol >= react(pot).glycerol


@given(pots(), pots())
def test_two_pots_in_one_react_as_much_as_apart_or_more(one: Pot, other: Pot) -> None:
    together, apart = react(one + other), react(one) + react(other)
    assert together.total == apart.total
    assert together.bound >= apart.bound
    assert react(apart).bound == together.bound


@given(pots(), SHARES)
def test_a_part_of_a_paste_has_the_same_composition(pot: Pot, share: Decimal) -> None:
    made = react(pot)
    some = made.part(share)
    assert abs(some.total - made.total * share) < Decimal("1e-8")
    assert abs(some.soap - made.soap * share) <= Decimal("1e-9")


def test_what_loses_nothing_came_out_whole() -> None:
    third = Pot(soap=Decimal(460), water=Decimal(540)).part(1 / Decimal(3))
    thirds = third + third + third
    assert thirds.total < 1000  # each was cut to a nanogram
    assert weighing(thirds, Decimal(1000)).total == 1000
    with pytest.raises(OutOfRangeError, match="more than went in"):
        weighing(thirds, Decimal("1000.001"))


@given(pots())
def test_boiling_down_takes_only_water(pot: Pot) -> None:
    made = react(pot)
    dry = weighing(made, made.solids)
    assert dry.water == 0
    assert dry.soap == made.soap
    with pytest.raises(OutOfRangeError, match="without any water"):
        weighing(made, made.solids - Decimal("0.001"))
    with pytest.raises(OutOfRangeError, match="more than went in"):
        weighing(made, made.total + Decimal("0.001"))


@given(GRAMS, VALUES, SHARES)
def test_free_acid_makes_water_instead_of_glycerol(
    mass: Decimal, value: Decimal, free: Decimal
) -> None:
    need = mass * value / 1000
    neutral = react(oil_charge(mass, value) + Pot(koh=need))
    acid = react(oil_charge(mass, value, acid_value=value * free) + Pot(koh=need))
    lost = neutral.glycerol - acid.glycerol
    assert lost == pytest.approx(need * free * GLYCEROL_PER_KOH, abs=Decimal("1e-7"))
    assert acid.water == pytest.approx(need * free * WATER_PER_KOH, abs=Decimal("1e-7"))
    assert acid.bound == neutral.bound


def test_where_potash_is_short_free_acid_is_served_first() -> None:
    pot = oil_charge(Decimal(1000), Decimal(190), acid_value=Decimal(10))
    made = react(pot + Pot(koh=Decimal(8)))
    assert made.glycerol == 0
    assert made.acid_need == 2
    assert made.water == pytest.approx(8 * WATER_PER_KOH, abs=Decimal("1e-8"))
    later = react(pot + Pot(koh=Decimal(29)))
    assert later.glycerol == pytest.approx(19 * GLYCEROL_PER_KOH, abs=Decimal("1e-8"))


def test_where_potash_is_short_only_its_part_of_the_oil_reacts() -> None:
    made = react(oil_charge(Decimal(1000), Decimal(190)) + Pot(koh=Decimal(95)))
    assert made.oil == 500
    assert made.need == 95
    assert made.excess == -95


def test_a_worked_kilogram_of_oil() -> None:
    """Requirement C10, computed for it apart: 102.6 g glycerol, 1084.9 g soap."""
    made = react(
        oil_charge(Decimal(1000), Decimal("187.5")) + Pot(koh=Decimal("187.5"))
    )
    assert round(made.glycerol, 1) == Decimal("102.6")
    assert round(made.soap, 1) == Decimal("1084.9")


ACID = Decimal("0.876")  # grams of KOH that a gram of it takes up, about


@given(pots(), SHARES)
def test_acid_in_the_pot_is_all_there_afterwards_and_lowers_the_excess_by_what_it_takes(
    pot: Pot, share: Decimal
) -> None:
    made = react(pot)
    mass = Decimal(int((made.koh + made.bound) * share * 1000)) / 1000
    soured = acid_charge(made, mass, ACID)
    assert soured.total == made.total + mass
    assert made.excess - soured.excess == pytest.approx(
        mass * ACID, abs=Decimal("1e-8")
    )
    assert all(part >= 0 for part in dataclasses.astuple(soured))


@given(pots(), SHARES)
def test_soap_that_acid_split_is_soap_again_with_the_same_potash(
    pot: Pot, share: Decimal
) -> None:
    made = react(pot + Pot(koh=pot.need))  # no oil is left that could react as well
    mass = Decimal(int((made.koh + made.bound) * share * 1000)) / 1000
    soured = acid_charge(made, mass, ACID)
    mended = react(soured + Pot(koh=mass * ACID))
    assert mended.soap == pytest.approx(
        made.soap, rel=Decimal("1e-6"), abs=Decimal("1e-4")
    )
    assert mended.glycerol == pytest.approx(made.glycerol, abs=Decimal("1e-6"))
    assert mended.bound == pytest.approx(made.bound, abs=Decimal("1e-6"))


def test_acid_takes_free_potash_before_it_splits_soap() -> None:
    made = react(oil_charge(Decimal(1000), Decimal(190)) + Pot(koh=Decimal(193)))
    inside = acid_charge(made, Decimal(3), ACID)
    assert inside.soap == made.soap
    assert inside.oil == 0
    beyond = acid_charge(made, Decimal(10), ACID)
    overshoot = 10 * ACID - 3
    assert beyond.koh == 0
    assert made.soap - beyond.soap == pytest.approx(
        made.soap * overshoot / 190, abs=Decimal("1e-8")
    )
    assert beyond.acid_need == overshoot


def test_acid_beyond_all_alkali_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="more acid than all the alkali"):
        acid_charge(Pot(koh=Decimal(1)), Decimal(2), ACID)


def test_fatty_matter_counts_fatty_acid_oil_and_unsaponifiable_matter() -> None:
    pot = Pot(
        soap=Decimal(100),
        bound=Decimal(18),
        oil=Decimal(3),
        unsaponifiable=Decimal(2),
        water=Decimal(9),
        glycerol=Decimal(9),
    )
    assert pot.fatty_matter == 105 - 18 * SALT_PER_KOH
    assert pot.solids == 114
    assert pot.total == 123


@given(GRAMS, VALUES, SHARES)
def test_floats_give_what_decimals_give(
    mass: Decimal, value: Decimal, share: Decimal
) -> None:
    need = mass * value / 1000
    exact = react(oil_charge(mass, value) + Pot(koh=need * share))
    out = reaction(
        oil=float(mass),
        need=float(need),
        acid_need=0.0,
        koh=float(need * share),
        glycerol_per_koh=float(GLYCEROL_PER_KOH),
        water_per_koh=float(WATER_PER_KOH),
    )
    assert out.soap == pytest.approx(float(exact.soap), rel=1e-9, abs=1e-7)
    assert out.unreacted == pytest.approx(float(exact.oil), rel=1e-9, abs=1e-5)


def test_the_model_runs_on_values_with_uncertainty_and_on_arrays() -> None:
    facts = {
        "oil": 1000.0,
        "acid_need": 0.0,
        "glycerol_per_koh": float(GLYCEROL_PER_KOH),
        "water_per_koh": float(WATER_PER_KOH),
    }
    fuzzy = reaction(need=ufloat(190, 1), koh=ufloat(150, 2), **facts).soap
    # short of potash: a gram more of it makes oil / need + 1 − 0.547 grams of soap
    by_potash = 1000 / 190 + 1 - float(GLYCEROL_PER_KOH)
    by_need = 150 * 1000 / 190**2
    assert fuzzy.std_dev == pytest.approx(np.hypot(2 * by_potash, by_need), rel=1e-9)
    koh = np.array([95.0, 190.0, 250.0])
    soaps = reaction(need=np.full(3, 190.0), koh=koh, **facts).soap
    assert soaps[0] * 2 == pytest.approx(soaps[1])
    assert soaps[2] == pytest.approx(soaps[1])


@given(GRAMS, GRAMS)
def test_the_lesser_is_the_smaller_one(one: Decimal, other: Decimal) -> None:
    assert lesser(one, other) == min(one, other)


def test_content_is_a_percentage_of_what_there_is() -> None:
    assert content_percent(Decimal(1), Decimal(8)) == Decimal("12.5")
    for nothing in (Decimal(0), 0.0, -1):
        with pytest.raises(OutOfRangeError, match="nothing to be a part of"):
            content_percent(1, nothing)
    assert list(content_percent(np.array([1.0, 2.0]), 4.0)) == [25, 50]


@pytest.mark.parametrize(
    ("act", "said"),
    [
        (lambda: oil_charge(Decimal(-1), Decimal(190)), "below zero"),
        (lambda: oil_charge(Decimal(1), Decimal(136)), "outside 160 to 280"),
        (
            lambda: oil_charge(Decimal(1), Decimal(190), acid_value=Decimal(191)),
            "does not fit",
        ),
        (
            lambda: oil_charge(Decimal(1), Decimal(190), acid_value=Decimal(-1)),
            "does not fit",
        ),
        (
            lambda: oil_charge(
                Decimal(1), Decimal(190), unsaponifiable_percent=Decimal(100)
            ),
            "Unsaponifiable matter",
        ),
        (lambda: potash_charge(Decimal(1), Decimal("1.01")), "usable share"),
        (lambda: potash_charge(Decimal(1), Decimal(0)), "usable share"),
        (lambda: potash_charge(Decimal(-1), Decimal(1)), "below zero"),
        (lambda: Pot().part(Decimal("1.1")), "share"),
        (lambda: Pot().part(Decimal("-0.1")), "share"),
        (lambda: acid_charge(Pot(), Decimal(-1), Decimal(1)), "below zero"),
    ],
)
def test_what_no_pot_can_have_is_refused(act: object, said: str) -> None:
    assert callable(act)
    with pytest.raises(OutOfRangeError, match=said):
        act()
