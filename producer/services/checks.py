"""Small guards that every service of every app uses."""

from __future__ import annotations

import datetime

from django.core.exceptions import PermissionDenied
from django.utils import timezone

from producer.errors import Refusal
from producer.models import Premises, Right, User

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


def need_reason(reason: str) -> str:
    """Return ``reason`` without outer blanks; raise if nothing is left."""
    reason = reason.strip()
    if not reason:
        raise Refusal("Say why; the reason stays on record.", field="reason")
    return reason


def local_day(at: datetime.datetime) -> datetime.date:
    """Return the calendar day of ``at`` where the premises lies."""
    premises = Premises.objects.first()
    return at.astimezone(premises.zone if premises else datetime.UTC).date()
