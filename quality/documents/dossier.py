"""The dossier: everything about a batch on paper, in the order an auditor reads.

What was signed is printed as it was signed, never computed again; what is computed on
the day of printing says so. The canonical record of each signature lies inside the PDF
as a file, so that the paper carries what was signed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.utils import timezone

from batches import trace
from batches.documents.labels import qr_of
from batches.models import Batch
from batches.services.results import yield_of
from producer import prints
from producer.middleware import decimal_mark
from producer.models import JournalHead
from producer.prints import Enclosed
from quality.documents import dossier_sections as sections
from quality.models import Signature
from quality.services import as_signed, exporting, reading_order
from quality.services.judgement import zone_here
from quality.services.reading_order.exceptions import exceptions_of, newest_judging
from quality.services.reading_order.instruments import instruments_of
from quality.services.reading_order.timeline import timeline
from quality.services.reviewing import review_of

TEMPLATE = "quality/dossier.html"


def dossier_pdf(batch: Batch, *, printed_by: str) -> bytes:
    """Return the dossier of a batch, as its records stand now.

    Made to the PDF/A-3 rules we can check, not run through a validator: see
    :func:`producer.prints.archival_pdf`.
    """
    context = context_of(batch)
    return prints.archival_pdf(
        TEMPLATE,
        context,
        printed_by=printed_by,
        enclosed=[
            Enclosed(
                name=exporting.record_name(signature),
                text=signature.record,
                about=f"Canonical record of signature {number} of the batch",
                at=signature.entered_at,
            )
            for number, signature, *_ in context["signatures"]
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
    shown = signed.rows if signed else reading_order.shown_of(review, mark=mark)
    used = instruments_of(review.tools.tools, zone_here())
    back, forwards = trace.trace(batch.stock), trace.track(batch.stock)
    return {
        "batch": batch,
        "version": batch.formula_version,
        "is_cook": batch.kind == "cook",
        "changes": batch.status_changes.select_related("entered_by__person"),
        "amended": sum(row.supersedes_id is not None for row in entries),
        "exceptions": exceptions_of(
            batch,
            review,
            signatures,
            shown=shown,
            is_signed=signed is not None,
            events=timeline(entries, mark=mark),
            used=used,
            differences=as_signed.differences(signed, review) if signed else (),
        ),
        "unsigned": "" if signed else _unsigned(signatures),
        "today": timezone.localdate(),
        "used": used,
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
        "judged": sections.judged_of(shown, mark),
        "result": yield_of(batch, entries),
        "split": review.came_out.outcome.split,
        "charts": list(sections.charts_of(batch, mark)),
        "back": back,
        "forwards": forwards,
        "filled": sections.filled_from(forwards.batch_ids),
        "signatures": [
            (
                number,
                row,
                _signed_then(row, signed, mark),
                row.marks.all(),
                qr_of(row.record_sha256),
            )
            for number, row in enumerate(signatures, start=1)
        ],
        "journal": exporting.journal_of([batch]),
        "head": JournalHead.objects.get(pk=1),
        "specimen": sections.specimen_of(batch),
    }


def _unsigned(signatures: Sequence[Signature]) -> str:
    """Say why no signature stands over the findings; for the middle of a sentence."""
    last = newest_judging(signatures)
    if last is None:
        return "nobody has signed a decision about this batch"
    number = list(signatures).index(last) + 1
    return (
        f"no signature stands: the last over the findings, signature {number} by"
        f" {last.printed_name}, is void"
    )


def _signed_then(
    signature: Signature, signed: as_signed.AsSigned | None, mark: str
) -> dict[str, Any] | None:
    """Return what a former or void signature signed; None of the one printed above."""
    if signed is not None and signature == signed.signature:
        return None
    then = as_signed.as_signed(signature, mark=mark)
    return {"judged": sections.judged_of(then.rows, mark), "figures": then.figures}
