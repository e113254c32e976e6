"""Paste into liquid, liquid into bottles."""

from __future__ import annotations

import itertools
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry.dilution import (
    CONTENTS_BANDS,
    band_question,
    contents_band,
    diluted_content,
    net_mass,
    soap_content_after,
    water_for_content,
    water_for_ratio,
    water_to_drive_off,
)
from batches.chemistry.errors import OutOfRangeError
from quality.statistics.budgets import budget, normal

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


SHARES = st.decimals(min_value="0.05", max_value=1, places=3)


@given(GRAMS, CONTENTS, SHARES)
def test_what_was_diluted_is_concentrated_by_driving_the_same_water_off(
    paste: Decimal, content: Decimal, share: Decimal
) -> None:
    target = content * share
    water = water_for_content(paste, content, target)
    off = water_to_drive_off(paste + water, target, content)
    assert abs(off - water) <= paste * Decimal("1e-20")


@given(GRAMS, CONTENTS, SHARES, SHARES)
def test_a_thinner_target_takes_more_water(
    paste: Decimal, content: Decimal, one: Decimal, other: Decimal
) -> None:
    thin, thick = sorted((one, other))
    assert water_for_content(paste, content, content * thin) >= water_for_content(
        paste, content, content * thick
    )


@given(GRAMS, GRAMS, CONTENTS, st.integers(2, 1000))
def test_kilograms_give_the_same_content_as_grams(
    paste: Decimal, water: Decimal, content: Decimal, factor: int
) -> None:
    scaled = soap_content_after(content, paste * factor, water * factor)
    assert abs(scaled - soap_content_after(content, paste, water)) < TINY


@pytest.mark.parametrize(
    ("mass", "content", "target"),
    [(-1, 20, 40), (100, 40, 20), (100, 40, 101), (100, 0, 20)],
)
def test_boiling_makes_no_thinner_paste(mass: int, content: int, target: int) -> None:
    with pytest.raises(OutOfRangeError, match="Evaporation cannot turn"):
        water_to_drive_off(Decimal(mass), Decimal(content), Decimal(target))


def test_the_uncertainty_of_the_paste_thins_out_with_it() -> None:
    # 36 ± 1 %, 100 g and 150 g exactly: 14.4 ± 0.4 %, whatever the engine.
    result = budget(
        diluted_content,
        [
            normal("content", 36.0, 1.0),
            normal("paste", 100.0, 0.0),
            normal("water", 150.0, 0.0),
        ],
    )
    assert result.value == pytest.approx(14.4)
    assert result.standard_uncertainty == pytest.approx(0.4)


def test_the_bands_leave_no_gap() -> None:
    edges = [(band.lower, band.upper) for band in CONTENTS_BANDS]
    assert edges[0][0] == 0
    assert all(one[1] == other[0] for one, other in itertools.pairwise(edges))


@given(st.decimals(min_value=0, max_value=100, places=2))
def test_every_content_is_in_one_band(content: Decimal) -> None:
    band = contents_band(content)
    assert band.lower <= content < band.upper
    assert sum(b.lower <= content < b.upper for b in CONTENTS_BANDS) == 1


@pytest.mark.parametrize("content", ["-0.01", "100.01"])
def test_a_content_that_cannot_be_has_no_band(content: str) -> None:
    with pytest.raises(OutOfRangeError, match="is not possible"):
        contents_band(Decimal(content))
    with pytest.raises(OutOfRangeError, match="is not possible"):
        band_question(Decimal(content), Decimal(1))


@pytest.mark.parametrize(
    ("content", "expanded"),
    [
        ("14.4", "0.6"),  # 15.0 itself belongs to the next class
        ("14.4", "0.9"),
        ("15", "0.01"),
        ("29.99", "0.01"),
    ],
)
def test_the_maker_is_asked_when_an_edge_is_within_reach(
    content: str, expanded: str
) -> None:
    assert "which of them" in band_question(Decimal(content), Decimal(expanded))


@pytest.mark.parametrize(
    ("content", "expanded"),
    [
        ("14.4", "0.5"),
        ("15", "0"),
        ("4.9", "0.05"),
        ("0.3", "0.5"),  # below nothing there is no class
        ("99.9", "0.5"),
    ],
)
def test_nobody_is_asked_when_no_edge_is_within_reach(
    content: str, expanded: str
) -> None:
    assert band_question(Decimal(content), Decimal(expanded)) == ""


def test_the_question_names_every_class_within_reach() -> None:
    words = band_question(Decimal(10), Decimal("5.2"))
    assert [band.wording in words for band in CONTENTS_BANDS] == [
        True,
        True,
        True,
        False,
    ]


def test_what_the_content_may_be_besides_is_asked_about_too() -> None:
    content, expanded = Decimal("15.2"), Decimal("0.1")
    assert band_question(content, expanded) == ""
    assert band_question(content, expanded, lowest_percent=Decimal("15.01")) == ""
    words = band_question(content, expanded, lowest_percent=Decimal("14.9"))
    assert "between 14.9 and 15.3 %" in words


def test_a_refused_content_is_said_in_few_digits() -> None:
    with pytest.raises(OutOfRangeError, match=r"turn 28\.21 % of soap into 99 %"):
        water_for_content(Decimal(1), Decimal("28.2135986"), Decimal(99))


def test_an_uncertainty_with_a_sign_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="without a sign"):
        band_question(Decimal(10), Decimal(-1))
