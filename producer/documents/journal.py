"""The journal on paper and as open data."""

from __future__ import annotations

import csv
from collections.abc import Iterator

from producer import prints
from producer.changes import changes_of
from producer.models import JournalEntry, JournalHead
from producer.services import journal_reading
from producer.services.journal_reading import Asked

MOST_PRINTED = 500  # acts; more are for the table of a computer
ROWS = 2000  # read at a time
# All that the hash of a row covers, as it is stored, and the hash.
COLUMNS = (
    "sequence",
    "at",
    "actor_id",
    "actor_name",
    "act",
    "subject_kind",
    "subject_id",
    "subject_label",
    "before",
    "after",
    "reason",
    "submission",
    "previous_hash",
    "hash",
)


class _Line:
    """A file that hands back what is written to it, for streaming a CSV."""

    def write(self, text: str) -> str:
        """Return the line."""
        return text


def journal_csv(asked: Asked) -> Iterator[str]:
    """Yield one line an act, newest first; memory stays bounded."""
    writer = csv.writer(_Line())
    yield writer.writerow(COLUMNS)
    for entry in journal_reading.acts(asked).iterator(chunk_size=ROWS):
        yield writer.writerow([safe(value) for value in _row(entry)])


def _row(entry: JournalEntry) -> list[str]:
    content = entry.content() | {"hash": entry.hash, "actor_id": entry.actor_id}
    return ["" if content[name] is None else str(content[name]) for name in COLUMNS]


def safe(text: str) -> str:
    """Keep a spreadsheet from taking a text for a formula."""
    return f"'{text}" if text.startswith(("=", "+", "-", "@", "\t", "\r")) else text


def journal_pdf(asked: Asked, *, printed_by: str) -> bytes:
    """Return the acts on paper, the newest :data:`MOST_PRINTED` of them at most."""
    rows = journal_reading.acts(asked)
    count = rows.count()
    entries = journal_reading.page(rows, 0, MOST_PRINTED)
    return prints.pdf(
        "producer/journal_print.html",
        {
            "acts": [(entry, changes_of(entry, in_full=True)) for entry in entries],
            "count": count,
            "left_out": count - len(entries),
            "asked": journal_reading.words(asked),
            "head": JournalHead.objects.get(pk=1),
        },
        printed_by=printed_by,
    )
