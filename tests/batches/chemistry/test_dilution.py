"""Paste into liquid, liquid into bottles."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry.dilution import (
    net_mass,
    soap_content_after,
    water_for_content,
    water_for_ratio,
)
from batches.chemistry.errors import OutOfRangeError

GRAMS = st.integers(1, 10**8).map(lambda mg: Decimal(mg) / 1000)
CONTENTS = st.decimals(min_value=1, max_value=70, places=1)
TINY = Decimal("1e-18")


def test_the_ratio_counts_parts_of_water_to_one_of_paste() -> None:
    assert water_for_ratio(Decimal(1000), Decimal("1.5")) == 1500


@given(GRAMS, GRAMS, CONTENTS)
def test_no_soap_is_lost_in_the_water(
    paste: Decimal, water: Decimal, content: Decimal
) -> None:
    after = soap_content_after(content, paste, water)
    assert abs(after * (paste + water) - content * paste) < Decimal("1e-15")
    assert after < content


@given(GRAMS, CONTENTS, st.decimals(min_value="0.05", max_value=1, places=3))
def test_the_water_for_a_content_brings_it_there(
    paste: Decimal, content: Decimal, share: Decimal
) -> None:
    target = content * share
    water = water_for_content(paste, content, target)
    assert abs(soap_content_after(content, paste, water) - target) < TINY


@pytest.mark.parametrize(("content", "after"), [("36", "14.4"), ("46", "18.4")])
def test_one_to_one_and_a_half_leaves_two_fifths(content: str, after: str) -> None:
    water = water_for_ratio(Decimal(800), Decimal("1.5"))
    assert soap_content_after(Decimal(content), Decimal(800), water) == Decimal(after)


@pytest.mark.parametrize("parts", ["0", "-1.5"])
def test_a_ratio_without_water_is_refused(parts: str) -> None:
    with pytest.raises(OutOfRangeError, match="needs some water"):
        water_for_ratio(Decimal(100), Decimal(parts))


def test_masses_below_zero_are_refused() -> None:
    with pytest.raises(OutOfRangeError, match="Weigh the paste again"):
        water_for_ratio(Decimal(-1), Decimal(1))
    with pytest.raises(OutOfRangeError, match="Weigh both again"):
        soap_content_after(Decimal(40), Decimal(0), Decimal(5))
    with pytest.raises(OutOfRangeError, match="Weigh both again"):
        soap_content_after(Decimal(40), Decimal(5), Decimal(-1))


@pytest.mark.parametrize("content", ["-1", "100.1"])
def test_a_content_no_paste_has_is_refused(content: str) -> None:
    with pytest.raises(OutOfRangeError, match="is not possible"):
        soap_content_after(Decimal(content), Decimal(5), Decimal(5))


@pytest.mark.parametrize(
    ("paste", "content", "target"),
    [(100, 40, 41), (100, 40, 0), (100, 101, 40), (-1, 40, 20)],
)
def test_water_cannot_make_soap(paste: int, content: int, target: int) -> None:
    with pytest.raises(OutOfRangeError, match="Water cannot turn"):
        water_for_content(Decimal(paste), Decimal(content), Decimal(target))


@given(st.integers(0, 10**8))
def test_at_the_density_of_one_a_microlitre_is_a_milligram(volume_ul: int) -> None:
    assert net_mass(volume_ul, Decimal(1)) * 1000 == volume_ul


@pytest.mark.parametrize("density", ["0", "-1.02"])
def test_a_density_is_above_zero(density: str) -> None:
    with pytest.raises(OutOfRangeError, match="divide by 100"):
        net_mass(500_000, Decimal(density))


def test_a_volume_below_zero_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="Measure again"):
        net_mass(-1, Decimal(1))


def test_the_edges_of_what_is_possible_are_possible() -> None:
    none, half, full = Decimal(0), Decimal("0.5"), Decimal(100)
    assert water_for_ratio(none, half) == 0
    assert water_for_ratio(half, half) == Decimal("0.25")
    assert water_for_content(none, full, half) == 0
    assert water_for_content(half, full, full) == 0
    assert soap_content_after(full, half, none) == full
    assert soap_content_after(none, half, half) == 0
    assert soap_content_after(half, half, half) == Decimal("0.25")
    assert net_mass(0, half) == 0


def test_half_a_litre_of_the_density_1_02_weighs_510_grams() -> None:
    assert net_mass(500_000, Decimal("1.02")) == 510
