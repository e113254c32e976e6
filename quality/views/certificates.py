"""The certificate of a lot, and what a further version of it changes."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from producer.forms.lots import CertificateForm
from producer.middleware import decimal_mark
from producer.models import Certificate, RawLot, Right
from producer.views import acts
from producer.views.acts import needs, read_only, user_of
from producer.views.lots import lot_by_code, page_of
from quality.services import revising

IF_CHANGED = (
    "Each keeps the figure of its day. What is released is put on hold with its"
    " bottles, and so is all that was made from it."
)


@needs(Right.MAKER)
def lot_certificate(request: HttpRequest, code: str) -> HttpResponse:
    """Record a certificate of analysis, or a new version of it."""
    found = lot_by_code(code)
    return acts.handle(
        request,
        CertificateForm(request.POST or None, request.FILES or None, lot=found),
        do=lambda facts, submission: revising.record_certificate(
            by=user_of(request), lot=found, submission=submission, **facts
        ),
        then=lambda made: _next(found, made),
        said=lambda made: _said(found, made),
        home=page_of(found),
        title=f"Certificate of {found.code}",
        submit="Record the certificate",
        context={
            "lead": f"{found.material}, {found.supplier}, lot {found.supplier_lot}",
            "facts": _what_it_would_do(found),
        },
    )


@read_only
def revision(request: HttpRequest, code: str) -> HttpResponse:
    """Show what was made with former versions of a lot's certificate."""
    mark = decimal_mark()
    found = revising.revision_of(lot_by_code(code), mark=mark)
    newest = found.certificate
    page = {
        "revision": found,
        "words": revising.in_words(newest, mark=mark) if newest else "",
        "rows": [
            (row, "; ".join(revising.in_words(one, mark=mark) for one in row.versions))
            for row in found.used
        ],
    }
    return render(request, "quality/revision.html", page)


def _next(lot: RawLot, made: Certificate) -> str:
    if made.version > 1 and revising.revision_of(lot).used:
        return reverse("quality:revision", args=[lot.code])
    return page_of(lot)


def _said(lot: RawLot, made: Certificate) -> str:
    used = revising.revision_of(lot).used if made.version > 1 else []
    if not used:
        return "The certificate is recorded."
    return (
        "The certificate is recorded. Batches were weighed with the former one: they"
        " keep the figure of their day, and what was released is on hold until a"
        " reviewer has decided."
    )


def _what_it_would_do(lot: RawLot) -> list[tuple[str, str]]:
    """Say before a further version is recorded what was made with this one."""
    used = revising.made_with(lot)
    if not used:
        return []
    return [
        (
            "Made with this lot by its certificate",
            ", ".join(batch.number for batch in used),
        ),
        ("If a figure changes", IF_CHANGED),
    ]
