"""From burette to percent."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry import titration
from batches.chemistry.constants import MOLAR_MASS_K2CO3
from batches.chemistry.errors import ChemistryError, OutOfRangeError
from batches.chemistry.titration import EndPointError

pytestmark = pytest.mark.any_engine

KOH = titration.KOH
MASSES = st.decimals(min_value=1, max_value=50, places=2)
TITRANTS = st.decimals(min_value="0.05", max_value=1, places=3)
SMALL = st.decimals(min_value="0.01", max_value=5, places=2)
close = pytest.approx


def amounts(**changes: str) -> dict[str, Any]:
    usual = {"mass_g": "10", "volume_ml": "2", "concentration": "0.1"}
    return {name: Decimal(value) for name, value in {**usual, **changes}.items()}


@given(MASSES, TITRANTS, SMALL)
def test_free_alkali_is_what_was_put_in(
    mass: Decimal, concentration: Decimal, percent: Decimal
) -> None:
    """The inverse pair: grams of KOH in the sample → its acid → its percent."""
    koh_g = mass * percent / 100
    volume = koh_g / KOH * 1000 / concentration
    found = titration.free_alkali(
        mass_g=mass, volume_ml=volume, concentration=concentration
    )
    assert found == close(percent, rel=Decimal("1e-20"))


@given(st.decimals(min_value=180, max_value=270, places=1), TITRANTS, SMALL)
def test_a_saponification_value_is_what_the_oil_took(
    value: Decimal, concentration: Decimal, mass: Decimal
) -> None:
    taken = mass * value / KOH / concentration
    found = titration.saponification_value(
        mass_g=mass,
        volume_ml=taken,
        concentration=concentration,
        blank_ml=2 * taken,
    )
    assert found == close(value, rel=Decimal("1e-20"))


@given(MASSES, TITRANTS, SMALL, SMALL)
def test_hydroxide_and_carbonate_are_what_was_put_in(
    mass: Decimal, concentration: Decimal, hydroxide: Decimal, carbonate: Decimal
) -> None:
    hydroxide_mmol = mass * hydroxide * 10 / KOH
    carbonate_mmol = mass * carbonate * 10 / MOLAR_MASS_K2CO3.value
    first = (hydroxide_mmol + carbonate_mmol) / concentration
    total = (hydroxide_mmol + 2 * carbonate_mmol) / concentration
    found = titration.potash_by_two_indicators(
        mass_g=mass, first_ml=first, total_ml=total, concentration=concentration
    )
    assert found == close((hydroxide, carbonate), rel=Decimal("1e-18"))


@pytest.mark.parametrize("formula", [titration.free_alkali, titration.acid_value])
def test_a_blank_is_taken_off(formula: Callable[..., Decimal]) -> None:
    with_blank = formula(**amounts(volume_ml="2.3", blank_ml="0.3"))
    assert with_blank == formula(**amounts())


@pytest.mark.parametrize("formula", [titration.free_alkali, titration.acid_value])
def test_more_titrant_is_more_and_more_sample_is_less(
    formula: Callable[..., Decimal],
) -> None:
    usual = formula(**amounts())
    assert formula(**amounts(volume_ml="2.1")) > usual
    assert formula(**amounts(mass_g="10.1")) < usual
    assert formula(**amounts(volume_ml="0")) == 0


@pytest.mark.parametrize("formula", [titration.free_alkali, titration.acid_value])
@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"mass_g": "0"}, "Weigh it again"),
        ({"mass_g": "-1"}, "Weigh it again"),
        ({"volume_ml": "-0.1", "blank_ml": "-1"}, "blank is not below zero"),
        ({"blank_ml": "2.1"}, "took more than the sample"),
        ({"concentration": "0"}, "label of the bottle"),
        ({"concentration": "5.1"}, "label of the bottle"),
    ],
)
def test_amounts_no_bench_has_are_refused(
    formula: Callable[..., Decimal], changes: dict[str, str], said: str
) -> None:
    with pytest.raises(OutOfRangeError, match=said):
        formula(**amounts(**changes))


def test_a_volume_below_zero_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="Read the burette again"):
        titration.saponification_value(**amounts(volume_ml="-1", blank_ml="9"))


def test_more_alkali_than_all_is_refused() -> None:
    assert titration.free_alkali(**amounts(mass_g="1", volume_ml="178")) < 100
    with pytest.raises(OutOfRangeError, match="more than all there is"):
        titration.free_alkali(**amounts(mass_g="1", volume_ml="179"))


def test_an_acid_value_no_fat_has_is_refused() -> None:
    assert titration.acid_value(**amounts(mass_g="1", volume_ml="71")) < 400
    with pytest.raises(OutOfRangeError, match="more than any fatty acid"):
        titration.acid_value(**amounts(mass_g="1", volume_ml="72"))


def test_a_swapped_blank_is_noticed() -> None:
    for blank in ("10", "15"):
        with pytest.raises(OutOfRangeError, match="swapped"):
            titration.saponification_value(
                **amounts(volume_ml="15", blank_ml=blank, concentration="0.5")
            )


def test_an_oil_that_took_all_the_potash_may_want_more() -> None:
    with pytest.raises(OutOfRangeError, match="half the sample"):
        titration.saponification_value(
            **amounts(mass_g="3.7", volume_ml="0", blank_ml="25", concentration="0.5")
        )


def test_a_saponification_value_no_oil_has_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="outside 160 to 280"):
        titration.saponification_value(
            **amounts(mass_g="15", volume_ml="15", blank_ml="25", concentration="0.5")
        )


def test_total_alkali_is_acid_put_in_less_alkali_put_back() -> None:
    back = {"back_ml": Decimal(4), "back_concentration": Decimal("0.5")}
    found = titration.total_alkali(
        mass_g=Decimal(5),
        acid_ml=Decimal(12),
        acid_concentration=Decimal(1),
        **back,
    )
    # 12 − 2 = 10 mmol in 5 g
    assert found == close(10 * KOH / 5 / 10)


def test_more_alkali_put_back_than_acid_put_in_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="titrated back"):
        titration.total_alkali(
            mass_g=Decimal(5),
            acid_ml=Decimal(5),
            acid_concentration=Decimal("0.1"),
            back_ml=Decimal(6),
            back_concentration=Decimal("0.1"),
        )


def test_the_first_end_point_comes_after_half_of_the_acid() -> None:
    def lye(first: str, total: str) -> tuple[Decimal, Decimal]:
        return titration.hydroxide_and_carbonate(
            first_ml=Decimal(first),
            total_ml=Decimal(total),
            concentration=Decimal(1),
        )

    assert lye("10", "10") == (Decimal(10), Decimal(0))
    assert lye("10.1", "20") == (Decimal("0.2"), Decimal("9.9"))
    for total in ("20", "25"):
        with pytest.raises(EndPointError, match="in soap this method is not valid"):
            lye("10", total)
    with pytest.raises(EndPointError, match="add both"):
        lye("10", "9.9")
    assert issubclass(EndPointError, ChemistryError)


def test_potash_of_more_than_all_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="Hydroxide and carbonate together"):
        titration.potash_by_two_indicators(
            mass_g=Decimal(1),
            first_ml=Decimal(18),
            total_ml=Decimal("18.1"),
            concentration=Decimal(1),
        )


def test_alcoholic_titrant_is_more_by_volume_when_warm() -> None:
    def at(degrees: str) -> Decimal:
        return titration.volume_at_standard_temperature(
            Decimal(100),
            temperature=Decimal(degrees),
            standard_temperature=Decimal(20),
        )

    assert at("20") == 100
    assert at("21") == Decimal("99.89")
    assert at("15") == Decimal("100.55")


@pytest.mark.parametrize(("now", "then"), [("4.9", "20"), ("40.1", "20"), ("20", "41")])
def test_a_temperature_outside_the_correction_is_refused(now: str, then: str) -> None:
    with pytest.raises(OutOfRangeError, match="outside 5 to 40 °C"):
        titration.volume_at_standard_temperature(
            Decimal(10), temperature=Decimal(now), standard_temperature=Decimal(then)
        )


def test_free_fatty_acid_refuses_what_is_none() -> None:
    for value, molar_mass in ((-1, 282), (1, 0)):
        with pytest.raises(OutOfRangeError, match="Check both"):
            titration.free_fatty_acid_percent(Decimal(value), Decimal(molar_mass))
    assert titration.free_fatty_acid_percent(Decimal(0), Decimal(282)) == 0
