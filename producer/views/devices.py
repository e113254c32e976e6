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
from producer.errors import Refusal
from producer.services.when_written import written

HEADER = "X-Kept"
SINCE, NOW = "kept_since", "device_now"
# Fields that say how an entry was sent, not what was entered.
OF_THE_SENDING = frozenset({SINCE, NOW})
# A clock further off than this is told and not believed; common practice, no source.
CLOCK_TOLERANCE = datetime.timedelta(minutes=2)
# An entry that says it waited longer was kept by a clock that jumped; ours, no source.
LONGEST_KEPT = datetime.timedelta(days=30)


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
    def is_clock_off(self) -> bool:
        """Say whether the device's clock cannot be believed."""
        return abs(self.clock_ahead) > CLOCK_TOLERANCE

    @property
    def waited(self) -> datetime.timedelta:
        """How long it was kept: a clock that is wrong measures this all the same."""
        end = self.sent if self.sent and self.is_clock_off else self.arrived
        return end - self.since

    @property
    def is_plausible(self) -> bool:
        """Say whether it waited for a time that it may have waited for."""
        return -CLOCK_TOLERANCE <= self.waited <= LONGEST_KEPT

    @property
    def happened(self) -> datetime.datetime:
        """When it was written, by our clock; the arrival where nobody can say.

        What the device said, or where its clock is off, as long before the arrival as
        the entry waited.
        """
        return self.arrived - self.waited if self.is_plausible else self.arrived

    @property
    def facts(self) -> dict[str, Any]:
        """What the journal says of it; of the clock only where it is off.

        The times of the device as it sent them.
        """
        facts: dict[str, Any] = {"kept_on_device_since": self.since.isoformat()}
        if self.sent and self.is_clock_off:
            facts["device_clock_when_sent"] = self.sent.isoformat()
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


def happened(kept: Kept) -> datetime.datetime:
    """Return when a kept entry was written; refuse what it cannot mean."""
    if not kept.is_plausible:
        raise Refusal(
            "The device says that this was entered on"
            f" {kept.since:%d %b %Y, %H:%M}, and its clock was set anew since. Write"
            " when it happened.",
            field="observed_at",
        )
    return kept.happened


@contextlib.contextmanager
def told(request: HttpRequest) -> Iterator[None]:
    """Let the journal say of what is done inside that it was kept, if it was."""
    entry = kept_of(request)
    with contextlib.ExitStack() as said:
        if entry:
            said.enter_context(journal.besides(**entry.facts))
            if entry.is_plausible:
                said.enter_context(written(entry.happened))
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
    if at is None or not timezone.is_aware(at):
        return None
    # The first and the last year have moments that no other time zone can name.
    return at if datetime.MINYEAR < at.year < datetime.MAXYEAR else None
