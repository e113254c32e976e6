"""What was out of the ordinary at the stove, for the exceptions of a batch."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from batches.models import Charge, HoldPoint
from quality.services import stove
from quality.services.reading_order.timeline import Event, how_weighed
from quality.services.reading_order.unusual import Unusual
from quality.services.reviewing import Review


def at_the_stove(events: Sequence[Event], review: Review) -> Iterator[Unusual]:
    """Yield what was not in order, came from paper, was passed over or did not fit."""
    yield from _not_in_order(events)
    yield from _under_a_condition(events)
    yield from _passed_over(events)
    yield from _from_paper(review)
    yield from _discrepancies(review)


def _not_in_order(events: Sequence[Event]) -> Iterator[Unusual]:
    """Yield each hold point that was found not in order, and what came of it."""
    looks = [one for one in events if isinstance(one.row, HoldPoint)]
    for event in looks:
        row = event.row
        if not isinstance(row, HoldPoint) or row.in_order or event.is_struck:
            continue
        later = [
            one.row
            for one in looks
            if isinstance(one.row, HoldPoint)
            and one.row.point == row.point
            and one.row.pk > row.pk
        ]
        after = " It was looked at again: in order." if _mended(later) else ""
        why = f" {row.note}" if row.note else ""
        yield Unusual(
            status="not_in_order",
            word="hold point not in order",
            sentence=(
                f"Hold point {row.get_point_display()} was not in order:"
                f" {row.found}{why}{after}".rstrip(": ")
            ),
            place=event.anchor,
        )


def _under_a_condition(events: Sequence[Event]) -> Iterator[Unusual]:
    """Yield each scale whose check passed under a condition, and why it counted."""
    for event in events:
        row = event.row
        if not isinstance(row, HoldPoint) or not row.in_order or event.is_struck:
            continue
        if row.point == HoldPoint.Point.SCALE and row.note:
            yield Unusual(
                status="conditional_pass",
                word="scale passed under a condition",
                sentence=f"{row.found} It counted because: {row.note}",
                place=event.anchor,
            )


def _mended(later: Sequence[HoldPoint]) -> bool:
    return bool(later) and later[-1].in_order


def _passed_over(events: Sequence[Event]) -> Iterator[Unusual]:
    for event in events:
        row = event.row
        if isinstance(row, Charge) and row.passed_over and not event.is_struck:
            yield Unusual(
                status="passed_over",
                word="lot passed over",
                sentence=f"{event.title} {event.code}: {how_weighed(row)}",
                place=event.anchor,
            )


def _from_paper(review: Review) -> Iterator[Unusual]:
    """Yield each sheet that entries were copied from, with how many."""
    rows = review.entries.on_paper
    for sheet in review.entries.sheets:
        count = sum(row.transcription_id == sheet.pk for row in rows)
        entries = "1 entry is" if count == 1 else f"{count} entries are"
        photograph = "with its photograph" if sheet.attachment else "no photograph"
        yield Unusual(
            status="from_paper",
            word="from paper",
            sentence=(
                f"{entries} transcribed from paper sheet {sheet.pk}, taken up by"
                f" {sheet.entered_by.person.name}, {photograph}: {sheet.note}"
            ),
            place="process",
        )


def _discrepancies(review: Review) -> Iterator[Unusual]:
    """Yield the settled ones; an open one is an obstacle, an explained one a note."""
    for row in review.discrepancies:
        end = stove.end_of(row)
        if end is not None and end.outcome == stove.Outcome.ENTERED:
            yield Unusual(
                status="discrepancy", word="discrepancy", sentence=stove.said_of(row)
            )
