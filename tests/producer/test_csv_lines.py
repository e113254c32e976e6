"""Open data line by line."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator

import pytest

from producer.csv_lines import lines, safe_cell


def test_lines_are_read_back_as_they_were_given() -> None:
    rows = [["a,b", 'say "no"'], ["two\nlines", ""]]
    written = "".join(lines(["one", "two"], rows))
    read = list(csv.reader(io.StringIO(written, newline="")))
    assert read == [["one", "two"], *rows]


def test_nothing_is_read_before_it_is_asked_for() -> None:
    asked: list[int] = []

    def rows() -> Iterator[list[int]]:
        for number in range(3):
            asked.append(number)
            yield [number]

    given = lines(["head"], rows())
    assert next(given) == "head\r\n"
    assert asked == []
    next(given)
    assert asked == [0]


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_no_cell_is_taken_for_a_formula(start: str) -> None:
    assert safe_cell(f"{start}1") == f"'{start}1"


def test_an_honest_text_stays_as_it_is() -> None:
    assert safe_cell("olive oil, 5 % off") == "olive oil, 5 % off"
