"""How a recall stands: what was notified, reached, recovered, what is still out.

Also how long each step took, by the clock of the program, and what to do next.
"""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from django.db.models import Max

from quality.models import (
    AllClear,
    HazardEvaluation,
    Recall,
    RecallEvent,
    RecallRevision,
)
from quality.services import recall_hazard, recall_levels
from quality.services.recall_balance import Balance, BottleCount, balance_of
from quality.services.recall_clearing import Cleared, all_clear_list, untold
from quality.services.recall_holders import Holder, listed
from quality.services.recall_revising import Drift, drift_of

ALL = 100  # per cent


@dataclasses.dataclass(frozen=True, kw_only=True)
class Lasted:
    """A step of a recall, how long after the opening it was done, and in words."""

    slug: str
    words: str
    at: datetime.datetime | None
    after: datetime.timedelta | None

    @property
    def duration(self) -> str:
        """The time since the opening: “24 min”, or that it is not so far yet."""
        return "not yet" if self.after is None else lasting(self.after)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Effectiveness:
    """Who was reached of those to be reached, and what was got back.

    Shares are in per cent, rounded down, so that 100 % means all; None of nothing.
    """

    listed: int
    tried: int
    reached: int
    to_reach: int
    distributed: int
    back: int
    filled: int
    traced: int
    accounted: int

    @property
    def reached_percent(self) -> int | None:
        """Holders reached of those listed (C33)."""
        return share(self.reached, self.listed)

    @property
    def back_percent(self) -> int | None:
        """Bottles that came back of those that were out (C33)."""
        return share(self.back, self.distributed)

    @property
    def traced_percent(self) -> int | None:
        """Bottles whose place or holder is known, of those filled (C32)."""
        return share(self.traced, self.filled)

    @property
    def accounted_percent(self) -> int | None:
        """Bottles that are not out or that a holder spoke for, of those filled."""
        return share(self.accounted, self.filled)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Standing:
    """A recall as it stands now."""

    recall: Recall
    balance: Balance
    events: Sequence[RecallEvent]
    level: Mapping[str, Any] | None
    effect: Effectiveness
    times: Sequence[Lasted]
    drift: Drift
    evaluation: HazardEvaluation | None
    revisions: Sequence[RecallRevision]
    cleared: Sequence[Cleared]
    all_clears: Sequence[AllClear]

    @property
    def subject(self) -> str:
        """What the recall began with, in words."""
        return str(self.recall.subject)

    @property
    def level_in_words(self) -> str:
        """The level of effectiveness checks that was chosen."""
        return recall_levels.in_words(self.level)

    @property
    def level_source(self) -> str:
        """Where the levels are from."""
        return recall_levels.SOURCE

    @property
    def open_ends(self) -> list[str]:
        """What does not close, with names."""
        return self.balance.open_ends()

    @property
    def next_steps(self) -> list[str]:
        """What to do next, in sentences."""
        return list(_next_steps(self))

    @property
    def closing(self) -> RecallEvent | None:
        """The event that closed it, if it is closed."""
        for one in self.events:
            if one.new == Recall.Status.CLOSED:
                return one
        return None

    @property
    def kept(self) -> Mapping[str, Any] | None:
        """What was kept at the closing; recalls closed before kept nothing."""
        return self.closing.facts if self.closing else None


def standing_of(recall: Recall) -> Standing:
    """Return how a recall stands, in a fixed number of queries."""
    events = list(recall.events.select_related("entered_by__person"))
    balance = balance_of(recall)
    level = level_of(events)
    return Standing(
        recall=recall,
        balance=balance,
        events=events,
        level=level,
        effect=effect_of(balance, level),
        times=_times_kept(recall, events) or times_of(recall, balance.holders),
        drift=drift_of(recall),
        evaluation=recall_hazard.newest(recall),
        revisions=list(recall.revisions.select_related("entered_by__person")),
        cleared=all_clear_list(recall),
        all_clears=list(
            recall.all_clears.select_related("consignee", "entered_by__person")
        ),
    )


def level_of(events: Sequence[RecallEvent]) -> Mapping[str, Any] | None:
    """Return the level chosen when the holders were notified, or None."""
    for one in events:
        if one.new == Recall.Status.NOTIFIED and one.facts:
            return dict(one.facts)
    return None


def effect_of(balance: Balance, level: Mapping[str, Any] | None) -> Effectiveness:
    """Return who was reached and what came back; without a level all are to be."""
    holders, bottles = listed(balance.holders), balance.bottles
    percent = level["percent"] if level else ALL
    return Effectiveness(
        listed=len(holders),
        tried=sum(1 for one in holders if one.tries),
        reached=sum(1 for one in holders if one.is_reached),
        to_reach=recall_levels.to_reach(percent, len(holders)),
        distributed=bottles.distributed,
        back=bottles.back,
        filled=bottles.filled,
        traced=bottles.traced,
        accounted=bottles.accounted,
    )


def times_of(recall: Recall, holders: Sequence[Holder]) -> list[Lasted]:
    """Return how long after the opening each step was done.

    The list is ready when the program had found and kept all that is affected.
    """
    ready = recall.items.exclude(changes__is_affected=True).aggregate(
        at=Max("found_at")
    )["at"]
    firsts = [one.attempts[0].observed_at for one in holders if one.attempts]
    to_try = listed(holders)
    all_tried = None
    if to_try and all(one.tries for one in to_try):
        all_tried = max(one.tries[0].observed_at for one in to_try)
    call = "would call" if recall.is_mock else "tried"
    return [
        _lasted(recall, "list", "list ready", ready),
        _lasted(recall, "first", f"first holder: {call}", min(firsts, default=None)),
        _lasted(recall, "all", f"all holders: {call}", all_tried),
        _lasted(recall, "closed", "closed", recall.closed_at),
    ]


def _times_kept(recall: Recall, events: Sequence[RecallEvent]) -> list[Lasted]:
    """Return the times as they were kept at the closing, or none.

    Read again they would move: after a mock recall bottles leave for others.
    """
    kept = next((one.facts for one in events if one.new == Recall.Status.CLOSED), None)
    if not kept:
        return []
    words = {one.slug: one.words for one in times_of(recall, [])}
    return [
        _lasted(
            recall,
            slug,
            words[slug],
            None
            if seconds is None
            else recall.opened_at + datetime.timedelta(seconds=seconds),
        )
        for slug, seconds in ((slug, kept["seconds"][slug]) for slug in words)
    ]


def share(part: int, whole: int) -> int | None:
    """Return a share in whole per cent, rounded down, or None of nothing.

    >>> share(2, 3), share(3, 3), share(0, 0)
    (66, 100, None)
    """
    return part * ALL // whole if whole else None


def lasting(after: datetime.timedelta) -> str:
    """Return a duration in words; below zero, where a clock was set, it is none.

    >>> minute = datetime.timedelta(minutes=1)
    >>> lasting(minute / 100), lasting(24 * minute), lasting(65 * minute)
    ('less than a second', '24 min', '1 h 5 min')
    >>> lasting(minute / 2), lasting(2 * 24 * 60 * minute + 185 * minute)
    ('30 s', '2 days 3 h')
    """
    seconds = int(after.total_seconds())
    minutes, hours, days = seconds // 60, seconds // 3600, seconds // 86400
    if seconds < 1:
        return "less than a second"
    if not minutes:
        return f"{seconds} s"
    if not hours:
        return f"{minutes} min"
    if not days:
        return f"{hours} h {minutes % 60} min"
    return f"{days} {'day' if days == 1 else 'days'} {hours % 24} h"


def _lasted(
    recall: Recall, slug: str, words: str, at: datetime.datetime | None
) -> Lasted:
    after = None if at is None else max(at - recall.opened_at, datetime.timedelta())
    return Lasted(slug=slug, words=words, at=at, after=after)


def _next_steps(now: Standing) -> Iterator[str]:
    recall, bottles = now.recall, now.balance.bottles
    if recall.status == Recall.Status.CLOSED:
        yield from _after_the_closing(now)
        return
    yield from _about_the_book(now)
    to_reach = [one for one in listed(now.balance.holders) if not one.is_done]
    untried = sum(1 for one in to_reach if not one.tries)
    call = "Call them."
    if recall.is_mock:
        call = "MOCK: call nobody; say for each whether you would reach them."
    if untried:
        yield f"Not tried yet: {untried} of {now.effect.listed} holders. {call}"
    if len(to_reach) > untried:
        yield (
            f"Tried and not reached: {_counted(len(to_reach) - untried, 'holder')}."
            f" {'Find a number.' if recall.is_mock else 'Try again, another way.'}"
        )
    if not recall.is_mock:
        yield from _about_bottles(bottles)
    yield (
        "Say that the holders are notified, and choose the level of checks."
        if recall.status == Recall.Status.OPEN
        else "Close it, with your password, when all that can be done is done."
    )


def _about_bottles(bottles: BottleCount) -> Iterator[str]:
    """Yield what is to be done about bottles that are out, and those that are here."""
    if bottles.out:
        yield (
            f"Still out: {_counted(bottles.out, 'bottle')}. Fetch them, and record each"
            " one."
        )
    if bottles.here or bottles.returned or bottles.retained:
        here = bottles.here + bottles.returned
        yield (
            f"Here: {_counted(here, 'bottle')}, and {bottles.retained} kept as samples."
            " Decide about them when it is known what is wrong: destroy, or free them"
            " after the recall."
        )
    if bottles.recovered:
        yield (
            f"Recovered: {_counted(bottles.recovered, 'bottle')}. These can only be"
            " destroyed."
        )


def _about_the_book(now: Standing) -> Iterator[str]:
    """Yield what a corrected book asks for, and an evaluation that is not there."""
    if now.drift:
        yield (
            "The book was corrected since: more is affected, or less. Look at the"
            " recall again; until then what was found stays recalled."
        )
    anew = sum(1 for one in now.balance.holders if one.is_to_be_told_anew)
    if anew:
        yield (
            f"Told before more of theirs was found: {_counted(anew, 'holder')}. Tell"
            " them anew."
        )
    yield from _alarmed(now)
    if now.evaluation is None:
        yield "Write down how bad it could be, for whom, and how far down you go."


def _after_the_closing(now: Standing) -> Iterator[str]:
    """Yield what is left to do of a closed recall: of a mock one never anything."""
    if now.recall.is_mock:
        yield "Nothing: it is closed."
        return
    left = list(_alarmed(now))
    if now.drift.added:
        left.append(
            "The book was corrected since it was closed, and more is affected now. Open"
            f" another recall of {now.subject}."
        )
    yield from left or ["Nothing: it is closed. A late answer can still be recorded."]


def _alarmed(now: Standing) -> Iterator[str]:
    waiting = untold(now.cleared)
    if waiting and not now.recall.is_mock:
        yield f"Alarmed for nothing: {len(waiting)}. Tell them that theirs are clear."


def _counted(count: int, name: str) -> str:
    return f"{count} {name}{'' if count == 1 else 's'}"
