"""Hardness of water and its six units."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry.errors import ChemistryError, OutOfRangeError
from batches.chemistry.hardness import (
    HIGHEST_HARDNESS,
    HardnessUnit,
    UnknownUnitError,
    convert,
    from_mmol,
    hardness_range,
    to_mmol,
    unit_named,
)

pytestmark = pytest.mark.any_engine

MMOL = st.decimals(min_value=0, max_value=20, places=3)
UNITS = st.sampled_from(HardnessUnit)


@given(MMOL, UNITS)
def test_there_and_back_is_where_one_began(mmol: Decimal, unit: HardnessUnit) -> None:
    back = from_mmol(mmol, unit)
    if mmol < HIGHEST_HARDNESS:
        assert abs(to_mmol(back, unit) - mmol) < Decimal("1e-20")


@given(MMOL.filter(lambda mmol: mmol < 20), UNITS, UNITS)
def test_the_way_through_a_third_unit_is_no_detour(
    mmol: Decimal, one: HardnessUnit, other: HardnessUnit
) -> None:
    straight = from_mmol(mmol, other)
    around = convert(from_mmol(mmol, one), one, other)
    assert abs(straight - around) < Decimal("1e-18")


@given(st.decimals(min_value=0, max_value=10, places=3), UNITS)
def test_twice_as_hard_is_twice_the_number(mmol: Decimal, unit: HardnessUnit) -> None:
    assert abs(from_mmol(2 * mmol, unit) - 2 * from_mmol(mmol, unit)) < Decimal("1e-20")


def test_the_units_are_not_mistaken_for_each_other() -> None:
    one_mmol = {unit: from_mmol(Decimal(1), unit) for unit in HardnessUnit}
    assert sorted(one_mmol, key=lambda unit: one_mmol[unit]) == [
        HardnessUnit.MMOL,
        HardnessUnit.GERMAN,
        HardnessUnit.US_GRAINS,
        HardnessUnit.ENGLISH,
        HardnessUnit.FRENCH,
        HardnessUnit.CARBONATE,
    ]


def test_a_hardness_below_zero_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="Read it again"):
        to_mmol(Decimal("-0.1"), HardnessUnit.GERMAN)


def test_milligrams_typed_as_millimoles_are_refused() -> None:
    with pytest.raises(OutOfRangeError, match="Check the unit"):
        to_mmol(Decimal(250), HardnessUnit.MMOL)
    assert to_mmol(Decimal(250), HardnessUnit.CARBONATE) < 3
    assert to_mmol(Decimal(20), HardnessUnit.MMOL) == 20
    with pytest.raises(OutOfRangeError, match="Check the unit"):
        from_mmol(Decimal("20.01"), HardnessUnit.GERMAN)


@pytest.mark.parametrize("name", ["°dH", " °DH ", "°dh"])
def test_a_unit_is_known_by_its_sign(name: str) -> None:
    assert unit_named(name) is HardnessUnit.GERMAN


@pytest.mark.parametrize("name", ["", "degrees", "ppm", "dH"])
def test_an_unknown_unit_has_an_error_of_its_own(name: str) -> None:
    with pytest.raises(UnknownUnitError, match="Use one of mmol/l"):
        unit_named(name)
    assert issubclass(UnknownUnitError, ChemistryError)


def test_every_unit_says_what_it_means() -> None:
    assert len({unit.meaning for unit in HardnessUnit}) == len(HardnessUnit)


@given(MMOL, MMOL)
def test_harder_water_is_never_called_softer(one: Decimal, other: Decimal) -> None:
    order = ["soft", "medium", "hard"]
    soft, hard = sorted((one, other))
    assert order.index(hardness_range(soft)) <= order.index(hardness_range(hard))


def test_a_hardness_that_no_tap_gives_has_no_range() -> None:
    with pytest.raises(OutOfRangeError):
        hardness_range(Decimal(-1))
