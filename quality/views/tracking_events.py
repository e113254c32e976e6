"""Events for others: the page of some days, and the files. Nothing is written."""

from __future__ import annotations

from collections.abc import Iterator

from django.conf import settings
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, render

from batches.documents.labels import address_is_local
from producer.errors import Refusal
from producer.models import Stock
from producer.views.acts import read_only
from quality.forms.tracking_events import DaysForm
from quality.services import tracking_events


@read_only
def events(request: HttpRequest) -> HttpResponseBase:
    """Ask of which days; hand the file out when that is said."""
    form = DaysForm(request.GET or None)
    if form.is_valid():
        first, last = form.cleaned_data["from"], form.cleaned_data["to"]
        try:
            pieces = tracking_events.document(form.cleaned_data["scope"])
        except Refusal as refusal:
            form.add_error(refusal.field, refusal.message)
        else:
            return _file(pieces, f"{first}-{last}")
    return _page(request, form)


@read_only
def events_of(request: HttpRequest, code: str) -> HttpResponseBase:
    """Hand out the events of a lot or batch; say so on the page if it has none."""
    root = get_object_or_404(Stock, code=code.upper())
    try:
        pieces = tracking_events.document(tracking_events.of_stock(root))
    except Refusal:
        return _page(request, DaysForm(), nothing_of=root)
    return _file(pieces, root.code)


def _page(
    request: HttpRequest, form: DaysForm, nothing_of: Stock | None = None
) -> HttpResponse:
    return render(
        request,
        "quality/tracking_events.html",
        {
            "form": form,
            "nothing_of": nothing_of,
            "address_is_local": address_is_local(),
            "public_url": settings.PUBLIC_URL,
        },
    )


def _file(pieces: Iterator[str], name: str) -> StreamingHttpResponse:
    return StreamingHttpResponse(
        (piece.encode() for piece in pieces),
        content_type="application/ld+json",
        headers={"Content-Disposition": f'attachment; filename="events-{name}.json"'},
    )
