"""Amounts of money: typed with comma or point, shown with their currency."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from producer.money import MOST, format_money, parse_money
from producer.quantities import AmbiguousNumber, QuantityError

pytestmark = pytest.mark.any_engine


@pytest.mark.parametrize(
    ("typed", "hundredths"),
    [("12", 1200), ("12,5", 1250), ("0.05", 5), ("1.250,75", 125_075), ("0", 0)],
)
def test_an_amount_is_read_as_it_is_written(typed: str, hundredths: int) -> None:
    assert parse_money(typed) == hundredths


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("-1", "not below zero"),
        ("1.005,001", "more than two decimals"),
        ("twelve", "is not one number"),
        ("99999999999", "more than a premises pays"),
    ],
)
def test_what_is_no_amount_is_refused(typed: str, says: str) -> None:
    with pytest.raises(QuantityError, match=says):
        parse_money(typed)


def test_what_reads_in_two_ways_is_asked_about() -> None:
    with pytest.raises(AmbiguousNumber):
        parse_money("1,250")


@given(st.integers(0, MOST), st.sampled_from([".", ","]))
def test_what_is_shown_is_read_back_as_the_same(amount: int, mark: str) -> None:
    assert parse_money(format_money(amount, mark=mark)) == amount
