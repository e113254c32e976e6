"""The shortest way to the page of a bottle, for visitors who were never signed in.

Most who open it have no session, so nothing has to be asked about one: what comes after
this in the middleware is left out, and the premises is known for a few seconds. With a
session cookie, or any other address, all goes its usual way.
"""

from __future__ import annotations

import re
import zoneinfo
from collections.abc import Callable
from typing import NamedTuple

from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from producer import reads
from producer.codes import normalise
from producer.models import Premises
from quality.views import bottle_public
from quality.views.bottle_public import Contact

PREMISES_KEPT = 5  # seconds: within them a new telephone number shows
LONGEST = 48  # characters of a typed code, with whatever is between
_ADDRESS = re.compile(r"/b/([^/]+)/?")


class Here(NamedTuple):
    """What the page needs to know of the premises."""

    contact: Contact
    time_zone: str


class BottleDoor:
    """Answer a visitor's look at a bottle at once."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer it, or hand it on."""
        address = _ADDRESS.fullmatch(request.path_info)
        if (
            address is None
            or request.method not in {"GET", "HEAD"}
            or settings.SESSION_COOKIE_NAME in request.COOKIES
        ):
            return self.get_response(request)
        with reads.looking():
            answer = _answer(request, address[1])
        return answer or self.get_response(request)


def _answer(request: HttpRequest, typed: str) -> HttpResponse | None:
    """Answer with the page; None before there is a premises."""
    here: Here | None = cache.get_or_set("premises", _here, PREMISES_KEPT)
    if here is None:
        return None
    with timezone.override(zoneinfo.ZoneInfo(here.time_zone)):
        code = normalise(typed[:LONGEST])
        return bottle_public.page(request, code, here.contact)


def _here() -> Here | None:
    premises = Premises.objects.first()
    if premises is None:
        return None
    return Here(bottle_public.contact_of(premises), premises.time_zone)
