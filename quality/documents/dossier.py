"""The dossier: everything about a batch on paper, in the order an auditor reads.

What was signed is printed as it was signed, never computed again; what is computed on
the day of printing says so. The canonical record of each signature lies inside the PDF
as a file, so that the paper carries what was signed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from batches import trace
from batches.documents.labels import qr_of
from batches.lifecycle import BatchStatus
from batches.models import Batch
from batches.services.results import yield_of
from producer import prints
from producer.middleware import decimal_mark
from producer.models import JournalHead
from producer.prints import Enclosed
from quality.documents import dossier_sections as sections
from quality.models import Recall, Signature
from quality.services import as_signed, deviations, exporting
from quality.services.reviewing import Review, review_of
from quality.statistics.conformity import Verdict

TEMPLATE = "quality/dossier.html"
# States that an auditor must not have to look for.
EXCEPTIONAL = {
    BatchStatus.REJECTED,
    BatchStatus.ON_HOLD,
    BatchStatus.REWORKED,
    BatchStatus.DISPOSED,
    BatchStatus.ABANDONED,
}


def dossier_pdf(batch: Batch, *, printed_by: str) -> bytes:
    """Return the dossier of a batch, as its records stand now.

    Made to the PDF/A-3 rules we can check, not run through a validator: see
    :func:`producer.prints.archival_pdf`.
    """
    return prints.archival_pdf(
        TEMPLATE,
        context_of(batch),
        printed_by=printed_by,
        enclosed=[
            Enclosed(
                name=exporting.record_name(signature),
                text=signature.record,
                about=f"Canonical record of signature {signature.pk}",
                at=signature.entered_at,
            )
            for signature in exporting.signatures_of(batch)
        ],
    )


def context_of(batch: Batch) -> Mapping[str, Any]:
    """Return what the dossier of a batch says."""
    mark = decimal_mark()
    # Whose work it is does not matter here, only what the review finds.
    review = review_of(batch, by=batch.maker, mark=mark)
    entries = review.entries
    signatures = list(exporting.signatures_of(batch))
    deciding = as_signed.deciding(signatures)
    signed = as_signed.as_signed(deciding, mark=mark) if deciding else None
    back, forwards = trace.trace(batch.stock), trace.track(batch.stock)
    in_it = [*back.batch_ids, *(lot.pk for lot in back.lots)]
    recalls = Recall.objects.filter(items__stock=batch.pk).distinct()
    return {
        "batch": batch,
        "version": batch.formula_version,
        "is_cook": batch.kind == "cook",
        "changes": batch.status_changes.select_related("entered_by__person"),
        "amended": sum(row.supersedes_id is not None for row in entries),
        "exceptions": [
            *_of_status(batch, signatures),
            *_of_results(signed, review),
            *(review.obstacles if batch.is_open else ()),
            *(
                f"{recall.code}, {'mock ' if recall.is_mock else ''}recall of class"
                f" {recall.hazard_class}, {recall.get_status_display()}:"
                f" {recall.reason}"
                for recall in recalls
            ),
        ],
        "notes": review.notes,
        "differences": as_signed.differences(signed, review) if signed else [],
        "deviations": sorted(
            deviations.of_stocks(in_it), key=lambda one: not one.is_open
        ),
        "entries": entries,
        "lots": sections.lots_of(back),
        "alkali": sections.alkali_sum(batch, entries),
        "budgets": list(
            sections.signed_budgets(signed.signature, mark)
            if signed
            else sections.computed_budgets(review, mark)
        ),
        "review": review,
        "signed": signed,
        "judged": sections.judged_of(signed, review, mark),
        "result": yield_of(batch, entries),
        "split": review.came_out.outcome.split,
        "charts": list(sections.charts_of(batch, mark)),
        "back": back,
        "forwards": forwards,
        "filled": sections.filled_from(forwards.batch_ids),
        "signatures": [
            (
                row,
                as_signed.as_signed(row, mark=mark),
                row.marks.select_related("entered_by__person"),
                qr_of(row.record_sha256),
            )
            for row in signatures
        ],
        "journal": exporting.journal_of([batch]),
        "head": JournalHead.objects.get(pk=1),
        "specimen": sections.specimen_of(batch),
    }


def _of_status(batch: Batch, signatures: list[Signature]) -> Iterator[str]:
    if batch.status in EXCEPTIONAL:
        yield f"The batch is {batch.get_status_display()}."
    if batch.is_rework:
        yield "A rejected batch went into it for rework."
    if not signatures:
        yield "Nobody has signed a decision about this batch."
    for signature in signatures:
        name = f"Signature {signature.pk} by {signature.printed_name}"
        if signature.self_reviewed:
            yield f"{name}: self-reviewed, no independent check."
        for mark in signature.marks.all():
            yield f"{name}: {mark.get_kind_display()}. {mark.sentence}"


def _of_results(signed: as_signed.AsSigned | None, review: Review) -> Iterator[str]:
    """Yield a sentence for each result that is not a plain pass, as it was signed."""
    if signed is None:
        for finding in review.findings:
            # What stops a release is told as an obstacle.
            if finding.verdict is Verdict.CONDITIONAL_PASS:
                yield f"{finding.characteristic.label}: {finding.sentence}"
        return
    for row in signed.rows:
        if row.verdict is not Verdict.PASS:
            outcome = row.verdict.label if row.verdict else "missing"
            yield f"{row.name}, {outcome} when signed: {row.sentence}"
