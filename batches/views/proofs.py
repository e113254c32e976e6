"""A label text on the screen at true size, on any of the label sheets."""

from __future__ import annotations

import dataclasses

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from batches.documents.labels import check_fit, proof_svg
from batches.documents.labels.examples import EXAMPLE, example_of
from batches.label_text import LabelText
from batches.label_words import LANGUAGES
from batches.models import LabelVersion
from batches.services.sheet_formats import all_formats
from batches.sheets import USUAL, Sheet
from producer.errors import Refusal
from producer.views.acts import read_only


def label_of(pk: int) -> LabelVersion:
    """Return a label text, or answer 404."""
    return get_object_or_404(
        LabelVersion.objects.select_related("formula", "classification"), pk=pk
    )


@dataclasses.dataclass(frozen=True, kw_only=True)
class Shown:
    """A sheet with the type size in points in which the text fits, or why it does not.

    ``too_small`` are the sheets that were tried and that the text does not fit on.
    """

    sheet: Sheet
    type_pt: float | None
    refused: str
    too_small: tuple[Sheet, ...]


def sheets_to_try(request: HttpRequest, sheets: list[Sheet]) -> list[Sheet]:
    """Return the one sheet that the address names, or answer 404.

    If it names none, all: the usual ones first, and those with most labels first.
    """
    name = request.GET.get("sheet")
    if name is None:
        return sorted(sheets, key=lambda one: (one not in USUAL, -one.on_a_page))
    for sheet in sheets:
        if sheet.name == name:
            return [sheet]
    raise Http404("There is no such label sheet.")


def first_fitting(text: LabelText, sheets: list[Sheet]) -> Shown:
    """Return the first of these sheets that a text fits on, else the largest with why.

    Those behind the first that fits are not tried: each is a layout or several.
    """
    refused: dict[Sheet, str] = {}
    for sheet in sheets:
        try:
            size = check_fit(text, sheet)
        except Refusal as refusal:
            refused[sheet] = refusal.message
        else:
            return Shown(
                sheet=sheet, type_pt=size, refused="", too_small=tuple(refused)
            )
    largest = max(sheets, key=lambda one: one.width * one.height)
    return Shown(
        sheet=largest,
        type_pt=None,
        refused=refused[largest],
        too_small=tuple(refused),
    )


@read_only
def proof(request: HttpRequest, pk: int) -> HttpResponse:
    """Show how a text will look on the labels of a sheet, or why it does not fit."""
    label, sheets = label_of(pk), all_formats()
    tried = sheets_to_try(request, sheets)
    shown = first_fitting(example_of(label), tried)
    context = {
        "label": label,
        "language": LANGUAGES[label.language],
        "sheets": sheets,
        "sheet": shown.sheet,
        "type_pt": shown.type_pt,
        "refused": shown.refused,
        # Of a sheet that was asked for, the page says why by itself.
        "too_small": shown.too_small if len(tried) > 1 else (),
        "specimen": "specimen" in request.GET,
    }
    return render(request, "batches/label_proof.html", context)


@read_only
def proof_picture(request: HttpRequest, pk: int) -> HttpResponse:
    """Return the picture of the proof; 404 with the reason where nothing fits."""
    label = label_of(pk)
    text, tried = example_of(label), sheets_to_try(request, all_formats())
    serial = None if "specimen" in request.GET else EXAMPLE
    refused = ""
    for sheet in tried:
        try:
            picture = proof_svg(text, sheet, serial)
        except Refusal as refusal:
            refused = refusal.message
        else:
            return HttpResponse(picture, content_type="image/svg+xml")
    raise Http404(refused)
