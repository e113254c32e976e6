"""A result with its uncertainty, with no more digits than are known."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from producer.quantities import MINUS
from quality.statistics.errors import InputError
from quality.statistics.rounding import Rounded, as_decimal, rounded, rounded_up

pytestmark = pytest.mark.any_engine

NUMBERS = st.decimals(min_value="-1e6", max_value="1e6", places=6)
WIDTHS = st.decimals(min_value="1e-6", max_value="1e6", places=6)


@pytest.mark.parametrize(
    ("value", "uncertainty", "text"),
    [
        ("0.8137", "1.4512", "0.8 ± 1.5"),
        ("100.0", "0.204", "100.00 ± 0.21"),  # closing zeros say what is known
        ("1.5", "0.5", "1.50 ± 0.50"),
        ("12.34", "9.96", "12 ± 10"),  # three digits would be one too many
        ("0.05", "0.0991", "0.05 ± 0.10"),
        ("1234.5", "123.4", "1230 ± 130"),
        ("98765", "1200", "98\u202f800 ± 1200"),
        ("-2.345", "0.031", f"{MINUS}2.345 ± 0.031"),
        ("-0.04", "1.2", "0.0 ± 1.2"),
        ("7.25", "0", "7.25"),
    ],
)
def test_value_and_uncertainty_end_at_the_same_place(
    value: str, uncertainty: str, text: str
) -> None:
    assert rounded(Decimal(value), Decimal(uncertainty)).text() == text


def test_a_half_of_the_value_goes_to_the_even_neighbour() -> None:
    u = Decimal("0.20")
    found = [rounded(Decimal(x), u).value for x in ("1.225", "1.235", "-1.225")]
    assert [str(value) for value in found] == ["1.22", "1.24", "-1.22"]


def test_the_mark_is_the_one_asked_for() -> None:
    assert Rounded(Decimal("1.50"), Decimal("0.20")).text(mark=",") == "1,50 ± 0,20"


def test_noise_of_floats_does_not_round_up() -> None:
    assert rounded(1.0, 0.1 + 0.2).text() == "1.00 ± 0.30"
    assert rounded(0.1 + 0.2, 0.0).text() == "0.3"
    assert as_decimal(Decimal("0.30000000000000004")) != as_decimal(0.1 + 0.2)


@given(NUMBERS, WIDTHS)
def test_rounding_never_promises_more_than_was_found(
    value: Decimal, uncertainty: Decimal
) -> None:
    found = rounded(value, uncertainty)
    assert uncertainty <= found.uncertainty <= uncertainty * Decimal("1.1")
    assert found.uncertainty.adjusted() - 1 == found.uncertainty.as_tuple().exponent
    assert found.value.as_tuple().exponent == found.uncertainty.as_tuple().exponent
    last_place = Decimal(1).scaleb(found.uncertainty.adjusted() - 1)
    assert abs(found.value - value) <= last_place / 2


@given(WIDTHS)
def test_rounding_up_twice_changes_nothing_more(uncertainty: Decimal) -> None:
    once = rounded_up(uncertainty)
    assert rounded_up(once) == once


def test_other_numbers_of_digits_can_be_asked_for() -> None:
    assert rounded_up(Decimal("0.12345"), digits=1) == Decimal("0.2")
    assert rounded_up(Decimal("0.12345"), digits=3) == Decimal("0.124")


@pytest.mark.parametrize("bad", [math.nan, math.inf, Decimal("NaN")])
def test_what_is_no_number_is_refused(bad: float | Decimal) -> None:
    with pytest.raises(InputError, match="no number"):
        rounded(bad, 1.0)
    with pytest.raises(InputError, match="no number"):
        rounded(1.0, bad)


def test_an_uncertainty_below_zero_is_refused() -> None:
    with pytest.raises(InputError, match="not below zero"):
        rounded(1.0, -0.1)
