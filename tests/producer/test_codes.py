"""A code that was misread is recognised as wrong."""

from __future__ import annotations

import inspect
import itertools
import secrets

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from producer.codes import (
    BOTTLE_ALPHABET,
    CodeError,
    canonical_numbered,
    grouped,
    is_bottle_code,
    is_numbered_code,
    new_bottle_code,
    normalise,
    numbered_code,
)

SIZE = len(BOTTLE_ALPHABET)


def complete(body: str) -> str:
    return body + str(mod_37_36.calc_check_digit(body, alphabet=BOTTLE_ALPHABET))


BOTTLE_CODES = st.text(alphabet=BOTTLE_ALPHABET, min_size=11, max_size=11).map(complete)
NUMBERED_CODES = st.builds(
    numbered_code,
    st.sampled_from("LBDFRSC"),
    st.integers(2000, 2099),
    st.one_of(st.integers(1, 9999), st.integers(10_000, 10**7)),
)


def test_the_alphabet_has_no_character_that_is_taken_for_another() -> None:
    assert len(set(BOTTLE_ALPHABET)) == SIZE == 30
    assert not set(BOTTLE_ALPHABET) & set("01ILOU")


def test_one_more_than_the_alphabet_is_prime_as_the_hybrid_system_needs() -> None:
    assert all((SIZE + 1) % divisor for divisor in range(2, SIZE))


def test_new_codes_are_twelve_characters_of_the_alphabet_and_valid() -> None:
    codes = {new_bottle_code() for _ in range(200)}
    assert len(codes) == 200
    for code in codes:
        assert len(code) == 12
        assert is_bottle_code(code)


def test_new_codes_come_from_the_secure_source_character_by_character() -> None:
    parameters = inspect.signature(new_bottle_code).parameters
    assert parameters["choice"].default == secrets.choice
    drawn = iter("23456789ABC")
    assert new_bottle_code(lambda _: next(drawn))[:11] == "23456789ABC"
    assert next(drawn, None) is None


@given(BOTTLE_CODES, st.integers(0, 11))
def test_every_single_wrong_character_in_a_bottle_code_is_found(
    code: str, place: int
) -> None:
    for wrong in set(BOTTLE_ALPHABET) - {code[place]}:
        assert not is_bottle_code(code[:place] + wrong + code[place + 1 :])


@given(BOTTLE_CODES, st.integers(0, 11))
def test_a_lost_or_doubled_character_in_a_bottle_code_is_found(
    code: str, place: int
) -> None:
    assert not is_bottle_code(code[:place] + code[place + 1 :])
    assert not is_bottle_code(code[:place] + code[place] + code[place:])


def product_before(code: str, place: int) -> int:
    """Return the running product of ISO/IEC 7064 before a place, by hand."""
    product = SIZE
    for character in code[:place]:
        total = (product + BOTTLE_ALPHABET.index(character)) % SIZE or SIZE
        product = total * 2 % (SIZE + 1)
    return product


@given(BOTTLE_CODES, st.integers(0, 10))
def test_a_swap_of_neighbours_is_found_but_for_one_pair_a_place(
    code: str, place: int
) -> None:
    one, other = code[place], code[place + 1]
    swapped = code[:place] + other + one + code[place + 2 :]
    before = product_before(code, place)
    sums = {(before + BOTTLE_ALPHABET.index(c)) % SIZE for c in (one, other)}
    unnoticed = one == other or sums == {SIZE // 2, SIZE // 2 + 1}
    assert is_bottle_code(swapped) == unnoticed


def test_one_swap_of_unlike_neighbours_in_435_is_not_found() -> None:
    swaps, unnoticed = 0, 0
    for first, one, other in itertools.product(BOTTLE_ALPHABET, repeat=3):
        if one != other:
            swaps += 1
            check = complete(first + one + other)[-1]
            unnoticed += complete(first + other + one)[-1] == check
    assert swaps == 30 * 30 * 29
    assert swaps == 435 * unnoticed


@pytest.mark.parametrize(
    "text",
    [
        "222222222224",
        "2222-2222-2224",
        " 2222 2222 2224 ",
        "2222\u20112222\u20132224",
        "https://soap.example/b/222222222224",
        "https://soap.example/b/2222-2222-2224/",
        "HTTPS://SOAP.EXAMPLE/B/222222222224",
        "https://soap.example/kettle/b/222222222224?from=label#top",
        "/b/222222222224",
    ],
)
def test_a_code_is_understood_however_it_is_typed_or_scanned(text: str) -> None:
    assert normalise(text) == "222222222224"
    assert is_bottle_code(text)


@given(BOTTLE_CODES)
def test_lower_case_and_groups_change_nothing(code: str) -> None:
    assert normalise(grouped(code).lower()) == code
    assert is_bottle_code(code.lower())


@pytest.mark.parametrize(
    "text",
    [
        "",
        "222222222225",
        "22222222222",
        "2222222222224",
        "https://soap.example/lots/222222222224",
        "https://soap.example/b/",
        "2222ß2222224",
        "O22222222224",
        "<script>alert(1)</script>",
    ],
)
def test_what_is_no_bottle_code_is_said_to_be_none(text: str) -> None:
    assert not is_bottle_code(text)


def test_letters_of_other_scripts_are_not_folded_into_ours() -> None:
    kelvin_sign, long_s = "\u212a", "\u017f"
    assert normalise(kelvin_sign + long_s) == kelvin_sign + long_s


@given(BOTTLE_CODES)
def test_groups_of_four_are_joined_by_hyphens(code: str) -> None:
    assert grouped(code) == f"{code[:4]}-{code[4:8]}-{code[8:]}"


def test_a_numbered_code_has_at_least_four_digits() -> None:
    assert numbered_code("L", 2026, 17) == "L26-0017-8"
    assert numbered_code("L", 2026, 10_000).startswith("L26-10000-")


@pytest.mark.parametrize(
    ("prefix", "year", "number"),
    [
        ("l", 2026, 1),
        ("LL", 2026, 1),
        ("", 2026, 1),
        ("7", 2026, 1),
        ("Ä", 2026, 1),
        ("L", 2026, 0),
        ("L", 2026, -1),
    ],
)
def test_a_prefix_or_number_that_no_code_has_is_refused(
    prefix: str, year: int, number: int
) -> None:
    with pytest.raises(CodeError, match="one capital letter and a number from 1 on"):
        numbered_code(prefix, year, number)


@pytest.mark.parametrize("year", [26, 1999, 2100])
def test_a_year_that_two_digits_cannot_say_is_refused(year: int) -> None:
    with pytest.raises(CodeError, match=f"no room for the year {year}"):
        numbered_code("L", year, 1)


@pytest.mark.parametrize("year", [2000, 2099])
def test_the_first_and_last_year_have_codes(year: int) -> None:
    assert is_numbered_code(numbered_code("L", year, 1))


@given(NUMBERED_CODES)
def test_a_numbered_code_is_understood_however_it_is_typed(code: str) -> None:
    assert canonical_numbered(code) == code
    assert canonical_numbered(code.lower().replace("-", "")) == code
    assert canonical_numbered(code.replace("-", " ")) == code
    assert is_numbered_code(code)


@given(NUMBERED_CODES, st.data())
def test_every_single_wrong_character_in_a_numbered_code_is_found(
    code: str, data: st.DataObject
) -> None:
    bare = code.replace("-", "")
    place = data.draw(st.integers(0, len(bare) - 1))
    alphabet = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    for wrong in set(alphabet) - {bare[place]}:
        assert not is_numbered_code(bare[:place] + wrong + bare[place + 1 :])


def test_two_digits_swapped_in_a_lot_code_are_found() -> None:
    assert is_numbered_code("L26-0017-8")
    assert not is_numbered_code("L26-0071-8")


def with_check(body: str) -> str:
    return body + str(mod_37_36.calc_check_digit(body))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "L26",
        "L26-0017",
        "L26-0017-9",
        "26-0017-8",
        "L26-0017-8-8",
        with_check("L260000"),
        with_check("L2600017"),
        with_check("LA60017"),
        with_check("L26017"),
    ],
)
def test_what_is_no_numbered_code_is_refused_with_a_sentence(text: str) -> None:
    assert not is_numbered_code(text)
    with pytest.raises(CodeError, match=r"is not one of our codes\. A character"):
        canonical_numbered(text)
