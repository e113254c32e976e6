"""Entries that a device sends by itself: at once, or kept while it had no network.

A device asks with the header ``X-Kept`` and is answered in JSON, always with status 200
and the ``submission`` it sent, so that it can tell our answer from that of a sign-in
page or of somebody else's gate. Only such an answer lets it forget an entry.
"""

from __future__ import annotations

import contextlib
import dataclasses
import datetime
import enum
from collections.abc import Iterator
from typing import Any

from django.http import HttpRequest, JsonResponse
from django.middleware.csrf import get_token
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.views.decorators.http import require_http_methods

from producer import journal

HEADER = "X-Kept"
SINCE, NOW = "kept_since", "device_now"
# Fields that say how an entry was sent, not what was entered.
OF_THE_SENDING = frozenset({SINCE, NOW})
# A clock further off than this is told; common practice, no source.
CLOCK_TOLERANCE = datetime.timedelta(minutes=2)


class Outcome(enum.StrEnum):
    """What became of an entry; with the first three the device may forget it."""

    RECORDED = "recorded"
    ALREADY = "already"
    DISCREPANCY = "discrepancy"
    REFUSED = "refused"
    NO_RIGHT = "refused-because-of-rights"


@dataclasses.dataclass(frozen=True, kw_only=True)
class Kept:
    """An entry that waited on a device: written, sent and arrived.

    The first two by the clock of the device, the third by ours. ``sent`` is None where
    the device did not say it readably.
    """

    since: datetime.datetime
    sent: datetime.datetime | None
    arrived: datetime.datetime

    @property
    def clock_ahead(self) -> datetime.timedelta:
        """How far the device's clock runs ahead of ours; negative when behind."""
        return self.sent - self.arrived if self.sent else datetime.timedelta()

    @property
    def facts(self) -> dict[str, Any]:
        """What the journal says of it; of the clock only where it is off."""
        facts: dict[str, Any] = {"kept_on_device_since": self.since.isoformat()}
        if abs(self.clock_ahead) > CLOCK_TOLERANCE:
            facts["device_clock_ahead_s"] = round(self.clock_ahead.total_seconds())
        return facts


@require_http_methods(["GET", "HEAD"])
def kept(request: HttpRequest) -> JsonResponse:
    """Tell a device whose session this is, with a token to send its entries by."""
    return JsonResponse({"user": str(request.user.pk), "token": get_token(request)})


def asks(request: HttpRequest) -> bool:
    """Say whether a device sent this by itself and wants to be told the outcome."""
    return request.method == "POST" and HEADER in request.headers


def kept_of(request: HttpRequest) -> Kept | None:
    """Return since when the entry was kept; None if it was never kept.

    A time that cannot be read counts as now: the entry is worth more than its clock.
    """
    if not asks(request) or SINCE not in request.POST:
        return None
    arrived = timezone.now()
    return Kept(
        since=_moment(request.POST[SINCE]) or arrived,
        sent=_moment(request.POST.get(NOW, "")),
        arrived=arrived,
    )


@contextlib.contextmanager
def told(request: HttpRequest) -> Iterator[None]:
    """Let the journal say of what is done inside that it was kept, if it was."""
    entry = kept_of(request)
    with journal.besides(**entry.facts) if entry else contextlib.nullcontext():
        yield


def answer(
    request: HttpRequest, outcome: Outcome, words: str, go: str = ""
) -> JsonResponse:
    """Tell the device what became of the entry it names, and where to go on."""
    return JsonResponse(
        {
            "submission": request.POST.get("submission", ""),
            "outcome": outcome,
            "words": words,
            "go": go,
        }
    )


def _moment(text: str) -> datetime.datetime | None:
    try:
        at = parse_datetime(text)
    except ValueError:
        return None
    return at if at and timezone.is_aware(at) else None
