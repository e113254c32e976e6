"""The yearly audit: what is due, a bottle and a lot at random, and that it was held."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone

from producer.errors import Refusal
from producer.forms.base import PlainForm, ReasonForm
from producer.middleware import decimal_mark
from producer.models import Right
from producer.views import acts
from producer.views.acts import needs, read_only, user_of
from quality.documents import audits as documents
from quality.forms.inspections import AmendInspectionForm, InspectionForm
from quality.models import SelfInspection
from quality.services import audit as service
from quality.services import self_inspections
from quality.services.complaints import trend

LONGEST = 40  # characters of a number of a draw
READERS = (Right.OWNER, Right.REVIEWER, Right.AUDITOR)
HOLDERS = self_inspections.RIGHTS


@read_only
@needs(*READERS)
def audit(request: HttpRequest) -> HttpResponse:
    """Show the short lists, the audits that were held, and what was drawn since."""
    asked = request.GET.get("number", "").strip()[:LONGEST]
    return render(
        request,
        "quality/audit.html",
        {
            "listed": service.listed(timezone.localdate(), mark=decimal_mark()),
            "trend": trend(),
            "years": service.years(),
            "draws": service.draws_until_now(),
            "asked": asked,
            "refused": _refused(asked),
        },
    )


@needs(*HOLDERS)
def audit_draw(request: HttpRequest) -> HttpResponse:
    """Draw a bottle and a lot, which is put on record."""
    return acts.handle(
        request,
        PlainForm(request.POST or None),
        do=lambda facts, submission: self_inspections.draw_audit(
            by=user_of(request), submission=submission
        ),
        then=lambda draw: reverse("quality:audit_drawn", args=[draw.number]),
        said="It is drawn, and the draw is on record.",
        home=reverse("quality:audit"),
        title="Draw a bottle and a lot",
        submit="Draw",
        context={
            "lead": "Each draw is put on record. The audit says how many were made"
            " since the audit held before it, so draw once and keep what comes."
        },
    )


@read_only
@needs(*READERS)
def audit_drawn(request: HttpRequest, number: str) -> HttpResponse:
    """Show both walks from what the draw with this number hits."""
    return render(request, "quality/audit_drawn.html", _context(number))


@read_only
@needs(*READERS)
def audit_pdf(request: HttpRequest, number: str) -> HttpResponse:
    """Print the audit: both walks and the short lists."""
    content = documents.audit_pdf(
        _drawn(number),
        day=timezone.localdate(),
        mark=decimal_mark(),
        printed_by=user_of(request).person.name,
    )
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="audit-{number}.pdf"'},
    )


@needs(*HOLDERS)
def audit_held(request: HttpRequest, number: str) -> HttpResponse:
    """Record that the audit with this number was held."""
    drawn = _drawn(number)
    return acts.handle(
        request,
        InspectionForm(request.POST or None),
        do=lambda facts, submission: self_inspections.record_inspection(
            by=user_of(request), number=drawn.number, submission=submission, **facts
        ),
        then=lambda row: reverse("quality:inspection", args=[row.pk]),
        said="It is recorded that the audit was held.",
        home=reverse("quality:audit_drawn", args=[drawn.number]),
        title=f"Audit {drawn.number} was held",
        context={
            "lead": "What the program finds missing at this moment is kept with it."
        },
    )


@read_only
@needs(*READERS)
def inspection(request: HttpRequest, pk: int) -> HttpResponse:
    """Show an audit that was held: what was drawn and how often, what was found."""
    row = _row(pk)
    return render(
        request,
        "quality/inspection.html",
        {"row": row, "draws": service.draws_for(row)},
    )


@needs(*HOLDERS)
def inspection_amend(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct the findings of an audit."""
    row = _row(pk)
    return acts.handle(
        request,
        AmendInspectionForm(request.POST or None, initial={"findings": row.findings}),
        do=lambda facts, submission: self_inspections.amend_inspection(
            by=user_of(request), row=row, submission=submission, **facts
        ),
        then=lambda new: reverse("quality:inspection", args=[new.pk]),
        said="It is corrected.",
        home=reverse("quality:inspection", args=[row.pk]),
        title=f"Audit {row.number}: correct what was found",
    )


@needs(*HOLDERS)
def inspection_void(request: HttpRequest, pk: int) -> HttpResponse:
    """Take back that an audit was held."""
    row = _row(pk)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: self_inspections.amend_inspection(
            by=user_of(request), row=row, void=True, submission=submission, **facts
        ),
        then=lambda new: reverse("quality:inspection", args=[new.pk]),
        said="It is taken back.",
        home=reverse("quality:inspection", args=[row.pk]),
        title=f"Audit {row.number}: take back that it was held",
        submit="Take it back",
    )


def _refused(number: str) -> str:
    """Return why a number that was typed cannot be drawn again, or nothing."""
    if not number:
        return ""
    try:
        service.drawn_by(number)
    except Refusal as refused:
        return refused.message
    return ""


def _drawn(number: str) -> service.Drawn:
    try:
        return service.drawn_by(number[:LONGEST])
    except Refusal as refused:
        raise Http404(refused.message) from refused


def _context(number: str) -> dict[str, object]:
    drawn = _drawn(number)
    return {
        "audit": service.audit_of(drawn, mark=decimal_mark()),
        "drawn": drawn,
        "why_not": service.why_not_held(drawn),
        "held": service.held_of(drawn.number),
        "draws": service.draws_until_now(drawn.number),
        "not_drawn": service.why_not_drawn(drawn.number),
    }


def _row(pk: int) -> SelfInspection:
    rows = SelfInspection.objects.select_related(
        "bottle", "lot__stock", "entered_by__person", "supersedes", "superseded_by"
    )
    return get_object_or_404(rows, pk=pk)
