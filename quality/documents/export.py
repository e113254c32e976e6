"""An export: batches as a folder of PDF, attachments and open data, with checksums.

The folder explains itself: README.txt says what each file is and how to compute again
what is hashed, SHA256SUMS is what ``sha256sum -c`` takes. Files are written piece by
piece, so memory stays bounded by the largest dossier.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import zipfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from decimal import Decimal
from pathlib import Path
from typing import IO, Any, Protocol

from django.template.loader import render_to_string
from django.utils import timezone

from batches.models import Batch
from producer.csv_lines import lines, safe_cell
from producer.errors import Refusal
from producer.models import Attachment, JournalHead, Premises
from producer.models.journal import canonical
from producer.services.attachments import path_of
from quality.documents.dossier import dossier_pdf
from quality.services import exporting
from quality.services.export_tables import TABLES, Cell, Table

PIECE = 1 << 16  # bytes of a file read at a time
README, SUMS = "README.txt", "SHA256SUMS"
JOURNAL_HEAD = (
    *("sequence", "at", "actor_name", "act", "subject_label"),
    *("before", "after", "reason", "hash"),
)
Pieces = Iterable[bytes]
File = tuple[str, Pieces]


class Target(Protocol):
    """Where the files of an export go."""

    def open(self, name: str) -> IO[bytes]:
        """Open a new file by its name inside the folder, for writing."""


class Folder:
    """A new folder on the disk."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def open(self, name: str) -> IO[bytes]:
        """Open a new file, with the folders above it."""
        path = self.path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        return path.open("xb")


class Archive:
    """A ZIP with everything inside one folder of this name."""

    def __init__(self, archive: zipfile.ZipFile, folder: str) -> None:
        self.archive = archive
        self.folder = folder

    def open(self, name: str) -> IO[bytes]:
        """Open a new file inside the folder."""
        moment = timezone.localtime()
        entry = zipfile.ZipInfo(f"{self.folder}/{name}", moment.timetuple()[:6])
        entry.compress_type = zipfile.ZIP_DEFLATED
        entry.external_attr = 0o644 << 16
        return self.archive.open(entry, "w")


def write(
    batches: Sequence[Batch],
    target: Target,
    *,
    made_by: str,
    say: Callable[[str], None] = lambda _: None,
) -> int:
    """Write an export of these batches; return how many files it has.

    ``say`` is told of each batch as its dossier is made. Raises :class:`Refusal` where
    an upload is missing: an export that lacks a file without a word would be worse than
    none.
    """
    sums = []
    for name, pieces in _files(batches, made_by, say):
        digest = hashlib.sha256()
        with target.open(name) as file:
            for piece in pieces:
                digest.update(piece)
                file.write(piece)
        sums.append(f"{digest.hexdigest()}  {name}\n")
    with target.open(SUMS) as file:
        file.write("".join(sums).encode())
    return len(sums) + 1


def name_of(batches: Sequence[Batch]) -> str:
    """Return the name of the folder: of one batch its number, else of the day."""
    if len(batches) == 1:
        return f"export-{batches[0].number}"
    return f"export-{timezone.localdate():%Y-%m-%d}-{len(batches)}-batches"


def _files(
    batches: Sequence[Batch], made_by: str, say: Callable[[str], None]
) -> Iterator[File]:
    head = JournalHead.objects.get(pk=1)
    yield README, [_readme(batches, made_by).encode()]
    for place, batch in enumerate(batches, start=1):
        say(f"{place} of {len(batches)}  {batch.number}")
        yield from _of_batch(batch, made_by)
    for step in exporting.closings_of(batches):
        yield f"deviations/{step.deviation.code}.json", [step.record.encode()]
    papers = exporting.attachments_of(batches)
    # The same file may have come in twice; it is the same under the same name.
    for paper in {exporting.attachment_name(one): one for one in papers}.values():
        yield _attachment(paper)
    for table in TABLES:
        yield f"tables/{table.name}.csv", _csv(table.head, _rows(table, batches))
    entries = exporting.journal_of(batches, until=head.sequence)
    yield (
        "journal/extract.jsonl",
        (
            f"{canonical(exporting.journal_content(entry))}\n".encode()
            for entry in entries.iterator()
        ),
    )
    yield (
        "journal/extract.csv",
        _csv(
            JOURNAL_HEAD,
            (
                tuple(getattr(entry, name) for name in JOURNAL_HEAD)
                for entry in entries.iterator()
            ),
        ),
    )
    ends = {"sequence": head.sequence, "hash": head.hash}
    yield "journal/head.json", [canonical(ends).encode()]


def _of_batch(batch: Batch, made_by: str) -> Iterator[File]:
    folder = f"batches/{batch.number}"
    pdf = dossier_pdf(batch, printed_by=made_by)
    yield f"{folder}/dossier-{batch.number}.pdf", [pdf]
    for signature in exporting.signatures_of(batch):
        # To the byte what was hashed: no line end after it.
        yield (
            f"{folder}/{exporting.record_name(signature)}",
            [signature.record.encode()],
        )
    rows = {
        table.name: [
            dict(zip(table.head, map(_plain, row), strict=True))
            for row in table.rows(batch)
        ]
        for table in TABLES
    }
    found = {"format": "kettlebook batch tables 1", "batch": batch.number, **rows}
    text = json.dumps(found, ensure_ascii=False, indent=1)
    yield f"{folder}/tables.json", [f"{text}\n".encode()]


def _attachment(attachment: Attachment) -> File:
    path = path_of(attachment)
    if not path.is_file():
        raise Refusal(
            f"The file {attachment.original_name} is missing, so nothing was exported."
            " Fetch it from a backup; “verify” names the place."
        )
    return exporting.attachment_name(attachment), _bytes_of(path)


def _bytes_of(path: Path) -> Pieces:
    with path.open("rb") as file:
        while piece := file.read(PIECE):
            yield piece


def _rows(table: Table, batches: Iterable[Batch]) -> Iterator[tuple[Any, ...]]:
    for batch in batches:
        yield from table.rows(batch)


def _csv(head: Sequence[str], rows: Iterable[Sequence[Any]]) -> Pieces:
    cells = ([_cell(value) for value in row] for row in rows)
    for line in lines(head, cells):
        yield line.encode()


def _cell(value: Cell) -> str:
    """Return a cell of a CSV; a text is kept from being taken for a formula."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return safe_cell(value) if isinstance(value, str) else str(_plain(value))


def _plain(value: Cell) -> str | int | bool | None:
    """Return a cell of a JSON: moments with the offset of the premises."""
    if isinstance(value, datetime.datetime):
        return timezone.localtime(value).isoformat()
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    return value


def _readme(batches: Sequence[Batch], made_by: str) -> str:
    return render_to_string(
        "quality/export_readme.txt",
        {
            "premises": Premises.objects.get(),
            "batches": batches,
            "made_by": made_by,
            "made_at": timezone.now(),
            "tables": TABLES,
        },
    )
