"""The journal on paper and as open data."""

from __future__ import annotations

from collections.abc import Iterator

from producer import prints
from producer.changes import changes_of
from producer.csv_lines import lines, safe_cell
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


def journal_csv(asked: Asked) -> Iterator[str]:
    """Return one line an act, newest first; memory stays bounded."""
    entries = journal_reading.acts(asked).iterator(chunk_size=ROWS)
    return lines(COLUMNS, ([safe_cell(one) for one in _row(row)] for row in entries))


def _row(entry: JournalEntry) -> list[str]:
    content = entry.content() | {"hash": entry.hash, "actor_id": entry.actor_id}
    return ["" if content[name] is None else str(content[name]) for name in COLUMNS]


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
