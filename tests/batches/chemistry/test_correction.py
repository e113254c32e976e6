"""Corrections: enough to come near, never past; and not when nothing is known."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from batches.chemistry.acids import (
    CITRIC_ANHYDROUS,
    CITRIC_MONOHYDRATE,
    koh_per_gram,
)
from batches.chemistry.correction import (
    DOSE_WITHIN,
    InsideUncertaintyError,
    ScaleTooCoarseError,
    WrongMeansError,
    brings_potash,
    check_scale,
    dose_for,
    excess_left,
    net_uncertainty,
    smallest_net_mass,
    soap_split,
    takes_up_oil,
)
from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.outcome import Pot, acid_charge, oil_charge, react

pytestmark = pytest.mark.any_engine

GRAMS = st.integers(1, 10**6).map(lambda mg: Decimal(mg) / 1000)
SHARES = st.integers(1, 1000).map(lambda n: Decimal(n) / 1000)
VALUES = st.integers(16_000, 28_000).map(lambda n: Decimal(n) / 100)
NONE = Decimal(0)


@given(GRAMS, VALUES)
def test_the_whole_dose_of_oil_brings_the_excess_back_to_zero(
    excess: Decimal, value: Decimal
) -> None:
    figure = takes_up_oil(value)
    dose = dose_for(
        excess_g=excess,
        expanded_uncertainty_g=NONE,
        koh_per_gram=figure,
        share=Decimal(1),
    )
    assert abs(dose.leaves_g) < Decimal("1e-20")
    # and the pot agrees: nothing is left free, nothing unsaponified
    pot = react(Pot(koh=excess) + oil_charge(dose.mass_g, value))
    assert abs(pot.koh) + abs(pot.need) < Decimal("1e-8")


@given(GRAMS, st.sampled_from([CITRIC_ANHYDROUS, CITRIC_MONOHYDRATE]))
def test_the_whole_dose_of_acid_brings_the_excess_back_to_zero(
    excess: Decimal, acid: str
) -> None:
    figure = koh_per_gram(acid)
    dose = dose_for(
        excess_g=excess,
        expanded_uncertainty_g=NONE,
        koh_per_gram=figure,
        share=Decimal(1),
    )
    pot = acid_charge(Pot(koh=excess + 1), dose.mass_g, figure)
    assert abs(pot.koh - 1) < Decimal("1e-8")


@given(GRAMS, SHARES)
def test_the_whole_dose_of_potash_makes_up_what_is_lacking(
    lacking: Decimal, usable: Decimal
) -> None:
    dose = dose_for(
        excess_g=-lacking,
        expanded_uncertainty_g=NONE,
        koh_per_gram=brings_potash(usable),
        share=Decimal(1),
    )
    assert dose.mass_g > 0
    assert dose.mass_g * usable == pytest.approx(lacking)
    assert abs(dose.leaves_g) < Decimal("1e-20")


@given(GRAMS, SHARES, VALUES)
def test_a_share_leaves_its_part_and_never_overshoots(
    excess: Decimal, share: Decimal, value: Decimal
) -> None:
    dose = dose_for(
        excess_g=excess,
        expanded_uncertainty_g=NONE,
        koh_per_gram=takes_up_oil(value),
        share=share,
    )
    assert dose.leaves_g == pytest.approx(excess * (1 - share), abs=Decimal("1e-12"))
    assert dose.leaves_g > -Decimal("1e-15")


@given(GRAMS, GRAMS, VALUES)
def test_more_excess_takes_more(one: Decimal, more: Decimal, value: Decimal) -> None:
    doses = [
        dose_for(
            excess_g=excess,
            expanded_uncertainty_g=NONE,
            koh_per_gram=takes_up_oil(value),
        ).mass_g
        for excess in (one, one + more)
    ]
    assert doses[0] < doses[1]


@given(st.integers(-(10**5), 10**5), st.integers(0, 10**5))
def test_inside_its_own_uncertainty_nothing_is_dosed(excess: int, wide: int) -> None:
    figure = Decimal(1) if excess > 0 else Decimal(-1)

    def dose() -> Decimal:
        return dose_for(
            excess_g=Decimal(excess),
            expanded_uncertainty_g=Decimal(wide),
            koh_per_gram=figure,
        ).mass_g

    if abs(excess) <= wide:
        with pytest.raises(InsideUncertaintyError, match="Measure first"):
            dose()
    else:
        assert dose() > 0


def test_the_wrong_means_is_refused_in_words_of_what_is_wrong() -> None:
    for excess, figure, said in (
        (3, -1, "too much alkali"),
        (-3, 1, "Alkali is lacking"),
    ):
        with pytest.raises(WrongMeansError, match=said):
            dose_for(
                excess_g=Decimal(excess),
                expanded_uncertainty_g=NONE,
                koh_per_gram=Decimal(figure),
            )


@given(GRAMS, SHARES, SHARES)
def test_a_dose_is_at_risk_where_the_excess_may_be_smaller_than_it(
    excess: Decimal, doubt: Decimal, share: Decimal
) -> None:
    assume(doubt < 1)
    dose = dose_for(
        excess_g=excess,
        expanded_uncertainty_g=excess * doubt,
        koh_per_gram=Decimal(1),
        share=share,
    )
    smallest = excess * (1 - doubt)
    assert dose.at_risk_g == pytest.approx(dose.mass_g - smallest, abs=Decimal("1e-15"))


def test_acid_beyond_the_excess_splits_its_part_of_the_soap() -> None:
    pot = react(oil_charge(Decimal(1000), Decimal(190)) + Pot(koh=Decimal(193)))
    dose = dose_for(
        excess_g=pot.koh,
        expanded_uncertainty_g=Decimal(2),
        koh_per_gram=koh_per_gram(CITRIC_ANHYDROUS),
    )
    split = soap_split(dose.at_risk_g, pot.soap, pot.bound)
    assert dose.at_risk_g == pytest.approx(Decimal("1.7"))
    assert split == pytest.approx(pot.soap * Decimal("1.7") / 190)
    assert soap_split(Decimal(-1), pot.soap, pot.bound) == 0
    assert soap_split(Decimal(9999), pot.soap, pot.bound) == pot.soap
    with pytest.raises(OutOfRangeError, match="no soap"):
        soap_split(Decimal(1), NONE, NONE)


@given(
    st.integers(1, 10**4).map(lambda n: Decimal(n) / 100),
    st.integers(0, 10**4).map(lambda n: Decimal(n) / 100),
)
def test_a_dose_that_may_be_weighed_cannot_pass_the_mark_because_of_the_scale(
    step: Decimal, half_width: Decimal
) -> None:
    least = smallest_net_mass(net_uncertainty(step, half_width), DOSE_WITHIN)
    assert check_scale(least, step, half_width) == least
    with pytest.raises(ScaleTooCoarseError, match="finer scale"):
        check_scale(least * Decimal("0.999"), step, half_width)
    farthest = least + 2 * net_uncertainty(step, half_width)
    assert farthest * Decimal("0.9") < least  # nine tenths with the scale at its worst


def test_a_kitchen_scale_cannot_weigh_three_grams_of_acid() -> None:
    """Requirement C29: a 1 g scale for 3 g of citric acid is unfit."""
    dose = Decimal(3) * Decimal("0.9") / koh_per_gram(CITRIC_ANHYDROUS)
    with pytest.raises(ScaleTooCoarseError, match=r"cannot weigh 3\.1 g"):
        check_scale(dose, Decimal(1), NONE)
    assert check_scale(dose, Decimal("0.1"), NONE) < dose


@given(st.integers(1, 10**4).map(lambda n: Decimal(n) / 100))
def test_one_percent_takes_a_hundred_times_the_expanded_uncertainty(u: Decimal) -> None:
    assert smallest_net_mass(u) == 100 * 2 * u


@pytest.mark.parametrize(
    ("act", "said"),
    [
        (
            lambda: dose_for(
                excess_g=Decimal(3),
                expanded_uncertainty_g=NONE,
                koh_per_gram=Decimal(1),
                share=Decimal("1.01"),
            ),
            "101.* is not possible",
        ),
        (
            lambda: dose_for(
                excess_g=Decimal(3),
                expanded_uncertainty_g=NONE,
                koh_per_gram=Decimal(1),
                share=NONE,
            ),
            "not possible",
        ),
        (
            lambda: dose_for(
                excess_g=Decimal(3),
                expanded_uncertainty_g=Decimal(-1),
                koh_per_gram=Decimal(1),
            ),
            "uncertainty is not below zero",
        ),
        (
            lambda: dose_for(
                excess_g=Decimal(3), expanded_uncertainty_g=NONE, koh_per_gram=NONE
            ),
            "neither takes up",
        ),
        (lambda: takes_up_oil(Decimal(136)), "outside 160 to 280"),
        (lambda: brings_potash(Decimal("1.1")), "usable share"),
        (lambda: brings_potash(NONE), "usable share"),
        (lambda: excess_left(NONE, Decimal(-1), NONE), "below zero"),
        (lambda: net_uncertainty(NONE, NONE), "step above zero"),
        (lambda: net_uncertainty(Decimal(1), Decimal(-1)), "step above zero"),
        (lambda: smallest_net_mass(Decimal(1), NONE), "above zero"),
    ],
)
def test_what_cannot_be_is_refused(act: object, said: str) -> None:
    assert callable(act)
    with pytest.raises(OutOfRangeError, match=said):
        act()
