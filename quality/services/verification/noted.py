"""Hashes that were noted elsewhere, on paper or on a dossier.

The chain proves that its rows fit each other. Whoever writes it anew from some row on,
with every hash after it, makes one that fits too; but not with the hash that somebody
wrote down before.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from producer.models import JournalEntry

LEAST_DIGITS = 16  # 64 bits; fewer could be met by trying
NOTE = re.compile(rf"(\d{{1,18}}):([0-9a-f]{{{LEAST_DIGITS},64}})")


class Note(NamedTuple):
    """A row of the journal and the hash it had, or the first digits of it."""

    sequence: int
    hash: str


def parse(text: str) -> Note:
    """Return the note “ROW:HASH”; blanks and capitals do not matter.

    Raises :class:`ValueError` for anything else.
    """
    found = NOTE.fullmatch("".join(text.split()).lower())
    if found is None:
        raise ValueError(
            f"“{text.strip()}” is not a row and its hash. Write them as 812:9f86d0…,"
            f" with at least {LEAST_DIGITS} digits of the hash."
        )
    return Note(int(found[1]), found[2])


def faults(notes: Iterable[Note]) -> Iterator[str]:
    """Yield a fault for each noted row that is gone or has another hash."""
    for note in notes:
        row = JournalEntry.objects.filter(sequence=note.sequence).first()
        if row is None:
            yield (
                f"Journal row {note.sequence} was noted with {note.hash}, but there is"
                " no such row: the journal was cut short or written anew."
            )
        elif not row.expected_hash().startswith(note.hash):
            yield (
                f"Journal row {note.sequence} was noted with {note.hash}, but has"
                f" {row.expected_hash()} now: the journal was written anew at or before"
                " this row."
            )
