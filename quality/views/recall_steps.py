"""The steps of a recall: who was told and reached, how it stands, the closing."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from producer.forms.base import ReasonForm
from producer.models import Right, Stock
from producer.views import acts
from producer.views.acts import needs, read_only, user_of
from quality.documents import recalls as documents
from quality.forms.deciding import NoteForm
from quality.forms.recalls import (
    AllClearForm,
    CloseForm,
    ContactForm,
    HazardForm,
    NotifiedForm,
)
from quality.models import Recall, RecallContact
from quality.services import (
    recall_clearing,
    recall_closing,
    recall_contacts,
    recall_hazard,
    recall_revising,
    recalling,
)
from quality.services.recall_status import standing_of
from quality.views.recalls import recall_by_code


@needs(Right.REVIEWER)
def recall_advance(request: HttpRequest, code: str) -> HttpResponse:
    """Say that the holders are notified, and choose the level of checks."""
    found = recall_by_code(code)
    return acts.handle(
        request,
        NotifiedForm(request.POST or None),
        do=lambda facts, submission: recalling.advance(
            by=user_of(request), recall=found, submission=submission, **facts
        ),
        then=lambda _: _page(found),
        said=lambda moved: f"The recall is now: {moved.get_status_display()}.",
        home=_page(found),
        title=f"{named(found)}: the holders are notified",
        context={
            "lead": "MOCK: nobody is told anything. Write what you would have done."
            if found.is_mock
            else "Nothing is sent from here. Write who was told, and how."
        },
    )


@needs(Right.REVIEWER)
def recall_look_again(request: HttpRequest, code: str) -> HttpResponse:
    """Keep what a recall reaches by the corrected book; hold what is new."""
    found = recall_by_code(code)
    drift = recall_revising.drift_of(found)
    return acts.handle(
        request,
        NoteForm(request.POST or None),
        do=lambda facts, submission: recall_revising.look_again(
            by=user_of(request), recall=found, submission=submission, **facts
        ),
        then=lambda _: _page(found),
        said="It is looked at again. See who is to be told, and who is clear.",
        home=_page(found),
        title=f"{named(found)}: look at it again",
        submit="Keep what is so now",
        template="quality/recall_look_again.html",
        context={
            "recall": found,
            "drift": drift,
            "added": Stock.objects.filter(pk__in=drift.added).order_by("pk"),
            "cleared": Stock.objects.filter(pk__in=drift.cleared).order_by("pk"),
        },
    )


@needs(Right.REVIEWER)
def recall_hazard_new(request: HttpRequest, code: str) -> HttpResponse:
    """Evaluate how bad it could be."""
    found = recall_by_code(code)
    last = recall_hazard.newest(found)
    names = ("happened", "exposed", "harm", "likelihood")
    given = {name: getattr(last, name) for name in names} if last else {}
    given |= {
        "hazard_class": found.hazard_class,
        "depth": found.depth,
        "public_notice": found.public_notice,
    }
    return acts.handle(
        request,
        HazardForm(request.POST or None, initial=given),
        do=lambda facts, submission: recall_hazard.evaluate(
            by=user_of(request), recall=found, submission=submission, **facts
        ),
        then=lambda _: _page(found),
        said="It is on record; an earlier evaluation stays there too.",
        home=_page(found),
        title=f"{named(found)}: how bad it could be",
    )


@needs(Right.MAKER, Right.REVIEWER)
def recall_all_clear(request: HttpRequest, code: str) -> HttpResponse:
    """Record that somebody was told that theirs are not affected."""
    found = recall_by_code(code)
    clear = recall_clearing.all_clear_list(found)
    to = request.GET.get("to", "")
    return acts.handle(
        request,
        AllClearForm(
            request.POST or None,
            clear=[one.consignee.pk for one in clear if one.consignee],
            initial={"consignee": to if to.isdecimal() else ""},
        ),
        do=lambda facts, submission: recall_clearing.give_all_clear(
            by=user_of(request), recall=found, submission=submission, **facts
        ),
        then=lambda _: _page(found),
        said="It is recorded.",
        home=_page(found),
        title=f"{named(found)}: an all clear",
        template="quality/recall_all_clear.html",
        context={"recall": found, "clear": clear},
    )


@read_only
def recall_notices(request: HttpRequest, code: str) -> HttpResponse:
    """Show the notices of a recall, to be copied."""
    found = recall_by_code(code)
    return render(
        request,
        "quality/recall_notices.html",
        {"recall": found, "letters": documents.notices_of(found)},
    )


@read_only
def recall_notices_pdf(request: HttpRequest, code: str) -> HttpResponse:
    """Print the notices of a recall, a page each."""
    found = recall_by_code(code)
    content = documents.notices_pdf(found, printed_by=user_of(request).person.name)
    mock = "MOCK-" if found.is_mock else ""
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={
            "Content-Disposition": (
                f'inline; filename="{mock}recall-notices-{found.code}.pdf"'
            )
        },
    )


@needs(Right.REVIEWER)
def recall_close(request: HttpRequest, code: str) -> HttpResponse:
    """Close a recall, signed with the password; what is shown is kept."""
    found = recall_by_code(code)
    now = standing_of(found)
    return acts.handle(
        request,
        CloseForm(
            request.POST or None, initial={"seen": recall_closing.digest_of(now)}
        ),
        do=lambda facts, submission: recall_closing.close(
            by=user_of(request), recall=found, submission=submission, **facts
        ),
        then=lambda _: _page(found),
        said="It is closed, and the count is kept as it stood.",
        home=_page(found),
        title=f"{named(found)}: close it",
        submit="Sign and close",
        template="quality/recall_close.html",
        context={
            "recall": found,
            "now": now,
            "lacking": list(recall_closing.in_the_way(now)),
            "meaning": recall_closing.meaning_of(found),
        },
    )


@needs(Right.MAKER, Right.REVIEWER)
def recall_contact_new(request: HttpRequest, code: str) -> HttpResponse:
    """Record an attempt to reach somebody."""
    found = recall_by_code(code)
    to = request.GET.get("to", "")
    return acts.handle(
        request,
        ContactForm(
            request.POST or None,
            recall=found,
            initial={"consignee": to if to.isdecimal() else ""},
        ),
        do=lambda facts, submission: recall_contacts.record_contact(
            by=user_of(request), recall=found, submission=submission, **facts
        ),
        then=lambda _: _page(found),
        said=lambda row: f"It is recorded: {row.outcome_in_words}.",
        home=_page(found),
        title=f"{named(found)}: an attempt to reach somebody",
        context={
            "lead": "MOCK: call nobody. Say whether you would reach them."
            if found.is_mock
            else "Nothing is sent from here: call, write or go, then record it."
        },
    )


@needs(Right.MAKER, Right.REVIEWER)
def recall_contact_amend(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Correct an attempt."""
    found, row = _attempt(code, pk)
    names = ("consignee", "who", "means", "outcome", "said", "held", "used_up")
    given = {name: getattr(row, name) for name in names}
    return acts.handle(
        request,
        ContactForm(request.POST or None, recall=found, amending=True, initial=given),
        do=lambda facts, submission: recall_contacts.amend_contact(
            by=user_of(request), row=row, submission=submission, **facts
        ),
        then=lambda _: _page(found),
        said=lambda new: f"It is corrected: {new.outcome_in_words}.",
        home=_page(found),
        title=f"{named(found)}: correct an attempt",
    )


@needs(Right.MAKER, Right.REVIEWER)
def recall_contact_void(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Take an attempt back."""
    found, row = _attempt(code, pk)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: recall_contacts.amend_contact(
            by=user_of(request), row=row, void=True, submission=submission, **facts
        ),
        then=lambda _: _page(found),
        said="It is taken back.",
        home=_page(found),
        title=f"{named(found)}: take an attempt back",
        submit="Take it back",
        context={"lead": f"{row.get_means_display()}: {row.outcome_in_words}."},
    )


@read_only
def recall_report(request: HttpRequest, code: str) -> HttpResponse:
    """Show how a recall stands: notified, reached, recovered, still out, next steps."""
    found = recall_by_code(code)
    return render(
        request,
        "quality/recall_report.html",
        {"recall": found, "now": standing_of(found)},
    )


@read_only
def recall_report_pdf(request: HttpRequest, code: str) -> HttpResponse:
    """Print how a recall stands."""
    found = recall_by_code(code)
    content = documents.report_pdf(found, printed_by=user_of(request).person.name)
    mock = "MOCK-" if found.is_mock else ""
    name = f"{mock}recall-report-{found.code}.pdf"
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"'},
    )


def named(recall: Recall) -> str:
    """Return what a page about a recall is called: a mock one says so everywhere."""
    return f"MOCK {recall.code}" if recall.is_mock else recall.code


def _page(recall: Recall) -> str:
    return reverse("quality:recall", args=[recall.code])


def _attempt(code: str, pk: int) -> tuple[Recall, RecallContact]:
    found = recall_by_code(code)
    rows = RecallContact.objects.select_related("recall", "consignee")
    return found, get_object_or_404(rows, recall=found, pk=pk)
