"""Molar masses against a general chemistry library."""

from __future__ import annotations

from decimal import Decimal

import periodictable
import pytest

from batches.chemistry import constants


@pytest.mark.parametrize(
    ("constant", "formula"),
    [
        (constants.ATOMIC_WEIGHT_H, "H"),
        (constants.ATOMIC_WEIGHT_C, "C"),
        (constants.ATOMIC_WEIGHT_O, "O"),
        (constants.ATOMIC_WEIGHT_K, "K"),
        (constants.MOLAR_MASS_KOH, "KOH"),
        (constants.MOLAR_MASS_K2CO3, "K2CO3"),
    ],
)
def test_molar_masses_are_those_of_the_library(
    constant: constants.Constant, formula: str
) -> None:
    assert float(constant.value) == pytest.approx(
        periodictable.formula(formula).mass, rel=1e-9
    )
    assert constant.unit == "g/mol"


def test_half_widths_of_a_formula_add_up() -> None:
    assert constants.MOLAR_MASS_K2CO3.half_width == Decimal("0.0052")


def test_the_convention_of_the_standards_for_fats_lies_within_one_in_ten_thousand() -> (
    None
):
    difference = abs(constants.MOLAR_MASS_KOH.value - Decimal("56.1"))
    assert difference / Decimal("56.1") < Decimal("0.0001")


def test_every_constant_names_source_and_edition() -> None:
    found = [v for v in vars(constants).values() if isinstance(v, constants.Constant)]
    assert len(found) == 6
    assert all(constant.source and constant.edition for constant in found)
