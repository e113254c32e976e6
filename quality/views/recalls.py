"""Recalls: from a raw lot or batch to every bottle and who has it."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from producer.models import Right, Stock
from producer.tables.base import show
from producer.views import acts
from producer.views.acts import needs, read_only, user_of
from quality.documents import recalls as documents
from quality.forms.deciding import RecallForm
from quality.models import Recall
from quality.services import recalling
from quality.services.recall_status import standing_of
from quality.tables.deciding import RecallTable


@read_only
def recalls(request: HttpRequest) -> HttpResponse:
    """List the recalls."""
    rows = Recall.objects.select_related("root")
    return render(
        request, "quality/recalls.html", {"table": show(request, RecallTable(rows))}
    )


@read_only
def affected(request: HttpRequest, code: str) -> HttpResponse:
    """Show every batch and bottle that a lot or batch went into, and where."""
    root = get_object_or_404(Stock, code=code.upper())
    return render(
        request,
        "quality/affected.html",
        {
            "root": root,
            "affected": recalling.affected_by(root),
            "recalls": Recall.objects.filter(root=root),
        },
    )


@read_only
def affected_pdf(request: HttpRequest, code: str) -> HttpResponse:
    """Print what is affected."""
    root = get_object_or_404(Stock, code=code.upper())
    return _pdf(request, root, None)


@read_only
def affected_csv(request: HttpRequest, code: str) -> StreamingHttpResponse:
    """Stream what is affected as CSV, a bottle a line."""
    root = get_object_or_404(Stock, code=code.upper())
    return StreamingHttpResponse(
        documents.list_csv(root),
        content_type="text/csv; charset=utf-8",
        headers={
            "Content-Disposition": f'attachment; filename="affected-{root.code}.csv"'
        },
    )


@needs(Right.REVIEWER)
def recall_open(request: HttpRequest, code: str) -> HttpResponse:
    """Open a recall."""
    root = get_object_or_404(Stock, code=code.upper())
    return acts.handle(
        request,
        RecallForm(
            request.POST or None, initial={"is_mock": request.GET.get("mock") == "1"}
        ),
        do=lambda facts, submission: recalling.open_recall(
            by=user_of(request), root=root, submission=submission, **facts
        ),
        then=lambda made: reverse("quality:recall", args=[made.code]),
        said=lambda made: (
            f"Mock recall {made.code} is open; nothing is frozen or shown."
            if made.is_mock
            else f"Recall {made.code} is open. Everything affected is on hold, and the"
            " bottle pages warn from now on. Telephone the holders below."
        ),
        home=reverse("quality:affected", args=[root.code]),
        title=f"Open a recall of {root.code}",
        submit="Open the recall",
        template="quality/recall_open.html",
        context={"root": root, "affected": recalling.affected_by(root)},
    )


def recall_by_code(code: str) -> Recall:
    """Return the recall with this code, or answer 404."""
    return get_object_or_404(Recall.objects.select_related("root"), code=code.upper())


@read_only
def recall(request: HttpRequest, code: str) -> HttpResponse:
    """Show a recall: whom to telephone, what is affected now, what was done."""
    found = recall_by_code(code)
    return render(
        request,
        "quality/recall.html",
        {
            "recall": found,
            "affected": recalling.affected_by(found.root),
            "now": standing_of(found),
        },
    )


@read_only
def recall_pdf(request: HttpRequest, code: str) -> HttpResponse:
    """Print a recall's list."""
    found = recall_by_code(code)
    return _pdf(request, found.root, found)


def _pdf(request: HttpRequest, root: Stock, found: Recall | None) -> HttpResponse:
    content = documents.list_pdf(root, found, printed_by=user_of(request).person.name)
    mock = "MOCK-" if found and found.is_mock else ""
    name = f"{mock}recall-list-{found.code if found else root.code}.pdf"
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"'},
    )
