"""Moves of bottles: none outside the tables of lives, and none undone without its row.

Only a dispatch that was taken back brings a bottle from its consignee into stock, and
only a destruction that was taken back brings one from nowhere.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db.models import OuterRef, Q, QuerySet, Subquery

from batches.lifecycle import (
    BOTTLE_CORRECTIONS,
    BOTTLE_MOVES,
    BottleStatus,
)
from batches.models import BottleEvent

SENT, STOCK, GONE = (
    BottleStatus.DISPATCHED,
    BottleStatus.FILLED,
    BottleStatus.DESTROYED,
)


def count() -> int:
    """Return how many moves of bottles there are."""
    return BottleEvent.objects.count()


def faults() -> Iterator[str]:
    """Yield a fault where a bottle moved as nothing allows, or not as was said."""
    yield from _outside_the_tables()
    yield from _back_without_a_row()
    yield from _found_without_a_row()
    yield from _rows_without_a_move()


def _outside_the_tables() -> Iterator[str]:
    """Put on another shelf, a bottle stays what it is; made, it was nothing before."""
    known = Q(old="", new=STOCK)
    for move in (*BOTTLE_MOVES, *BOTTLE_CORRECTIONS):
        known |= Q(old=move.start, new=move.end)
    for state in BottleStatus:
        known |= Q(old=state, new=state)
    for event in _listed(BottleEvent.objects.exclude(known)):
        yield (
            f"Bottle {event.bottle.code} became {event.get_new_display()}, and was"
            f" {event.get_old_display() or 'not there'} before: no bottle moves so."
        )


def _back_without_a_row() -> Iterator[str]:
    back = BottleEvent.objects.filter(old=SENT, new=STOCK)
    for event in _listed(_lacking(back, "dispatch__taken_back")):
        yield (
            f"Bottle {event.bottle.code} went from its consignee straight into stock,"
            " and its dispatch was not taken back."
        )


def _found_without_a_row() -> Iterator[str]:
    found = BottleEvent.objects.filter(old=GONE).exclude(new=GONE)
    for event in _listed(_lacking(found, "taken_back")):
        yield (
            f"Bottle {event.bottle.code} is {event.get_new_display()} after it was"
            " destroyed, and that was not taken back."
        )


def _rows_without_a_move() -> Iterator[str]:
    sent = BottleEvent.objects.filter(new=SENT, dispatch__taken_back__isnull=False)
    for event in _listed(_not_followed(sent, SENT, [STOCK])):
        yield (
            f"Bottle {event.bottle.code} is of dispatch {event.dispatch.code}, which"
            " was taken back, and did not go back to stock with it."
        )
    gone = BottleEvent.objects.filter(taken_back__isnull=False)
    ends = [move.end for move in BOTTLE_CORRECTIONS if move.start is GONE]
    for event in _listed(_not_followed(gone, GONE, ends)):
        yield (
            f"Bottle {event.bottle.code} was recorded as found, never destroyed, and"
            " no move says so."
        )


def _lacking(events: QuerySet[BottleEvent], row: str) -> QuerySet[BottleEvent]:
    """Return those whose event before it has no such row that takes it back."""
    before = BottleEvent.objects.filter(
        bottle=OuterRef("bottle"), pk__lt=OuterRef("pk")
    )
    newest = Subquery(before.order_by("-pk").values(row)[:1])
    return events.annotate(back=newest).filter(back=None)


def _not_followed(
    events: QuerySet[BottleEvent], old: str, ends: list[Any]
) -> QuerySet[BottleEvent]:
    """Return those whose next event is not a move from ``old`` to one of ``ends``."""
    after = BottleEvent.objects.filter(bottle=OuterRef("bottle"), pk__gt=OuterRef("pk"))
    first = after.order_by("pk")
    found = events.annotate(
        next_old=Subquery(first.values("old")[:1]),
        next_new=Subquery(first.values("new")[:1]),
    )
    right = Q(next_old=old, next_new__in=ends)
    return found.filter(~right | Q(next_old=None))


def _listed(events: QuerySet[BottleEvent]) -> Iterator[Any]:
    return events.select_related("bottle", "dispatch").order_by("pk").iterator()
