"""Sheets to print and write on."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse

from batches.views.batches import batch_by_number
from producer.views.acts import read_only, user_of
from quality.documents.batch_sheet import batch_sheet_pdf


@read_only
def batch_sheet(request: HttpRequest, number: str) -> HttpResponse:
    """Print what a batch asks for, with room to write at the pot."""
    batch = batch_by_number(number)
    return HttpResponse(
        batch_sheet_pdf(batch, printed_by=user_of(request).person.name),
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'inline; filename="batch-sheet-{batch.number}.pdf"'
        },
    )
