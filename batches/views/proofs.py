"""A label text on the screen at true size, on any of the label sheets."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from batches.documents.labels import check_fit, proof_svg
from batches.documents.labels.examples import EXAMPLE, example_of
from batches.label_words import LANGUAGES
from batches.models import LabelVersion
from batches.services.sheet_formats import all_formats
from batches.sheets import Sheet
from producer.errors import Refusal
from producer.views.acts import read_only


def label_of(pk: int) -> LabelVersion:
    """Return a label text, or answer 404."""
    return get_object_or_404(
        LabelVersion.objects.select_related("formula", "classification"), pk=pk
    )


def sheet_asked(request: HttpRequest, sheets: list[Sheet]) -> Sheet:
    """Return the sheet that the address names, the first if it names none, or 404."""
    name = request.GET.get("sheet", sheets[0].name)
    for sheet in sheets:
        if sheet.name == name:
            return sheet
    raise Http404("There is no such label sheet.")


@read_only
def proof(request: HttpRequest, pk: int) -> HttpResponse:
    """Show how a text will look on the labels of a sheet, or why it does not fit."""
    label, sheets = label_of(pk), all_formats()
    sheet = sheet_asked(request, sheets)
    type_pt, refused = None, ""
    try:
        type_pt = check_fit(example_of(label), sheet)
    except Refusal as refusal:
        refused = refusal.message
    context = {
        "label": label,
        "language": LANGUAGES[label.language],
        "sheets": sheets,
        "sheet": sheet,
        "type_pt": type_pt,
        "refused": refused,
        "specimen": "specimen" in request.GET,
    }
    return render(request, "batches/label_proof.html", context)


@read_only
def proof_picture(request: HttpRequest, pk: int) -> HttpResponse:
    """Return the picture of the proof; 404 with the reason where nothing fits."""
    label = label_of(pk)
    sheet = sheet_asked(request, all_formats())
    serial = None if "specimen" in request.GET else EXAMPLE
    try:
        picture = proof_svg(example_of(label), sheet, serial)
    except Refusal as refusal:
        raise Http404(refusal.message) from refusal
    return HttpResponse(picture, content_type="image/svg+xml")
