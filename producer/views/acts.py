"""How a page carries out an act: load, form, service, redirect."""

from __future__ import annotations

import functools
import uuid
from collections.abc import Callable, Mapping
from typing import Any, Concatenate, ParamSpec, Protocol, TypeVar, cast

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from producer import journal
from producer.errors import Refusal
from producer.models import Right, User

P = ParamSpec("P")
T = TypeVar("T")
Page = Callable[Concatenate[HttpRequest, P], HttpResponseBase]


class Act(Protocol):
    """A form behind an act: an ``ActForm``, or a register's model form."""

    fields: dict[str, Any]
    cleaned_data: dict[str, Any]

    def is_valid(self) -> bool:
        """Say whether what was sent can be used."""

    def add_error(self, field: str | None, error: Any) -> None:
        """Show a message beside a field, or above the form."""

    def facts(self) -> dict[str, Any]:
        """Return what the service takes."""


Facts = Mapping[str, Any]
Submission = uuid.UUID

read_only = require_http_methods(["GET", "HEAD"])


def user_of(request: HttpRequest) -> User:
    """Return the signed-in account; the middleware has let nobody else through."""
    return cast("User", request.user)


def needs(*rights: Right) -> Callable[[Page[P]], Page[P]]:
    """Allow a page to accounts that hold one of ``rights``; others are told 403."""

    def decorate(page: Page[P]) -> Page[P]:
        @functools.wraps(page)
        def guarded(
            request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs
        ) -> HttpResponseBase:
            if not any(user_of(request).may(right) for right in rights):
                words = " or ".join(f"“{right.label}”" for right in rights)
                raise PermissionDenied(f"This page needs the right {words}.")
            return page(request, *args, **kwargs)

        return require_http_methods(["GET", "HEAD", "POST"])(guarded)

    return decorate


def handle(
    request: HttpRequest,
    form: Act,
    *,
    do: Callable[[Facts, Submission], T],
    then: Callable[[T], str],
    said: str | Callable[[T], str],
    home: str,
    title: str,
    submit: str = "Record",
    template: str = "act.html",
    context: Mapping[str, Any] | None = None,
) -> HttpResponse:
    """Show ``form``; when it is sent and valid, carry out ``do`` and go on.

    ``do`` gets the cleaned facts and the submission id, ``then`` the result and
    returns the address to go to, ``said`` is the sentence shown there. A form that
    arrives a second time changes nothing and leads to ``home``. What a service
    refuses is shown beside the field it concerns, with everything typed kept.
    ``act.html`` also shows ``lead``, ``cautions`` and ``facts`` from the context.
    """
    is_usable = request.method == "POST" and form.is_valid()
    submission = _identity(request, form) if request.method == "POST" else None
    # Looked for even if the form cannot be used: what an act moved on is no longer
    # among the choices when the same form arrives again.
    if submission and journal.find_submission(submission):
        return _already(request, home)
    if is_usable and submission:
        try:
            result = do(form.facts(), submission)
        except (Refusal, ValidationError, IntegrityError) as error:
            # The other half of a double tap may be what stands in the way.
            if journal.find_submission(submission):
                return _already(request, home)
            _show(form, error)
        else:
            messages.success(request, said if isinstance(said, str) else said(result))
            return redirect(then(result))
    page = {"form": form, "home": home, "title": title, "submit": submit}
    return render(request, template, {**page, **(context or {})})


def _identity(request: HttpRequest, form: Act) -> Submission | None:
    """Return what makes this sending of the form the same as another one.

    The id the page was given, who sends it, to which address and with what in it: a
    double tap is the same, a form filled anew after “Back” is not, nor is somebody
    else's. Passwords are left out; the result is kept in the journal. None when the
    form came without a usable id, and then the form says so itself.
    """
    # A form to which nothing at all was sent was not cleaned either.
    given: uuid.UUID | None = getattr(form, "cleaned_data", {}).get("submission")
    if given is None:
        return None
    sent = [
        (name, values)
        for name, values in sorted(request.POST.lists())
        if "password" not in name and name not in {"csrfmiddlewaretoken", "seen"}
    ]
    files = [
        (name, file.name, file.size)
        for name, found in sorted(request.FILES.lists())
        for file in found
        if not isinstance(file, str)
    ]
    user = getattr(request, "user", None)  # nobody is signed in on the first-run page
    content = repr((user and user.pk, request.path, sent, files))
    return uuid.uuid5(given, content)


def _show(form: Act, error: Refusal | ValidationError | IntegrityError) -> None:
    """Put what was refused beside the field it concerns; raise what nobody foresaw."""
    if isinstance(error, Refusal):
        _add_error(form, error.field, error.message)
    elif isinstance(error, ValidationError):
        _add_validation_error(form, error)
    else:
        raise error


def _already(request: HttpRequest, home: str) -> HttpResponse:
    messages.info(request, "This was recorded already; nothing was done twice.")
    return redirect(home)


def _add_error(form: Act, field: str | None, message: str) -> None:
    form.add_error(field if field in form.fields else None, message)


def _add_validation_error(form: Act, error: ValidationError) -> None:
    if not hasattr(error, "error_dict"):
        for message in error.messages:
            form.add_error(None, message)
        return
    for field, messages_ in error.message_dict.items():
        for message in messages_:
            _add_error(form, field, message)
