"""ISO/IEC 7064 hybrid systems: check characters computed apart from the library we use.

Vectors for MOD 37,36, each with where it was read:
A12425GABC1234002 → M (documentation of another implementation, and the tests of
python-stdnum); 123AB → X and DADPIDA3897722461 → J (the same documentation).
The algorithm below is written from the standard's description of a hybrid system
(recursive method; from memory), for any even number of characters M.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from producer.codes import (
    BOTTLE_ALPHABET,
    is_bottle_code,
    new_bottle_code,
    numbered_code,
)

ALPHANUMERIC = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def check_character(body: str, alphabet: str) -> str:
    size = len(alphabet)
    product = size
    for character in body:
        total = (product + alphabet.index(character)) % size
        product = (total or size) * 2 % (size + 1)
    return alphabet[(size + 1 - product) % size]


@pytest.mark.parametrize(
    ("body", "check"),
    [("A12425GABC1234002", "M"), ("123AB", "X"), ("DADPIDA3897722461", "J")],
)
def test_the_algorithm_by_hand_gives_the_published_characters(
    body: str, check: str
) -> None:
    assert check_character(body, ALPHANUMERIC) == check


@given(
    st.sampled_from("ABCDEFGHIJKLMNOPQRSTUVWXYZ"),
    st.integers(2000, 2099),
    st.integers(1, 10**7),
)
def test_a_numbered_code_ends_in_the_character_of_mod_37_36(
    prefix: str, year: int, number: int
) -> None:
    bare = numbered_code(prefix, year, number).replace("-", "")
    assert bare[-1] == check_character(bare[:-1], ALPHANUMERIC)


@given(st.lists(st.sampled_from(BOTTLE_ALPHABET), min_size=11, max_size=11))
def test_a_bottle_code_ends_in_the_character_of_mod_31_30(drawn: list[str]) -> None:
    characters = iter(drawn)
    code = new_bottle_code(lambda _: next(characters))
    assert code == "".join(drawn) + check_character("".join(drawn), BOTTLE_ALPHABET)
    assert is_bottle_code(code)
