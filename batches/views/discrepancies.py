"""The page of a discrepancy, and how a reviewer explains one."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from batches.forms.discrepancies import ExplainForm
from batches.models import Batch, Discrepancy
from batches.services import discrepancies
from batches.services.kept_figures import TAKEN
from batches.views.batches import batch_by_number
from batches.views.keeping import SETTLES
from producer.models import Right
from producer.views import acts
from producer.views.acts import needs, read_only, user_of


def _found(batch: Batch, pk: int) -> Discrepancy:
    rows = Discrepancy.objects.select_related(
        "stock", "entered_by__person", "end__entered_by__person"
    )
    row = get_object_or_404(rows, batch=batch, pk=pk)
    row.batch = batch
    return row


@read_only
def discrepancy(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Show what was sent, why the book could not take it, and how it may be settled."""
    row = _found(batch_by_number(number), pk)
    is_open = not hasattr(row, "end")
    return render(
        request,
        "batches/discrepancy.html",
        {
            "batch": row.batch,
            "row": row,
            "said": discrepancies.said(row),
            "is_open": is_open,
            "may_enter": is_open and discrepancies.may_be_entered(row),
            "enter_at": _enter_at(row),
        },
    )


def _enter_at(row: Discrepancy) -> str:
    """Return the page it was made on, now to settle it."""
    path: str = row.sent["path"]
    return f"{path}{'&' if '?' in path else '?'}{SETTLES}={row.pk}"


@needs(Right.REVIEWER)
def discrepancy_explain(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Settle a discrepancy by a sentence; nothing is entered."""
    row = _found(batch_by_number(number), pk)
    home = reverse("batches:discrepancy", args=[row.batch.number, row.pk])
    return acts.handle(
        request,
        ExplainForm(request.POST or None, is_taken=row.kind in TAKEN),
        do=lambda facts, submission: discrepancies.explain(
            by=user_of(request), discrepancy=row, submission=submission, **facts
        ),
        then=lambda _: home,
        said="The discrepancy is explained. It stays legible.",
        home=home,
        title="Explain a discrepancy",
        submit="Record the explanation",
        context={
            "facts": [
                ("What", discrepancies.said(row)),
                ("Why the book could not take it", row.refused),
            ],
            "lead": "Nothing is entered by this. The sentence stays with the batch.",
        },
    )
