"""Complaints about a batch and its bottles: what was told, and each step."""

from __future__ import annotations

from collections.abc import Iterator

from batches.models import Batch
from quality.models import ComplaintAccount, ComplaintStep
from quality.services.complaints import OF_BATCH
from quality.services.export_tables.cells import HAND, Row, Table


def _told(batch: Batch) -> Iterator[Row]:
    rows = ComplaintAccount.objects.annotate(of_batch=OF_BATCH)
    rows = rows.filter(of_batch=batch.pk).select_related(
        "complaint", "bottle", "filling_lot", "consignee", "entered_by__person"
    )
    for row in rows.order_by("pk"):
        yield (
            batch.number,
            row.complaint.code,
            row.bottle.code if row.bottle else "",
            row.filling_lot.code if row.filling_lot else "",
            row.consignee.reference if row.consignee else "",
            row.who,
            row.means,
            row.nature,
            row.was_hurt,
            row.words,
            row.pk,
            row.supersedes_id,
            row.is_void,
            row.reason,
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


COMPLAINTS = Table(
    name="complaints",
    about="what was told about the batch, its filling lots and bottles, without names",
    head=(
        *("batch", "complaint", "bottle", "filling_lot", "from", "not_in_register"),
        *("means", "nature", "was_hurt", "words", *HAND),
    ),
    rows=_told,
)


def _steps(batch: Batch) -> Iterator[Row]:
    told = ComplaintAccount.objects.current().annotate(of_batch=OF_BATCH)
    rows = ComplaintStep.objects.filter(
        complaint__in=told.filter(of_batch=batch.pk).values("complaint")
    )
    rows = rows.select_related("complaint", "entered_by__person")
    for row in rows.order_by("complaint_id", "pk"):
        yield (
            batch.number,
            row.complaint.code,
            row.kind,
            row.text,
            row.conclusion,
            row.reference,
            row.pk,
            row.supersedes_id,
            row.is_void,
            row.reason,
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


COMPLAINT_STEPS = Table(
    name="complaint_steps",
    about="what was done about those complaints: replies, findings, causes, what an"
    " authority was told, conclusions, closings",
    head=("batch", "complaint", "step", "text", "conclusion", "reference", *HAND),
    rows=_steps,
)
