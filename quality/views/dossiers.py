"""The dossier of a batch, and the export of a batch or a period."""

from __future__ import annotations

import tempfile
import zipfile

from django.http import FileResponse, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render

from batches.models import Batch
from batches.views.batches import batch_by_number
from producer.errors import Refusal
from producer.models import Right
from producer.views.acts import needs, read_only, user_of
from quality.documents import export as documents
from quality.documents.dossier import dossier_pdf
from quality.forms.exporting import ExportForm

MOST_BATCHES = 20  # about a minute; more by the command, which says how far it is


@read_only
def dossier(request: HttpRequest, number: str) -> HttpResponse:
    """Print everything about a batch."""
    batch = batch_by_number(number)
    return HttpResponse(
        dossier_pdf(batch, printed_by=user_of(request).person.name),
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'inline; filename="dossier-{batch.number}.pdf"'
        },
    )


@read_only
@needs(Right.REVIEWER, Right.OWNER, Right.AUDITOR)
def export(request: HttpRequest) -> HttpResponseBase:
    """Ask what to export; hand it out when that is said. A read: nothing is written."""
    form = ExportForm(request.GET or None)
    if form.is_valid():
        batches = form.cleaned_data["batches"]
        if len(batches) > MOST_BATCHES:
            form.add_error(
                "to",
                f"These are {len(batches)} batches; {MOST_BATCHES} are handed out at a"
                " time here. Take fewer days, or use the command “export”.",
            )
        else:
            try:
                return _archive(request, batches)
            except Refusal as refusal:
                form.add_error(None, refusal.message)
    return render(request, "quality/export.html", {"form": form, "most": MOST_BATCHES})


def _archive(request: HttpRequest, batches: list[Batch]) -> FileResponse:
    """Return the export as a ZIP, written to a file that ends with the answer."""
    name = documents.name_of(batches)
    file = tempfile.TemporaryFile()  # noqa: SIM115 - the answer closes it
    try:
        with zipfile.ZipFile(file, "w") as archive:
            documents.write(
                batches,
                documents.Archive(archive, name),
                made_by=user_of(request).person.name,
            )
    except BaseException:
        file.close()
        raise
    file.seek(0)
    return FileResponse(
        file, as_attachment=True, filename=f"{name}.zip", content_type="application/zip"
    )
