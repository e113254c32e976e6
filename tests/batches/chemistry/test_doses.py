"""Spray tanks and wash doses, and the soap that hard water takes."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry.doses import (
    MOLAR_MASS_POTASSIUM_OLEATE,
    Dose,
    soap_lost_to_hardness,
    soap_molar_mass,
    spray_rate_words,
    spray_tank,
    wash_dose,
)
from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.outcome import oil_charge, potash_charge, react

pytestmark = pytest.mark.any_engine

MMOL = st.decimals(min_value=0, max_value=10, places=2)
LITRES = st.decimals(min_value=1, max_value=1000, places=1)
CONTENTS = st.decimals(min_value=20, max_value=60, places=1)
RATES = st.decimals(min_value=1, max_value=20, places=1)
VALUES = st.decimals(min_value=160, max_value=280, places=1)


@given(MMOL, LITRES)
def test_twice_the_water_loses_twice_the_soap(mmol: Decimal, litres: Decimal) -> None:
    once = soap_lost_to_hardness(hardness_mmol_l=mmol, litres=litres)
    assert soap_lost_to_hardness(hardness_mmol_l=mmol, litres=2 * litres) == 2 * once
    assert soap_lost_to_hardness(hardness_mmol_l=2 * mmol, litres=litres) == 2 * once


@given(RATES, LITRES, CONTENTS, MMOL)
def test_the_soap_in_the_paste_is_what_works_and_what_is_lost(
    rate: Decimal, litres: Decimal, content: Decimal, mmol: Decimal
) -> None:
    tank = spray_tank(
        litres=litres,
        target_g_per_l=rate,
        content_percent=content,
        hardness_mmol_l=mmol,
    )
    soap = tank.paste_g * content / 100
    assert abs(soap - rate * litres - tank.dose.lost_g) < Decimal("1e-15")
    assert tank.paste_g + tank.water_g == litres * 1000
    assert tank.water_g > 0


@given(RATES, LITRES, CONTENTS, MMOL, MMOL)
def test_harder_water_never_takes_less_paste(
    rate: Decimal, litres: Decimal, content: Decimal, one: Decimal, other: Decimal
) -> None:
    soft, hard = (
        spray_tank(
            litres=litres,
            target_g_per_l=rate,
            content_percent=content,
            hardness_mmol_l=mmol,
        ).paste_g
        for mmol in sorted((one, other))
    )
    assert soft <= hard


def molar_mass(value: Decimal, grams: Decimal = Decimal(1000)) -> Decimal:
    """Return that of the soap of a neutral fat of this saponification value."""
    need = potash_charge(grams * value / 1000, Decimal(1))
    made = react(oil_charge(grams, value) + need)
    return soap_molar_mass(made.soap, made.bound)


@given(VALUES, VALUES)
def test_short_fats_make_light_soap(one: Decimal, other: Decimal) -> None:
    low, high = sorted((one, other))
    assert molar_mass(low) >= molar_mass(high)


@given(VALUES)
def test_soap_and_glycerol_weigh_what_fat_and_potash_weighed(value: Decimal) -> None:
    # One mole of KOH: fat + KOH = soap + a third of glycerol, 92.094 g/mol.
    fat = 1000 * Decimal("56.1053") / value
    made = molar_mass(value) + Decimal("92.094") / 3
    assert abs(fat + Decimal("56.1053") - made) < Decimal("1e-3")


@given(VALUES, st.integers(2, 50))
def test_a_larger_pot_makes_no_other_soap(value: Decimal, factor: int) -> None:
    larger = molar_mass(value, Decimal(1000 * factor))
    assert abs(larger - molar_mass(value)) < Decimal("1e-5")


@pytest.mark.parametrize("value", ["160", "280"])
def test_the_soap_of_every_fat_that_may_be_is_known(value: str) -> None:
    assert 200 < molar_mass(Decimal(value)) < 380


@pytest.mark.parametrize(("soap", "koh"), [(0, 1), (1, 0), (-1, 1)])
def test_without_soap_there_is_nothing_to_dose(soap: int, koh: int) -> None:
    with pytest.raises(OutOfRangeError, match="no soap in it"):
        soap_molar_mass(Decimal(soap), Decimal(koh))


@pytest.mark.parametrize(("soap", "koh"), [(1000, 140), (1000, 375)])
def test_soap_of_no_fat_has_no_molar_mass(soap: int, koh: int) -> None:
    with pytest.raises(OutOfRangeError, match="outside 150 to 400"):
        soap_molar_mass(Decimal(soap), Decimal(koh))


def test_the_stand_in_lies_where_common_oils_do() -> None:
    oleate = MOLAR_MASS_POTASSIUM_OLEATE
    assert abs(oleate.value - Decimal("320.56")) < Decimal("0.005")
    assert oleate.half_width < Decimal("0.1")


LOST = {"hardness_mmol_l": Decimal(2), "litres": Decimal(10)}


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"litres": Decimal(-1)}, "Measure the water"),
        ({"hardness_mmol_l": Decimal(-1)}, "below zero"),
        ({"hardness_mmol_l": Decimal(21)}, "Check the unit"),
        ({"molar_mass": Decimal(0)}, "Check the oils"),
    ],
)
def test_a_loss_that_cannot_be_is_refused(
    change: dict[str, Decimal], says: str
) -> None:
    soap_lost_to_hardness(**LOST)  # control
    with pytest.raises(OutOfRangeError, match=says):
        soap_lost_to_hardness(**{**LOST, **change})


TANK = {
    "litres": Decimal(10),
    "target_g_per_l": Decimal(8),
    "content_percent": Decimal(40),
    "hardness_mmol_l": Decimal(2),
}


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"litres": Decimal(0)}, "Write its litres"),
        ({"target_g_per_l": Decimal(0)}, "1 % is 10 g/l"),
        ({"target_g_per_l": Decimal("30.1")}, "harms plants"),
        ({"content_percent": Decimal(0)}, "is not possible"),
        ({"content_percent": Decimal(101)}, "is not possible"),
        ({"content_percent": Decimal("0.9")}, "too thin"),
    ],
)
def test_a_tank_that_cannot_be_is_refused(
    change: dict[str, Decimal], says: str
) -> None:
    spray_tank(**TANK)  # control
    spray_tank(**{**TANK, "target_g_per_l": Decimal(30)})
    with pytest.raises(OutOfRangeError, match=says):
        spray_tank(**{**TANK, **change})


def test_the_words_about_a_rate_grow_graver() -> None:
    words = [spray_rate_words(Decimal(rate)) for rate in ("4.9", "5", "9.9", "10")]
    assert words[1] == words[2]
    assert len(set(words)) == 3
    assert "can kill plants" in words[3]


LOAD = {
    "base_soap_g": Decimal(20),
    "litres": Decimal(15),
    "content_percent": Decimal(20),
    "hardness_mmol_l": Decimal(0),
}


def test_soft_water_takes_the_base_alone() -> None:
    dose = wash_dose(**LOAD)
    assert dose.product_g == 100
    assert dose.lost_g == 0
    assert dose.product_ml(Decimal("1.25")) == 80


def test_hard_water_adds_the_soap_it_throws_out() -> None:
    hard = wash_dose(**{**LOAD, "hardness_mmol_l": Decimal("3.5")})
    assert hard.product_g - 100 == hard.lost_g * 5
    assert hard.product_g - 100 > 100  # more than the washing itself takes


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"base_soap_g": Decimal(0)}, "needs some soap"),
        ({"litres": Decimal(0)}, "needs water"),
        ({"content_percent": Decimal(0)}, "is not possible"),
    ],
)
def test_a_load_that_cannot_be_is_refused(
    change: dict[str, Decimal], says: str
) -> None:
    with pytest.raises(OutOfRangeError, match=says):
        wash_dose(**{**LOAD, **change})


def test_a_density_is_above_zero() -> None:
    dose = Dose(working_g=Decimal(1), lost_g=Decimal(0), product_g=Decimal(5))
    with pytest.raises(OutOfRangeError, match="divide by 100"):
        dose.product_ml(Decimal(0))
