"""People and their accounts."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from producer.forms.base import ReasonForm
from producer.forms.people import AccountForm, OtherPasswordForm, RightsForm
from producer.models import Right, User
from producer.services import people as service
from producer.tables.base import show
from producer.tables.records import AccountTable
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
