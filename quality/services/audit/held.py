"""Audits that were held: by year, and when the last one was."""

from __future__ import annotations

import datetime
from collections import defaultdict

from django.db.models import Max, QuerySet
from django.utils import timezone

from quality.models import SelfInspection
from quality.services.audit.counted import Draws, draws_for


def inspections() -> QuerySet[SelfInspection]:
    """Return the audits that were held, the newest first."""
    rows = SelfInspection.objects.current().order_by("-observed_at", "-pk")
    return rows.select_related("bottle", "lot__stock", "entered_by__person")


def held_of(number: str) -> list[tuple[SelfInspection, Draws]]:
    """Return the audits of this number that were held, with the draws of each."""
    return [(row, draws_for(row)) for row in inspections().filter(number=number)]


def years() -> list[tuple[int, list[SelfInspection]]]:
    """Return the audits by year of the premises, the newest first; one query."""
    found: dict[int, list[SelfInspection]] = defaultdict(list)
    for row in inspections():
        found[timezone.localtime(row.observed_at).year].append(row)
    return list(found.items())


def last_held() -> datetime.datetime | None:
    """Return when the last one was held, or None."""
    rows = SelfInspection.objects.current()
    last: datetime.datetime | None = rows.aggregate(last=Max("observed_at"))["last"]
    return last
