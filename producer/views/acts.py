"""How a page carries out an act: load, form, service, redirect."""

from __future__ import annotations

import functools
import uuid
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Concatenate, ParamSpec, Protocol, TypeVar, cast

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_http_methods

from producer import journal
from producer.errors import Refusal
from producer.models import Right, User
from producer.views import devices
from producer.views.devices import Kept, Outcome

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
Do = Callable[[Facts, Submission], Any]


class Keeping(Protocol):
    """What becomes of an entry that a device kept and that cannot be recorded."""

    def keep(self, form: Act, kept: Kept, why: str, submission: Submission) -> str:
        """Keep what was sent and why it was refused; return a sentence about it."""

    def ask(self, form: Act) -> None:
        """Add to the form what has to be said besides, when it settles an entry."""

    def prefill(self) -> Mapping[str, Any]:
        """Return what the form begins with when it settles such an entry."""

    def settling(self, do: Do) -> Do:
        """Return ``do``, which then also settles the entry the form is shown for."""


class Mind(str):
    """What is said of an act after which something is not as it should be.

    Shown as a warning: it is recorded, and somebody has to do something about it.
    """

    __slots__ = ()


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
                sentence = f"This page needs the right {words}."
                if devices.asks(request):
                    return devices.answer(request, Outcome.NO_RIGHT, sentence)
                raise PermissionDenied(sentence)
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
    kept: Keeping | None = None,
) -> HttpResponse:
    """Show ``form``; when it is sent and valid, carry out ``do`` and go on.

    ``do`` gets the cleaned facts and the submission id, ``then`` the result and
    returns the address to go to, ``said`` is the sentence shown there, as a warning if
    it is one to :class:`Mind`. A form that
    arrives a second time changes nothing and leads to ``home``. What a service
    refuses is shown beside the field it concerns, with everything typed kept.
    ``act.html`` also shows ``lead``, ``cautions`` and ``facts`` from the context.

    With ``kept`` the page's own script sends the form, keeps it on the device while
    there is no network, and sends it later; what is refused then is handed to
    ``kept.keep``, because it happened all the same.

    A page that asks with ``then`` (in its address or its form) is come back to.
    """
    asked = _asked_to_go(request)
    home = asked or home

    def go_on(result: T) -> HttpResponse:
        words = said if isinstance(said, str) else said(result)
        return _recorded(request, words, asked or then(result))

    if kept:
        kept.ask(form)
    if request.method == "POST":
        answer = _answer(request, form, kept, do=do, go_on=go_on, home=home)
        if answer is not None:
            return answer
    elif kept:
        cast("Any", form).initial |= kept.prefill()
    page = {"form": form, "home": home, "title": title, "submit": submit}
    page |= {"asked_to_go": asked, "keep": kept is not None}
    return render(request, template, {**page, **(context or {})})


def _answer(
    request: HttpRequest,
    form: Act,
    keeping: Keeping | None,
    *,
    do: Do,
    go_on: Callable[[Any], HttpResponse],
    home: str,
) -> HttpResponse | None:
    """Take in a form that was sent; None when it has to be shown again."""
    is_usable = form.is_valid()
    submission = _identity(request, form)
    # Looked for even if the form cannot be used: what an act moved on is no longer
    # among the choices when the same form arrives again.
    if submission and journal.find_submission(submission):
        return _already(request, home)
    if is_usable and submission:
        run = keeping.settling(do) if keeping else do
        answer = _carry_out(request, form, submission, run, go_on, home)
        if answer is not None:
            return answer
    if devices.asks(request):
        return _refused(request, form, keeping, submission, home)
    return None


def _carry_out(
    request: HttpRequest,
    form: Act,
    submission: Submission,
    do: Do,
    go_on: Callable[[Any], HttpResponse],
    home: str,
) -> HttpResponse | None:
    """Do it; None when it was refused, and then the form says why."""
    try:
        with devices.told(request):
            result = do(_facts(request, form), submission)
    except (Refusal, ValidationError, IntegrityError) as error:
        # The other half of a double tap may be what stands in the way.
        if journal.find_submission(submission):
            return _already(request, home)
        _show(form, error, was_kept=devices.kept_of(request) is not None)
        return None
    except PermissionDenied as error:
        if not devices.asks(request):
            raise
        return devices.answer(request, Outcome.NO_RIGHT, str(error))
    return go_on(result)


def _asked_to_go(request: HttpRequest) -> str:
    """Return the page of ours to come back to, if one was asked for."""
    address = request.POST.get("then") or request.GET.get("then", "")
    is_ours = address.startswith("/") and url_has_allowed_host_and_scheme(
        address, allowed_hosts=None
    )
    return address if is_ours else ""


def _facts(request: HttpRequest, form: Act) -> Facts:
    """Return what the service takes; what was kept happened when it was written."""
    facts, kept = form.facts(), devices.kept_of(request)
    if kept and "observed_at" in form.fields and facts.get("observed_at") is None:
        return {**facts, "observed_at": devices.happened(kept)}
    return facts


def _recorded(request: HttpRequest, words: str, go: str) -> HttpResponse:
    """Say that it is done: on the next page, or to the device that kept it."""
    if devices.kept_of(request) is None:
        tell = messages.warning if isinstance(words, Mind) else messages.success
        tell(request, words)
    if devices.asks(request):
        return devices.answer(request, Outcome.RECORDED, words, go)
    return redirect(go)


def _refused(
    request: HttpRequest,
    form: Act,
    keeping: Keeping | None,
    submission: Submission | None,
    home: str,
) -> HttpResponse:
    """Tell a device why; what it had kept is kept here as well as it can be."""
    kept = devices.kept_of(request)
    if kept is None or keeping is None or submission is None:
        why = " ".join(_complaints(form))
        return devices.answer(request, Outcome.REFUSED, why, home)
    why = " ".join(sentence for _, sentence in _found(form))
    try:
        with devices.told(request):
            words = keeping.keep(form, kept, why, submission)
    except PermissionDenied as error:
        return devices.answer(request, Outcome.NO_RIGHT, str(error))
    except IntegrityError:
        if journal.find_submission(submission):  # from another tab at the same moment
            return _already(request, home)
        raise
    return devices.answer(request, Outcome.DISCREPANCY, words, home)


def _complaints(form: Act) -> Iterator[str]:
    """Yield what is wrong with a form, each sentence with the name of its field."""
    for label, sentence in _found(form):
        yield f"{label}: {sentence}" if label else sentence


def _found(form: Act) -> Iterator[tuple[str, str]]:
    """Yield what is wrong with a form: label of the field, if it has one, sentence."""
    for name, sentences in cast("Any", form).errors.items():
        field = form.fields.get(name)
        label = str(field.label or "") if field is not None else ""
        yield from ((label, str(sentence)) for sentence in sentences)


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
        if "password" not in name
        and name not in {"csrfmiddlewaretoken", "seen", *devices.OF_THE_SENDING}
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


def _show(
    form: Act, error: Refusal | ValidationError | IntegrityError, *, was_kept: bool
) -> None:
    """Put what was refused beside the field it concerns; raise what nobody foresaw.

    Of an entry that was kept nothing is raised: the device would send it for ever.
    """
    if isinstance(error, Refusal):
        _add_error(form, error.field, error.message)
    elif isinstance(error, ValidationError):
        _add_validation_error(form, error)
    elif was_kept:
        form.add_error(None, f"The tables do not take it: {error}")
    else:
        raise error


def _already(request: HttpRequest, home: str) -> HttpResponse:
    words = "This was recorded already; nothing was done twice."
    if devices.kept_of(request) is None:
        messages.info(request, words)
    if devices.asks(request):
        return devices.answer(request, Outcome.ALREADY, words, home)
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
