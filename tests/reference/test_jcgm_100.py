"""JCGM 100:2008 (GUM), and EURACHEM/CITAC QUAM, example A2, which applies it.

Flags: GUM clauses read in a secondary file of worked checks; QUAM A2 read at
measurementuncertainty.org/guide/app_a_example2.html.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from quality.statistics.uncertainty import (
    combine,
    expanded,
    from_half_width_rectangular,
    from_resolution,
)


@pytest.mark.parametrize(
    ("step", "uncertainty"),
    [("0.01", "0.0028868"), ("1", "0.288675"), ("0.1", "0.0288675")],
)
def test_resolution_gum_f_2_2_1(step: str, uncertainty: str) -> None:
    expected = Decimal(uncertainty)
    assert from_resolution(Decimal(step)).quantize(expected) == expected


def test_rectangular_distribution_gum_4_3_7() -> None:
    # The published range of coconut oil, 248–265 mg/g, as a rectangle.
    assert from_half_width_rectangular(Decimal("8.5")).quantize(
        Decimal("0.001")
    ) == Decimal("4.907")


def test_independent_parts_gum_5_1_2_and_its_example_in_5_2_2() -> None:
    assert combine(Decimal(3), Decimal(4)) == 5


def test_three_sources_of_the_length_difference_gum_h_1() -> None:
    combined_nm = combine(Decimal("5.8"), Decimal("3.9"), Decimal("6.7"))
    assert combined_nm.quantize(Decimal("0.1")) == Decimal("9.7")


def test_standardising_sodium_hydroxide_quam_a2() -> None:
    relative = combine(
        Decimal("0.0005"),
        Decimal("0.00013") / Decimal("0.3888"),
        Decimal("0.00029"),
        Decimal("0.0038") / Decimal("204.2212"),
        Decimal("0.013") / Decimal("18.64"),
    )
    assert relative.quantize(Decimal("0.00001")) == Decimal("0.00097")
    concentration = Decimal("0.10214")
    assert (concentration * relative).quantize(Decimal("0.00001")) == Decimal("0.00010")
    assert expanded(concentration * relative).quantize(Decimal("0.0001")) == Decimal(
        "0.0002"
    )
