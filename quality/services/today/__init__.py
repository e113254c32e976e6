"""What is due, held, waiting, expiring or failing today, and what to do first.

A fixed number of queries, however much there is of anything.
"""

from __future__ import annotations

import datetime

from django.utils import timezone

from quality.services.today import making, store, tools, urgent
from quality.services.today.plain import MOST_SHOWN, Kind, Row

__all__ = ["MOST_SHOWN", "Kind", "Row", "due", "first_of"]


def due(
    today: datetime.date, *, mark: str = ".", now: datetime.datetime | None = None
) -> list[Kind]:
    """Return the kinds of which there is something, what can hurt first.

    Empty on an empty day. ``mark`` is the decimal mark of the sentences.
    """
    now = now or timezone.now()
    kinds = [
        # What can hurt somebody, or lets something wrong pass, comes first …
        urgent.recalls(today),
        urgent.too_hot(today, now=now, mark=mark),
        urgent.discrepancies(today),
        urgent.failed_instruments(today),
        urgent.deviations(today),
        # … then what stands on the stove, what waits for somebody, …
        making.incomplete(today),
        making.in_the_pot(today, now=now),
        making.on_hold(today),
        making.to_review(today),
        making.rejected(today),
        making.bottles_to_decide(today),
        store.to_decide(today),
        # … then dates, nearest work first, …
        store.dates(today),
        tools.dates(today),
        tools.checks(today),
        store.not_weighed(today),
        making.planned(today),
        store.running_out(today),
        # … and what comes round with the year.
        tools.safety_notes(today),
        tools.yearly(today),
    ]
    return [kind for kind in kinds if kind.rows]


def first_of(kinds: list[Kind]) -> tuple[Kind, Row] | None:
    """Return the one thing to do first: the first row of the first kind."""
    return (kinds[0], kinds[0].rows[0]) if kinds else None
