"""Recalls: from what is wrong to every bottle and who has it."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from producer.models import Right, Stock
from producer.reads import only_looks
from producer.tables.base import show
from producer.views import acts
from producer.views.acts import needs, read_only, user_of
from quality.documents import recalls as documents
from quality.forms.deciding import RecallForm
from quality.forms.recalls import WindowForm
from quality.models import Recall
from quality.services import (
    recall_affected,
    recall_beginnings,
    recall_roots,
    recalling,
)
from quality.services.recall_roots import Beginning
from quality.services.recall_status import standing_of
from quality.tables.deciding import RecallTable


@read_only
def recalls(request: HttpRequest) -> HttpResponse:
    """List the recalls, and say where one can be opened from."""
    rows = Recall.objects.with_beginning()
    return render(
        request, "quality/recalls.html", {"table": show(request, RecallTable(rows))}
    )


@read_only
def recall_window(request: HttpRequest) -> HttpResponse:
    """Ask for a time in which something was made or filled, and go to its list."""
    form = WindowForm(request.GET or None)
    if request.GET and form.is_valid():
        window = recall_roots.Window(**form.cleaned_data)
        return redirect(address_of("affected", window))
    return render(request, "quality/recall_window.html", {"form": form})


@read_only
@only_looks
def affected(
    request: HttpRequest, code: str = "", kind: str = "", ident: str = ""
) -> HttpResponse:
    """Show every batch and bottle that something went into, and where."""
    found = beginning_at(code, kind, ident)
    same = Recall.objects.filter(**recall_roots.columns_of(found))
    stock = found if isinstance(found, Stock) else None
    return render(
        request,
        "quality/affected.html",
        {
            "root": stock,
            "affected": recall_affected.affected_by(found),
            "recalls": same,
            "at": {
                name: address_of(name, found)
                for name in ("affected_pdf", "affected_bottles", "recall_open")
            },
        },
    )


@read_only
@only_looks
def affected_pdf(
    request: HttpRequest, code: str = "", kind: str = "", ident: str = ""
) -> HttpResponse:
    """Print what is affected."""
    found = recall_affected.affected_by(beginning_at(code, kind, ident))
    return _pdf(request, found, None)


@needs(Right.REVIEWER)
def recall_open(
    request: HttpRequest, code: str = "", kind: str = "", ident: str = ""
) -> HttpResponse:
    """Open a recall."""
    root = beginning_at(code, kind, ident)
    words = recall_roots.in_words(root)
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
            else f"Recall {made.code} is open. What of it was released is on hold, and"
            " the bottle pages warn from now on. Telephone the holders below."
        ),
        home=address_of("affected", root),
        title=f"Open a recall of {words}",
        submit="Open the recall",
        template="quality/recall_open.html",
        context={"root": root, "affected": recall_affected.affected_by(root)},
    )


def recall_by_code(code: str) -> Recall:
    """Return the recall with this code, or answer 404."""
    return get_object_or_404(Recall.objects.with_beginning(), code=code.upper())


@read_only
def recall(request: HttpRequest, code: str) -> HttpResponse:
    """Show a recall: whom to telephone, what is affected now, what was done."""
    found = recall_by_code(code)
    return render(
        request,
        "quality/recall.html",
        {
            "recall": found,
            "affected": recall_affected.affected_of(found),
            "now": standing_of(found),
        },
    )


@read_only
def recall_pdf(request: HttpRequest, code: str) -> HttpResponse:
    """Print a recall's list."""
    found = recall_by_code(code)
    return _pdf(request, recall_affected.affected_of(found), found)


def beginning_at(code: str, kind: str, ident: str) -> Beginning:
    """Return what an address names, or answer 404."""
    if code:
        return get_object_or_404(Stock, code=code.upper())
    found = recall_beginnings.find(kind, ident)
    if found is None:
        raise Http404
    return found


def address_of(name: str, beginning: Beginning) -> str:
    """Return the address of a page about what a recall can begin with."""
    if isinstance(beginning, Stock):
        return reverse(f"quality:{name}", args=[beginning.code])
    kind, ident = recall_beginnings.address(beginning)
    return reverse(f"quality:{name}_by", args=[kind, ident])


def _pdf(
    request: HttpRequest, affected: recall_affected.Affected, found: Recall | None
) -> HttpResponse:
    by = user_of(request).person.name
    content = documents.list_pdf(affected, found, printed_by=by)
    mock = "MOCK-" if found and found.is_mock else ""
    name = f"{mock}recall-list{'-' + found.code if found else ''}.pdf"
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"'},
    )
