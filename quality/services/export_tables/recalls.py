"""Recalls that reached a batch: their steps, and each attempt to reach a holder."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import Prefetch

from batches.models import Batch
from producer.models.journal import canonical
from quality.models import Recall, RecallContact, RecallEvent
from quality.services.export_tables.cells import HAND, WHEN, Row, Table


def _steps(batch: Batch) -> Iterator[Row]:
    rows = RecallEvent.objects.filter(recall__items__stock=batch.pk)
    for row in (
        rows.select_related("entered_by__person")
        .prefetch_related(Prefetch("recall", Recall.objects.with_beginning()))
        .order_by("pk")
    ):
        yield (
            batch.number,
            row.recall.code,
            row.recall.is_mock,
            row.recall.subject,
            row.recall.hazard_class,
            row.new,
            row.note,
            "" if row.facts is None else canonical(row.facts),
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


RECALL_STEPS = Table(
    name="recall_steps",
    about="recalls that the batch was in, MOCK ones too, step by step; at a closing"
    " also how it stood then and who signed, as JSON",
    head=(
        *("batch", "recall", "is_mock", "began_at", "class", "step", "note", "facts"),
        *WHEN,
    ),
    rows=_steps,
)


def _attempts(batch: Batch) -> Iterator[Row]:
    rows = RecallContact.objects.filter(recall__items__stock=batch.pk)
    rows = rows.select_related("recall", "consignee", "entered_by__person")
    for row in rows.order_by("pk"):
        yield (
            batch.number,
            row.recall.code,
            row.recall.is_mock,
            row.consignee.reference if row.consignee else "",
            row.who,
            row.means,
            row.outcome,
            row.said,
            row.held,
            row.used_up,
            row.pk,
            row.supersedes_id,
            row.is_void,
            row.reason,
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


RECALL_ATTEMPTS = Table(
    name="recall_attempts",
    about="attempts to reach the holders in those recalls, without names; in a MOCK one"
    " nobody was called",
    head=(
        *("batch", "recall", "is_mock", "holder", "not_in_register", "means"),
        *("outcome", "said", "says_held", "says_used_up", *HAND),
    ),
    rows=_attempts,
)
