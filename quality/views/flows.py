"""The picture of the flow: where mass came from and where it went."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from batches.models import FillingLot
from batches.services.flow_rows import Way
from producer.models import Stock
from producer.reads import only_looks
from producer.views.acts import read_only, user_of
from quality.documents import flow as documents


@read_only
@only_looks
def flow(request: HttpRequest, code: str) -> HttpResponse:
    """Show the flow of a lot, a batch or a filling lot, with a table of the same."""
    found = _drawn(request, code, on_paper=False)
    return render(
        request,
        "quality/flow.html",
        {
            **documents.context_of(found),
            "way": _way(request),
            "whole": _whole(request),
            "kind": next((x.kind for x in found.flow.nodes if x.is_root), ""),
        },
    )


@read_only
@only_looks
def flow_pdf(request: HttpRequest, code: str) -> HttpResponse:
    """Print the same picture and table."""
    found = _drawn(request, code, on_paper=True)
    return HttpResponse(
        documents.flow_pdf(found, printed_by=user_of(request).person.name),
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'inline; filename="flow-{found.flow.root}.pdf"'
        },
    )


def _drawn(request: HttpRequest, code: str, *, on_paper: bool) -> documents.Drawn:
    code = code.upper()
    filling_lot = FillingLot.objects.filter(code=code).first()
    stock_of = {"pk": filling_lot.batch_id} if filling_lot else {"code": code}
    root = Stock.objects.filter(**stock_of).first()
    if root is None:
        raise Http404
    return documents.drawn(
        root,
        Way(_way(request)),
        filling_lot=filling_lot,
        whole=_whole(request),
        on_paper=on_paper,
    )


def _way(request: HttpRequest) -> str:
    asked = request.GET.get("way", "")
    return asked if asked in set(Way) else Way.BOTH.value


def _whole(request: HttpRequest) -> bool:
    return request.GET.get("all") == "1"
