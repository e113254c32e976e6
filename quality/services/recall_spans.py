"""Bottle numbers as runs: a list of a hundred thousand is as long as its runs."""

from __future__ import annotations

from collections.abc import Iterable

Span = tuple[int, int]


def spans(numbers: Iterable[int]) -> list[Span]:
    """Return sorted numbers as first and last of each run.

    >>> spans([1, 2, 3, 7, 9, 10])
    [(1, 3), (7, 7), (9, 10)]
    """
    found: list[Span] = []
    for number in numbers:
        add(found, number)
    return found


def add(found: list[Span], number: int) -> None:
    """Add a number that is higher than all before to runs."""
    if found and found[-1][1] == number - 1:
        found[-1] = (found[-1][0], number)
    else:
        found.append((number, number))


def in_words(found: Iterable[Span]) -> str:
    """Return runs as ranges.

    >>> in_words([(1, 3), (7, 7), (9, 10)])
    '1–3, 7, 9–10'
    """
    return ", ".join(
        str(first) if first == last else f"{first}–{last}" for first, last in found
    )
