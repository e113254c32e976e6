"""Things each request needs: the premises, its time zone, its decimal mark."""

from __future__ import annotations

import contextlib
import contextvars
from collections.abc import Callable, Iterator

from django.core.exceptions import BadRequest
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone

from producer.models import Premises

_decimal_mark: contextvars.ContextVar[str] = contextvars.ContextVar(
    "decimal_mark", default="."
)


# As text: to word this question anew took longer than to answer it, at every request.
_FIRST = f"SELECT * FROM {Premises._meta.db_table} ORDER BY id LIMIT 1"  # noqa: S608


def decimal_mark() -> str:
    """Return the decimal mark in which numbers are shown in this request."""
    return _decimal_mark.get()


@contextlib.contextmanager
def as_shown_at(premises: Premises | None) -> Iterator[None]:
    """Show numbers and times as this premises does: its decimal mark, its time zone."""
    token = _decimal_mark.set(premises.decimal_mark if premises else ".")
    try:
        with timezone.override(premises.zone if premises else None):
            yield
    finally:
        _decimal_mark.reset(token)


def _private(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    """Keep what a signed-in person sees out of every cache, the browser's included."""
    if request.user.is_authenticated and not response.has_header("Cache-Control"):
        response["Cache-Control"] = "private, no-store"
    return response


class PermissionsMiddleware:
    """Let our own pages ask for the camera, to scan codes, and for nothing else."""

    POLICY = "camera=(self), microphone=(), geolocation=()"

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Say so with every answer."""
        response = self.get_response(request)
        response["Permissions-Policy"] = self.POLICY
        return response


class PremisesMiddleware:
    """Put ``request.premises`` in place and show its local time."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Serve the request in the time zone of the premises."""
        premises = next(iter(Premises.objects.raw(_FIRST)), None)
        request.premises = premises  # type: ignore[attr-defined]
        _refuse_null_characters(request)
        with as_shown_at(premises):
            response = self.get_response(request)
            return _private(request, response) if premises else response


def _refuse_null_characters(request: HttpRequest) -> None:
    """Answer 404 or 400: PostgreSQL takes no null character in any text it compares."""
    if "\0" in request.path_info:
        raise Http404
    if "%00" in request.META.get("QUERY_STRING", ""):
        raise BadRequest("An address cannot contain a null character.")
