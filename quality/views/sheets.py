"""Sheets to print and write on."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from batches.models import FormulaVersion
from batches.views.batches import batch_by_number
from producer.views.acts import read_only, user_of
from quality.documents.batch_sheet import batch_sheet_pdf
from quality.documents.blank_sheet import blank_sheet_pdf
from quality.forms.sheets import BlankSheetForm


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


@read_only
def blank_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask for how much, then print the blank sheet of a formula version."""
    version = get_object_or_404(FormulaVersion.objects.select_related("formula"), pk=pk)
    asked = request.GET if "print" in request.GET else None
    form = BlankSheetForm(asked)
    if not form.is_valid():
        return render(
            request, "quality/blank_ask.html", {"form": form, "version": version}
        )
    return HttpResponse(
        blank_sheet_pdf(
            version,
            basis_mg=form.cleaned_data["basis_mg"],
            printed_by=user_of(request).person.name,
        ),
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'inline; filename="batch-sheet-blank-{pk}.pdf"'
        },
    )
