"""Complaints: the list, one of them with all it leads to, and what is done about it."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from producer.forms.base import ReasonForm
from producer.models import Right
from producer.tables.base import show
from producer.views import acts
from producer.views.acts import needs, read_only, user_of
from quality.documents import complaints as documents
from quality.forms.complaints import (
    AmendStepForm,
    CloseComplaintForm,
    StepForm,
    ToldForm,
    told_before,
)
from quality.models import Complaint, ComplaintAccount, ComplaintStep
from quality.services import (
    complaining,
    complaint_ends,
    complaint_leads,
    complaint_todo,
)
from quality.services import complaints as reading
from quality.tables.complaints import ComplaintTable

SHOWN = (("", "all"), ("open", "open"), ("closed", "closed"))
MOST_TYPED = 120


@read_only
def complaints(request: HttpRequest) -> HttpResponse:
    """List complaints, open ones first, with the trend; by status, nature or words."""
    asked = {name: request.GET.get(name, "") for name in ("status", "nature")}
    text = request.GET.get("q", "").strip()[:MOST_TYPED]
    rows = reading.found(text, **asked)
    return render(
        request,
        "quality/complaints.html",
        {
            "table": show(request, ComplaintTable(rows)),
            "statuses": SHOWN,
            "natures": [("", "anything"), *ComplaintAccount.Nature.choices],
            "text": text,
            "trend": reading.trend(),
            **asked,
        },
    )


def complaint_by_code(code: str) -> Complaint:
    """Return the complaint with this code, or answer 404."""
    return get_object_or_404(Complaint, code=code.upper())


def page_of(complaint: Complaint) -> str:
    """Return the address of a complaint's page."""
    return reverse("quality:complaint", args=[complaint.code])


@read_only
def complaint(request: HttpRequest, code: str) -> HttpResponse:
    """Show a complaint: what was told, what to do next, and all that it leads to."""
    now = reading.standing(complaint_by_code(code))
    leads = complaint_leads.leads_of(now)
    user = user_of(request)
    todo = complaint_todo.next_steps(now, leads)
    return render(
        request,
        "quality/complaint.html",
        {
            "complaint": now.complaint,
            "now": now,
            "leads": leads,
            "todo": [(one, one.is_for(user)) for one in todo],
            "can_add": now.is_open
            and (user.may(Right.MAKER) or user.may(Right.REVIEWER)),
            "trend": reading.trend(),
        },
    )


@read_only
def complaint_pdf(request: HttpRequest, code: str) -> HttpResponse:
    """Print a complaint, with the trend."""
    found = complaint_by_code(code)
    content = documents.complaint_pdf(found, printed_by=user_of(request).person.name)
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'inline; filename="complaint-{found.code}.pdf"'
        },
    )


@needs(Right.MAKER, Right.REVIEWER)
def complaint_open(request: HttpRequest) -> HttpResponse:
    """Take a complaint down; ``of`` in the address is the code it is about."""
    of = request.GET.get("of", "")[:MOST_TYPED]
    return acts.handle(
        request,
        ToldForm(request.POST or None, initial={"code": of}),
        do=lambda facts, submission: complaining.open_complaint(
            by=user_of(request), submission=submission, **facts
        ),
        then=lambda row: page_of(row.complaint),
        said=lambda row: (
            f"Complaint {row.complaint.code} is open. See what to do next."
        ),
        home=reverse("quality:complaints"),
        title="Take a complaint down",
        submit="Take it down",
        context={
            "lead": "Nothing is sent from here. If somebody is hurt, help first; then"
            " take it down the same day."
        },
    )


@needs(Right.MAKER, Right.REVIEWER)
def complaint_amend(request: HttpRequest, code: str) -> HttpResponse:
    """Correct what was told."""
    found = complaint_by_code(code)
    row = reading.standing(found).account
    return acts.handle(
        request,
        ToldForm(request.POST or None, amending=True, initial=told_before(row)),
        do=lambda facts, submission: complaining.amend_complaint(
            by=user_of(request), row=row, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said="It is corrected; what was written first stays legible.",
        home=page_of(found),
        title=f"{found.code}: correct what was told",
    )


@needs(Right.MAKER, Right.REVIEWER)
def complaint_step(request: HttpRequest, code: str) -> HttpResponse:
    """Add a step; ``kind`` in the address is which."""
    found = complaint_by_code(code)
    user = user_of(request)
    return acts.handle(
        request,
        StepForm(
            request.POST or None,
            may_conclude=user.may(Right.REVIEWER),
            initial={"kind": request.GET.get("kind", "")},
        ),
        do=lambda facts, submission: complaining.add_step(
            by=user, complaint=found, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said=lambda step: f"Added: {step.get_kind_display()}.",
        home=page_of(found),
        title=f"{found.code}: add a step",
        submit="Add it",
        context={"lead": reading.standing(found).account.words},
    )


@needs(Right.MAKER, Right.REVIEWER)
def complaint_step_amend(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Correct a step."""
    found, row = _step(code, pk)
    given = {name: getattr(row, name) for name in ("text", "conclusion", "reference")}
    return acts.handle(
        request,
        AmendStepForm(request.POST or None, kind=row.kind, initial=given),
        do=lambda facts, submission: complaining.amend_step(
            by=user_of(request), row=row, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said="It is corrected.",
        home=page_of(found),
        title=f"{found.code}: correct “{row.get_kind_display()}”",
    )


@needs(Right.MAKER, Right.REVIEWER)
def complaint_step_void(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Take a step back."""
    found, row = _step(code, pk)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: complaining.amend_step(
            by=user_of(request), row=row, void=True, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said="It is taken back.",
        home=page_of(found),
        title=f"{found.code}: take “{row.get_kind_display()}” back",
        submit="Take it back",
        context={"lead": row.text},
    )


@needs(Right.REVIEWER)
def complaint_close(request: HttpRequest, code: str) -> HttpResponse:
    """Close a complaint."""
    found = complaint_by_code(code)
    now = reading.standing(found)
    lacking = [
        *(one.sentence for one in now.lacking),
        *(one.words for one in complaint_ends.in_the_way(now.account)),
    ]
    return acts.handle(
        request,
        CloseComplaintForm(request.POST or None),
        do=lambda facts, submission: complaining.close_complaint(
            by=user_of(request), complaint=found, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said="It is closed.",
        home=page_of(found),
        title=f"{found.code}: close it",
        submit="Close it",
        context={
            "lead": " ".join(["Before it is closed:", *lacking])
            if lacking
            else "All that is asked for stands."
        },
    )


@needs(Right.MAKER, Right.REVIEWER)
def complaint_reopen(request: HttpRequest, code: str) -> HttpResponse:
    """Open a closed complaint again."""
    found = complaint_by_code(code)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: complaining.reopen_complaint(
            by=user_of(request), complaint=found, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said="It is open again.",
        home=page_of(found),
        title=f"{found.code}: open it again",
        submit="Open it again",
    )


def _step(code: str, pk: int) -> tuple[Complaint, ComplaintStep]:
    found = complaint_by_code(code)
    rows = ComplaintStep.objects.select_related("complaint")
    return found, get_object_or_404(rows, complaint=found, pk=pk)
