"""Labels of the filling lots of a batch: texts, issues, every copy, and the counts."""

from __future__ import annotations

from collections.abc import Iterator

from batches.models import Batch, LabelCopy, LabelCount, LabelIssue, LabelVersion
from batches.services.labelling import placement_of
from quality.services.export_tables.cells import HAND, WHEN, Row, Table, hand


def _texts(batch: Batch) -> Iterator[Row]:
    rows = LabelVersion.objects.filter(issues__filling_lot__batch=batch).distinct()
    rows = rows.select_related("classification", "entered_by__person")
    for row in rows.order_by("pk"):
        found = row.classification
        yield (
            batch.number,
            row.pk,
            row.language,
            row.version,
            row.product_name,
            row.directions,
            row.cautions,
            row.doses,
            found.signal if found else "",
            found.statements if found else "",
            found.identifier if found else "",
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


LABEL_TEXTS = Table(
    name="label_texts",
    about="the texts that were printed, with the hazard class as it was recorded",
    head=(
        *("batch", "label_text", "language", "version", "product_name"),
        *("directions", "cautions", "has_doses", "signal", "statements", "ufi", *WHEN),
    ),
    rows=_texts,
)


def _issues(batch: Batch) -> Iterator[Row]:
    rows = LabelIssue.objects.filter(filling_lot__batch=batch)
    rows = rows.select_related("filling_lot", "label", "entered_by__person")
    for row in rows.order_by("pk"):
        placement = placement_of(row)
        yield (
            batch.number,
            row.filling_lot.code,
            row.pk,
            row.label_id,
            row.band,
            row.sheet["band_reckoned"],
            row.sheet["band_reason"],
            " ".join(f"{word}:{ml}" for word, ml in row.sheet["doses"]),
            row.contact,
            row.sheet["poison_centre"],
            row.sheet["address"],
            placement.sheet.name,
            placement.start,
            placement.offset_x,
            placement.offset_y,
            row.specimens,
            row.reason,
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


LABEL_ISSUES = Table(
    name="label_issues",
    about="labels printed in one go, with all that was the same on each; doses in ml by"
    " water, offsets in hundredths of a mm",
    head=(
        *("batch", "filling_lot", "issue", "label_text", "contents", "reckoned"),
        *("contents_reason", "doses_ml", "contact", "poison_centre", "address"),
        *("sheet", "start", "offset_x", "offset_y", "specimens", "reason", *WHEN),
    ),
    rows=_issues,
)


def _copies(batch: Batch) -> Iterator[Row]:
    rows = LabelCopy.objects.filter(issue__filling_lot__batch=batch)
    rows = rows.select_related("issue__filling_lot", "bottle").order_by("pk")
    for row in rows.iterator(chunk_size=2000):
        yield (
            batch.number,
            row.issue.filling_lot.code,
            row.issue_id,
            row.bottle.number,
            row.bottle.code,
            row.copy,
        )


LABEL_COPIES = Table(
    name="label_copies",
    about="every label that was printed for a bottle; copy 2 and later are of the same"
    " identity",
    head=("batch", "filling_lot", "issue", "number", "bottle", "copy"),
    rows=_copies,
)


def _counts(batch: Batch) -> Iterator[Row]:
    rows = LabelCount.objects.filter(filling_lot__batch=batch)
    rows = rows.select_related("filling_lot", "entered_by__person").order_by("pk")
    for row in rows:
        code = row.filling_lot.code
        yield batch.number, code, row.kind, row.count, row.note, *hand(row)


LABEL_COUNTS = Table(
    name="label_counts",
    about="what became of the labels, as counted: applied, spoiled, returned (left over"
    " and destroyed), specimen",
    head=("batch", "filling_lot", "kind", "count", "note", *HAND),
    rows=_counts,
)
