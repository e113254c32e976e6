"""Small guards that every service of every app uses."""

from __future__ import annotations

import datetime

from django.core.exceptions import PermissionDenied
from django.utils import timezone

from producer.errors import Refusal
from producer.models import Premises, Record, Right, User

CLOCK_TOLERANCE = datetime.timedelta(days=1)


def require(by: User, right: Right) -> None:
    """Raise :class:`PermissionDenied` unless ``by`` holds ``right``."""
    if not by.may(right):
        raise PermissionDenied(f"This needs the right “{right.label}”.")


def plausible_time(observed_at: datetime.datetime) -> datetime.datetime:
    """Return ``observed_at`` unless it lies more than a day in the future.

    A device clock that runs a little ahead is recorded and flagged, a date in next
    year is a slip.
    """
    if observed_at > timezone.now() + CLOCK_TOLERANCE:
        raise Refusal(
            "This time lies in the future. Write when it happened, by the wall clock.",
            field="observed_at",
        )
    return observed_at


def existed_at(row: Record) -> datetime.datetime:
    """Return when something recorded was there for sure: when told, or when entered.

    The earlier of the two, because a clock that told the time may have run ahead.
    """
    return min(row.observed_at, row.entered_at)


def not_before(
    observed_at: datetime.datetime, start: datetime.datetime, *, was: str, what: str
) -> datetime.datetime:
    """Return ``observed_at`` unless it lies before ``start``; both by the minute.

    ``was`` says what happened then, ``what`` cannot have been earlier. A time is typed
    to the minute, so that the seconds of ``start`` do not count.
    """
    if observed_at < start.replace(second=0, microsecond=0):
        raise Refusal(
            f"{was} on {said_moment(start)}; {what} cannot be before that. Write when"
            " it happened, by the wall clock.",
            field="observed_at",
        )
    return observed_at


def need_reason(reason: str) -> str:
    """Return ``reason`` without outer blanks; raise if nothing is left."""
    reason = reason.strip()
    if not reason:
        raise Refusal("Say why; the reason stays on record.", field="reason")
    return reason


def local_day(at: datetime.datetime) -> datetime.date:
    """Return the calendar day of ``at`` where the premises lies."""
    return _local(at).date()


def said_moment(at: datetime.datetime) -> str:
    """Return a time where the premises lies in words: “5 Oct 2026, 14:05”."""
    local = _local(at)
    return f"{local.day} {local:%b %Y, %H:%M}"


def _local(at: datetime.datetime) -> datetime.datetime:
    premises = Premises.objects.first()
    return at.astimezone(premises.zone if premises else datetime.UTC)
