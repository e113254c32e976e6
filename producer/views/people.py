"""People and their accounts; the journal of what they did."""

from __future__ import annotations

import datetime

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone

from producer.forms.base import ReasonForm
from producer.forms.people import AccountForm, OtherPasswordForm, RightsForm
from producer.models import JournalEntry, Right, User
from producer.quantities import whole_number
from producer.services import people as service
from producer.tables.base import show
from producer.tables.records import AccountTable, JournalTable
from producer.views import acts
from producer.views.acts import needs, read_only, user_of


@read_only
def people(request: HttpRequest) -> HttpResponse:
    """List the accounts."""
    rows = User.objects.select_related("person")
    return render(
        request, "producer/people.html", {"table": show(request, AccountTable(rows))}
    )


@needs(Right.OWNER)
def account_new(request: HttpRequest) -> HttpResponse:
    """Open an account."""
    return acts.handle(
        request,
        AccountForm(request.POST or None),
        do=lambda facts, submission: service.add_account(
            by=user_of(request), submission=submission, **facts
        ),
        then=lambda _: reverse("producer:people"),
        said=lambda made: f"The account “{made.username}” is open.",
        home=reverse("producer:people"),
        title="Open an account",
        submit="Open it",
    )


@read_only
def account(request: HttpRequest, pk: int) -> HttpResponse:
    """Show an account and what can be done about it."""
    found = get_object_or_404(User.objects.select_related("person"), pk=pk)
    return render(request, "producer/account.html", {"account": found})


@needs(Right.OWNER)
def account_rights(request: HttpRequest, pk: int) -> HttpResponse:
    """Set the rights of an account."""
    found = get_object_or_404(User.objects.select_related("person"), pk=pk)
    return acts.handle(
        request,
        RightsForm(
            request.POST or None, initial={"rights": [r.value for r in found.rights]}
        ),
        do=lambda facts, submission: service.change_rights(
            by=user_of(request), user=found, submission=submission, **facts
        ),
        then=lambda _: reverse("producer:people"),
        said="The rights are changed.",
        home=reverse("producer:account", args=[pk]),
        title=f"Rights of {found.username}",
        submit="Set these rights",
    )


@needs(Right.OWNER)
def account_close(request: HttpRequest, pk: int) -> HttpResponse:
    """Close an account for good."""
    found = get_object_or_404(User.objects.select_related("person"), pk=pk)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: service.deactivate(
            by=user_of(request), user=found, submission=submission, **facts
        ),
        then=lambda _: reverse("producer:people"),
        said="The account is closed. Its name stays on the records.",
        home=reverse("producer:account", args=[pk]),
        title=f"Close the account {found.username}",
        submit="Close this account for good",
        context={"danger": True},
    )


@needs(Right.OWNER)
def account_password(request: HttpRequest, pk: int) -> HttpResponse:
    """Set a new password for somebody who has lost theirs."""
    found = get_object_or_404(User.objects.select_related("person"), pk=pk)
    return acts.handle(
        request,
        OtherPasswordForm(request.POST or None),
        do=lambda facts, submission: service.set_password(
            by=user_of(request), user=found, submission=submission, **facts
        ),
        then=lambda _: reverse("producer:people"),
        said="The new password is set. Tell it to the person, not to anybody else.",
        home=reverse("producer:account", args=[pk]),
        title=f"New password for {found.username}",
        submit="Set it",
    )


@read_only
def journal(request: HttpRequest) -> HttpResponse:
    """Read the journal: by record, by person, by day."""
    rows = JournalEntry.objects.all()
    record = request.GET.get("on", "").strip()
    person = whole_number(request.GET.get("who"), default=0)
    what = request.GET.get("what", "").strip()
    if what:
        rows = rows.filter(act__icontains=what)
    if record:
        rows = rows.filter(subject_label__icontains=record)
    if person:
        rows = rows.filter(actor__person_id=person)
    since = _day(request.GET.get("day", ""))
    if since:
        start = datetime.datetime.combine(
            since, datetime.time.min, timezone.get_current_timezone()
        )
        rows = rows.filter(at__gte=start, at__lt=start + datetime.timedelta(days=1))
    return render(
        request,
        "producer/journal.html",
        {
            "table": show(request, JournalTable(rows)),
            "on": record,
            "what": what,
            "who": str(person),
            "day": since.isoformat() if since else "",
            "accounts": User.objects.select_related("person"),
        },
    )


def _day(text: str) -> datetime.date | None:
    try:
        found = datetime.date.fromisoformat(text)
    except ValueError:
        return None
    # The first and the last year have days that do not exist in every time zone.
    return found if datetime.MINYEAR < found.year < datetime.MAXYEAR else None
