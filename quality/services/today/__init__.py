"""What is due, held, waiting, expiring or failing today, and what to do first.

A fixed number of queries, however much there is of anything.
"""

from __future__ import annotations

import datetime

from django.utils import timezone

from quality.services.today import (
    beginning,
    bottles,
    filled,
    making,
    revised,
    scanned,
    sprays,
    store,
    told,
    tools,
    urgent,
)
from quality.services.today.beginning import Step, first_steps
from quality.services.today.plain import MOST_SHOWN, Kind, Row

__all__ = ["MOST_SHOWN", "Kind", "Row", "Step", "due", "first_of", "first_steps"]


def due(
    today: datetime.date, *, mark: str = ".", now: datetime.datetime | None = None
) -> list[Kind]:
    """Return the kinds of which there is something, what can hurt first.

    Empty on an empty day. ``mark`` is the decimal mark of the sentences.
    """
    now = now or timezone.now()
    revisions = revised.undecided()
    # One cause is one row: what a revision put on hold is told with it.
    held = {pk for one in revisions for pk in one.held}
    kinds = [
        # What can hurt somebody, or lets something wrong pass, comes first …
        urgent.recalls(today),
        urgent.overtaken(today),
        urgent.too_hot(today, now=now, mark=mark),
        revised.certificates(today, revisions),
        urgent.discrepancies(today),
        told.complaints(today),
        bottles.doubts(today),
        filled.changed(today, mark=mark),
        scanned.alerts(today),
        urgent.failed_instruments(today),
        # … then what stands on the stove, what waits for somebody, …
        making.incomplete(today),
        making.in_the_pot(today, now=now),
        urgent.deviations(today),
        making.on_hold(today, told=held),
        making.to_review(today),
        making.rejected(today),
        making.bottles_to_decide(today, told=held),
        filled.unreleased(today),
        store.to_decide(today),
        beginning.without_limits(),
        sprays.leaves(now),
        # … then dates, nearest work first, …
        store.dates(today),
        tools.dates(today),
        tools.checks(today),
        store.not_weighed(today),
        filled.samples(today, mark=mark),
        making.planned(today),
        store.running_out(today),
        # … and what comes round with the year.
        tools.safety_notes(today),
        sprays.rules(today),
        bottles.contact_data(today),
        tools.yearly(today),
    ]
    return [kind for kind in kinds if kind.rows]


def first_of(kinds: list[Kind]) -> tuple[Kind, Row] | None:
    """Return the one thing to do first: the first row of the first kind."""
    return (kinds[0], kinds[0].rows[0]) if kinds else None
