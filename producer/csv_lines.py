"""Open data line by line: a CSV that is streamed, and cells no spreadsheet computes."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from typing import Any

FORMULA = ("=", "+", "-", "@", "\t", "\r")  # how a spreadsheet knows a formula


class _Line:
    """A file that hands back what is written to it."""

    def write(self, text: str) -> str:
        """Return the line."""
        return text


def lines(head: Iterable[str], rows: Iterable[Iterable[Any]]) -> Iterator[str]:
    """Yield a CSV line by line, the head first; memory stays bounded."""
    writer: Any = csv.writer(_Line())
    yield writer.writerow(head)
    yield from map(writer.writerow, rows)


def safe_cell(text: str) -> str:
    """Keep a spreadsheet from taking a text for a formula.

    >>> safe_cell("=1+1"), safe_cell("olive oil")
    ("'=1+1", 'olive oil')
    """
    return f"'{text}" if text.startswith(FORMULA) else text
