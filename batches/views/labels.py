"""Labels that were issued: their file once more, and the count of them."""

from __future__ import annotations

import itertools

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from batches.documents.labels import pages_of
from batches.forms.labelling import AmendLabelCountForm, LabelCountForm, as_spans
from batches.label_text import doses_beyond
from batches.models import FillingLot, LabelCount, LabelIssue
from batches.services import labelling
from batches.sheets import Placement, in_mm
from batches.views.bottles import filling_lot_by_code
from batches.views.bottles import page_of as page_of_lot
from producer.errors import Refusal
from producer.forms.base import ReasonForm
from producer.middleware import decimal_mark
from producer.models import Right
from producer.views import acts
from producer.views.acts import Mind, needs, read_only, user_of

# How many bytes the file will have, within a few percent: a browser may say how far it
# is. It is no Content-Length, for the file is written while it is sent.
ESTIMATE = "X-Estimated-Length"
BYTES_PER_ENTRY = 20  # of the table at the end of a PDF; two objects a sheet


def issue_of(code: str, pk: int) -> LabelIssue:
    """Return this issue of labels for a filling lot, or answer 404."""
    return get_object_or_404(
        LabelIssue.objects.select_related(
            "filling_lot__batch__stock",
            "filling_lot__batch__formula_version__formula",
            "label__classification",
            "entered_by__person",
        ),
        filling_lot__code=code.upper(),
        pk=pk,
    )


@read_only
def label_issue(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Show labels that were issued: for which bottles, on what, and their file."""
    row = issue_of(code, pk)
    serials = labelling.serials_of(row)
    placement = labelling.placement_of(row)
    return render(
        request,
        "batches/label_issue.html",
        {
            "issue": row,
            "lot": row.filling_lot,
            "numbers": as_spans(one.number for one in serials),
            "again": [one for one in serials if one.copy > 1],
            "labels": len(serials) + row.specimens,
            "placement": placement,
            "sheets": placement.sheets_needed(len(serials) + row.specimens),
            "moved": moved(placement),
            "same_address": labelling.is_at_address(row),
            "beyond_bottle": doses_beyond(
                row.filling_lot.nominal_ul,
                doses=row.sheet["doses"],
                directions=row.label.directions,
            ),
        },
    )


def moved(placement: Placement) -> str:
    """Return by how much all was moved on the sheet, or nothing."""
    ways = (
        (placement.offset_x, "to the right", "to the left"),
        (placement.offset_y, "down", "up"),
    )
    words = [
        f"{in_mm(abs(offset))} mm {there if offset > 0 else back}"
        for offset, there, back in ways
        if offset
    ]
    return ", ".join(words).replace(".", decimal_mark())


@read_only
def label_issue_pdf(request: HttpRequest, code: str, pk: int) -> HttpResponseBase:
    """Write the labels of an issue as PDF, sheet by sheet, while they are sent.

    The same issue as often as it is asked for: nothing is recorded.
    """
    row = issue_of(code, pk)
    placement, serials = labelling.placement_of(row), labelling.serials_of(row)
    try:
        pieces = pages_of(labelling.text_of(row), placement, serials, row.specimens)
    except Refusal as refusal:
        messages.error(request, refusal.message)
        return redirect(page_of(row))
    begun = list(itertools.islice(pieces, 2))
    sheets = placement.sheets_needed(len(serials) + row.specimens)
    name = f"labels-{row.filling_lot.code}-{row.pk}.pdf"
    return StreamingHttpResponse(
        itertools.chain(begun, pieces),
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'inline; filename="{name}"',
            ESTIMATE: str(estimated(begun, sheets)),
        },
    )


def estimated(begun: list[bytes], sheets: int) -> int:
    """Return about how many bytes a file has, by its beginning and its first sheet.

    >>> estimated([b"x" * 9000, b"x" * 1960], 100)
    209000
    """
    head, first = (len(piece) for piece in begun)
    return head + sheets * (first + 2 * BYTES_PER_ENTRY)


def page_of(row: LabelIssue) -> str:
    """Return the address of the page of an issue."""
    return reverse("batches:label_issue", args=[row.filling_lot.code, row.pk])


@needs(Right.MAKER)
def label_count(request: HttpRequest, code: str) -> HttpResponse:
    """Record what became of labels of a filling lot."""
    lot = filling_lot_by_code(code)
    return acts.handle(
        request,
        LabelCountForm(request.POST or None),
        do=lambda facts, submission: labelling.count_labels(
            by=user_of(request), filling_lot=lot, submission=submission, **facts
        ),
        then=lambda _: page_of_lot(lot),
        said=lambda _: said_of(lot),
        home=page_of_lot(lot),
        title=f"Count labels of {lot.code}",
        submit="Record this count",
        context={
            "lead": (
                f"{labelling.reconciliation(lot).sentence} Count what lies there, not"
                " what should: the record shows the difference."
            )
        },
    )


@needs(Right.MAKER)
def label_count_amend(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Correct a count of labels."""
    lot, row = _count(code, pk)
    return acts.handle(
        request,
        AmendLabelCountForm(
            request.POST or None, initial={"count": row.count, "note": row.note}
        ),
        do=lambda facts, submission: labelling.amend_count(
            by=user_of(request), row=row, submission=submission, **facts
        ),
        then=lambda _: page_of_lot(lot),
        said=lambda _: said_of(lot),
        home=page_of_lot(lot),
        title=f"Correct: {row.count} {row.get_kind_display()}",
    )


@needs(Right.MAKER)
def label_count_void(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Take a count of labels back."""
    lot, row = _count(code, pk)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: labelling.amend_count(
            by=user_of(request), row=row, void=True, submission=submission, **facts
        ),
        then=lambda _: page_of_lot(lot),
        said=lambda _: said_of(lot),
        home=page_of_lot(lot),
        title=f"Take back: {row.count} {row.get_kind_display()}",
        submit="Take it back",
    )


def said_of(lot: FillingLot) -> str:
    """Return how the count stands now; a warning while it does not close."""
    found = labelling.reconciliation(lot)
    return found.sentence if found.closes else Mind(found.sentence)


def _count(code: str, pk: int) -> tuple[FillingLot, LabelCount]:
    lot = filling_lot_by_code(code)
    return lot, get_object_or_404(LabelCount, filling_lot=lot, pk=pk)
