"""What was judged, signed and found wrong."""

from __future__ import annotations

from collections.abc import Iterator

from batches.models import Batch
from quality.models import DeviationStep, Judgement, SignatureMark
from quality.services import exporting
from quality.services.export_tables.cells import WHEN, Row, Table


def _judgements(batch: Batch) -> Iterator[Row]:
    rows = Judgement.objects.filter(signature__batch=batch).select_related("limit")
    for row in rows.order_by("pk"):
        yield (
            batch.number,
            row.signature_id,
            row.characteristic,
            row.value,
            row.standard_uncertainty,
            row.limit.version,
            row.limit.lower,
            row.limit.upper,
            row.limit.method,
            row.rule,
            row.effect,
            row.verdict,
            row.risk,
            row.origin,
            row.sentence,
        )


JUDGEMENTS = Table(
    name="judgements",
    about="results held against limits, as they were signed",
    head=(
        *("batch", "signature", "characteristic", "value", "standard_uncertainty"),
        *("limit_version", "lower", "upper", "method", "rule", "effect"),
        *("outcome", "risk_share", "origin", "in_words"),
    ),
    rows=_judgements,
)


def _signatures(batch: Batch) -> Iterator[Row]:
    for row in exporting.signatures_of(batch):
        yield (
            batch.number,
            row.pk,
            row.meaning,
            row.printed_name,
            row.self_reviewed,
            row.reason,
            row.observed_at,
            row.record_sha256,
            exporting.record_name(row),
        )


SIGNATURES = Table(
    name="signatures",
    about="who decided what, and the SHA-256 of the record that was signed",
    head=(
        *("batch", "signature", "meaning", "printed_name", "self_reviewed"),
        *("reason", "signed_at", "record_sha256", "record_file"),
    ),
    rows=_signatures,
)


def _marks(batch: Batch) -> Iterator[Row]:
    rows = SignatureMark.objects.filter(signature__batch=batch)
    rows = rows.select_related("certificate__lot__stock", "entered_by__person")
    for row in rows.order_by("pk"):
        paper = row.certificate
        yield (
            batch.number,
            row.signature_id,
            row.kind,
            f"{paper.lot.code} version {paper.version}" if paper else "",
            row.sentence,
            row.reason,
            row.entered_at,
            row.entered_by.person.name,
        )


SIGNATURE_MARKS = Table(
    name="signature_marks",
    about="what happened to the basis of a signature afterwards",
    head=(
        *("batch", "signature", "kind", "certificate", "in_words", "reason"),
        *("entered_at", "entered_by"),
    ),
    rows=_marks,
)


def _deviations(batch: Batch) -> Iterator[Row]:
    rows = exporting.deviations_of([batch])
    for row in rows.select_related("stock", "entered_by__person"):
        yield (
            batch.number,
            row.code,
            row.stock.code if row.stock else "",
            row.characteristic,
            row.classification,
            row.what,
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


DEVIATIONS = Table(
    name="deviations",
    about="deviations of the batch and of what is in it",
    head=(
        *("batch", "deviation", "about", "characteristic", "class_at_first"),
        *("what", *WHEN),
    ),
    rows=_deviations,
)


def _steps(batch: Batch) -> Iterator[Row]:
    rows = DeviationStep.objects.filter(deviation__in=exporting.deviations_of([batch]))
    rows = rows.select_related("deviation", "entered_by__person")
    for row in rows.order_by("pk"):
        yield (
            batch.number,
            row.deviation.code,
            row.pk,
            row.kind,
            row.text,
            row.classification,
            row.decision,
            row.printed_name,
            row.self_reviewed,
            row.record_sha256,
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


DEVIATION_STEPS = Table(
    name="deviation_steps",
    about="cause, tests, action, class and decision of each deviation",
    head=(
        *("batch", "deviation", "id", "kind", "text", "class", "decision"),
        *("printed_name", "self_reviewed", "record_sha256", *WHEN),
    ),
    rows=_steps,
)
