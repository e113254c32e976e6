"""What happened at the stove besides weighing and reading, and what was on paper."""

from __future__ import annotations

from collections.abc import Iterator

from batches.models import Batch
from batches.services import kept_figures
from batches.services.entries import Entries
from quality.services import stove
from quality.services.export_tables.cells import HAND, WHEN, Row, Table, hand


def _hold_points(batch: Batch) -> Iterator[Row]:
    for row in Entries(batch).hold_points:
        tare = row.tare
        yield (
            batch.number,
            row.point,
            row.in_order,
            row.found,
            row.note,
            row.scale.name if row.scale else "",
            tare.vessel.name if tare else "",
            tare.mass_mg if tare else None,
            tare.register_mg if tare else None,
            row.transcription_id,
            *hand(row),
        )


HOLD_POINTS = Table(
    name="hold_points",
    about="what was looked at before the first charge; the last line of a point counts",
    head=(
        *("batch", "point", "in_order", "found", "note", "scale", "vessel"),
        *("empty_mg", "register_mg", "paper_sheet", *HAND),
    ),
    rows=_hold_points,
)


def _starts(batch: Batch) -> Iterator[Row]:
    entries = Entries(batch)
    still_open = {row.pk for row in entries.open_starts}
    finished = {row.start_id: row.pk for row in entries.charges if not row.is_void}
    for row in entries.starts:
        yield (
            batch.number,
            row.source.code,
            row.first_mg,
            row.by_difference,
            row.container.code if row.container else "",
            row.scale.name,
            row.vessel.name if row.vessel else "",
            finished.get(row.pk),
            row.pk in still_open,
            row.transcription_id,
            *hand(row),
        )


WEIGHINGS_BEGUN = Table(
    name="weighings_begun",
    about="first halves of weighings: the tare, or the container before; with the"
    " charge that finished it",
    head=(
        *("batch", "source", "first_mg", "by_difference", "container", "scale"),
        *("vessel", "charge", "is_open", "paper_sheet", *HAND),
    ),
    rows=_starts,
)


def _sheets(batch: Batch) -> Iterator[Row]:
    rows = batch.transcriptions.select_related("attachment", "entered_by__person")
    for row in rows.order_by("pk"):
        photograph = row.attachment
        yield (
            batch.number,
            row.pk,
            row.note,
            photograph.original_name if photograph else "",
            photograph.sha256 if photograph else "",
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


PAPER_SHEETS = Table(
    name="paper_sheets",
    about="sheets that entries were copied from, with the photograph if there is one",
    head=("batch", "id", "note", "attachment", "attachment_sha256", *WHEN),
    rows=_sheets,
)


# Figures of what was sent; empty where they could not be read or are of another kind.
_SENT = (
    *("net_mg", "gross_mg", "tare_mg", "first_mg", "mass_mg"),
    *("value", "clarity", "loss"),
)


def _discrepancies(batch: Batch) -> Iterator[Row]:
    for row in stove.discrepancies_of(batch):
        end, figures = stove.end_of(row), kept_figures.sent_in(row)
        yield (
            batch.number,
            row.pk,
            row.kind,
            row.sent.get("title", ""),
            kept_figures.typed(row),
            figures.get("lot", ""),
            *(figures.get(name) for name in _SENT),
            row.refused,
            row.stock.code if row.stock else "",
            row.short_mg,
            end.outcome if end else "",
            end.reason if end else "",
            end.entered_at if end else None,
            end.entered_by.person.name if end else "",
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


DISCREPANCIES = Table(
    name="discrepancies",
    about="entries kept on a device that the book could not take: what was sent, as it"
    " was typed and in figures, and how each ended",
    head=(
        *("batch", "id", "kind", "what", "sent", "lot", *_SENT),
        *("refused", "stock", "short_mg", "outcome", "reason"),
        *("ended_at", "ended_by", *WHEN),
    ),
    rows=_discrepancies,
)
