"""Numbers of bottles as somebody types them."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError

from batches.forms.labelling import as_spans, numbers_in

pytestmark = pytest.mark.any_engine


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("1-3, 7", [1, 2, 3, 7]),
        ("3 – 5;7", [3, 4, 5, 7]),
        ("  2\n-\t4  ", [2, 3, 4]),
        ("5", [5]),
        ("", []),
    ],
)
def test_numbers_and_spans_are_read_however_spaced(
    text: str, numbers: list[int]
) -> None:
    assert numbers_in(text, most=9) == numbers
    assert numbers_in(as_spans(numbers), most=9) == numbers


@pytest.mark.parametrize("text", ["0", "10", "5-3", "a", "1-", "-3", "1--3"])
def test_what_is_no_bottle_of_the_lot_is_refused(text: str) -> None:
    with pytest.raises(ValidationError, match="no bottle of this lot"):
        numbers_in(text, most=9)


def test_a_long_run_of_blanks_is_read_in_one_pass() -> None:
    """With a time that grows squared, this one would take minutes."""
    with pytest.raises(ValidationError):
        numbers_in("1" + " " * 500_000 + "2" + " " * 500_000 + "x", most=9)
