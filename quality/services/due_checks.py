"""Which instruments are to be checked, by the interval in the register."""

from __future__ import annotations

import dataclasses
import datetime

from django.db.models import Max

from producer.models import Instrument, Premises


@dataclasses.dataclass(frozen=True, kw_only=True)
class CheckDue:
    """An instrument whose check is due: the last day of one, and when the next is.

    Both are None for one that was never checked: that is due at once.
    """

    instrument: Instrument
    last_on: datetime.date | None
    due_on: datetime.date | None


def checks_due(today: datetime.date) -> list[CheckDue]:
    """Return what is in use and due for its check, the longest overdue first.

    The day of the last check and ``check_every_days`` of the register: on that day it
    is due. An instrument without an interval never is.
    """
    rows = Instrument.objects.filter(
        in_use=True, check_every_days__isnull=False
    ).annotate(last_at=Max("checks__observed_at"))
    zone = _zone()
    found = [_due(row, zone) for row in rows]
    return sorted(
        (one for one in found if one.due_on is None or one.due_on <= today),
        key=lambda one: (one.due_on or datetime.date.min, one.instrument.name),
    )


def due_of(instrument: Instrument) -> CheckDue | None:
    """Return when an instrument is due for its check; None if it has no interval."""
    if instrument.check_every_days is None:
        return None
    rows = Instrument.objects.filter(pk=instrument.pk)
    return _due(rows.annotate(last_at=Max("checks__observed_at")).get(), _zone())


def _zone() -> datetime.tzinfo:
    premises = Premises.objects.first()
    return premises.zone if premises else datetime.UTC


def _due(row: Instrument, zone: datetime.tzinfo) -> CheckDue:
    last_at: datetime.datetime | None = row.last_at  # type: ignore[attr-defined]
    if last_at is None:
        return CheckDue(instrument=row, last_on=None, due_on=None)
    last_on = last_at.astimezone(zone).date()
    days = datetime.timedelta(days=row.check_every_days or 0)
    return CheckDue(instrument=row, last_on=last_on, due_on=last_on + days)
