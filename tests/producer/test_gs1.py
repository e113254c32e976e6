"""GS1 keys against an encoder that is not ours, and a published example."""

from __future__ import annotations

import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st

from producer import gs1

PREFIX = "4012345"
# README of the translator between EPC and Digital Link addresses by a co-author of the
# EPCIS standard (RalphTro/gs1-epc-digitallink-translator): urn:epc:id:sgtin:
# 4012345.011111.987 is https://id.gs1.org/01/04012345111118/21/987.
PUBLISHED = "04012345111118"
digits = st.text("0123456789", min_size=12, max_size=12)


def is_taken(number: str) -> bool:
    try:
        zxingcpp.create_barcode(number, zxingcpp.BarcodeFormat.EAN13)
    except ValueError:
        return False
    return True


@given(digits)
def test_of_ten_last_digits_an_encoder_takes_ours_alone(begun: str) -> None:
    taken = [last for last in "0123456789" if is_taken(begun + last)]
    assert taken == [gs1.check_digit(begun)]


def test_the_published_number_is_taken_in_each_way_of_writing_it() -> None:
    for typed in (PUBLISHED, "4012345111118", " 4012345 11111 8", "4012345-111118"):
        assert gs1.item_number(typed, PREFIX) == PUBLISHED


@given(digits, st.integers(0, 12), st.integers(1, 9))
def test_one_mistyped_digit_is_found(begun: str, place: int, more: int) -> None:
    right = begun + gs1.check_digit(begun)
    wrong = str((int(right[place]) + more) % 10)
    mistyped = right[:place] + wrong + right[place + 1 :]
    with pytest.raises(gs1.NotAKey, match="one is mistyped"):
        gs1.item_number(mistyped, mistyped[:4])


@pytest.mark.parametrize(
    ("typed", "prefix", "why"),
    [
        ("4012345111118", "", "Without a company prefix"),
        ("4012345111118", "4012346", "not begin with your company prefix"),
        ("96385074", "0000", "12, 13 or 14"),
        ("40123451111", PREFIX, "12, 13 or 14"),
        ("", PREFIX, "12, 13 or 14"),
        ("401234511111x", PREFIX, "digits only"),
        ("٤٠١٢٣٤٥١١١١١٨", PREFIX, "digits only"),
    ],
)
def test_what_is_no_number_of_the_maker_says_why(
    typed: str, prefix: str, why: str
) -> None:
    with pytest.raises(gs1.NotAKey, match=why):
        gs1.item_number(typed, prefix)


def test_the_number_of_a_case_is_none_of_a_bottle() -> None:
    with pytest.raises(gs1.NotAKey, match="number of a case"):
        gs1.item_number("14012345111115", PREFIX)


@pytest.mark.parametrize("typed", ["123", "1234567890123", "40 12a"])
def test_a_prefix_has_four_to_twelve_digits(typed: str) -> None:
    with pytest.raises(gs1.NotAKey):
        gs1.prefix_of(typed)


def test_a_location_has_thirteen_digits_of_the_same_prefix() -> None:
    assert gs1.location_number("4012345 00000 9", PREFIX) == "4012345000009"
    for typed in ("401234500000", "4012345000008", "4012346000008"):
        with pytest.raises(gs1.NotAKey):
            gs1.location_number(typed, PREFIX)
