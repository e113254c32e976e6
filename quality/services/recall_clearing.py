"""The all-clear list: whose bottles were recalled and are not affected after all.

A book that was corrected clears batches. Who was told of them is told so; what was
recorded of telling them before stays. Names and numbers are read from the register.
"""

from __future__ import annotations

import dataclasses
import uuid
from collections.abc import Sequence

from django.db import transaction
from django.utils import timezone

from batches.lifecycle import BottleStatus
from batches.models import Bottle, FillingLot
from producer import journal
from producer.errors import Refusal
from producer.models import Consignee, User
from producer.services.checks import require
from quality.models import AllClear, Recall, RecallContact
from quality.services.recall_contacts import right_of
from quality.services.recall_holders import attempts_of, holders_of, listed
from quality.services.recall_revising import cleared_lots
from quality.services.recall_spans import Span, add, in_words


@dataclasses.dataclass(kw_only=True)
class Cleared:
    """Somebody with bottles that a recall reached once and does not reach now.

    ``lots`` are their numbers by filling lot. ``attempts`` were made to reach them in
    the recall. ``keeps_others`` says that they have affected bottles as well.
    """

    consignee: Consignee | None
    name: str
    lots: dict[str, list[Span]] = dataclasses.field(default_factory=dict)
    attempts: list[RecallContact] = dataclasses.field(default_factory=list)
    keeps_others: bool = False
    told: AllClear | None = None

    @property
    def count(self) -> int:
        """How many bottles of theirs are clear."""
        return sum(
            last - first + 1 for runs in self.lots.values() for first, last in runs
        )

    @property
    def was_told(self) -> bool:
        """Say whether they were reached in the recall, and so alarmed for nothing."""
        return any(one.is_reached for one in self.attempts)

    @property
    def ranges(self) -> dict[str, str]:
        """The numbers in words, by filling lot."""
        return {lot: in_words(runs) for lot, runs in self.lots.items()}


def all_clear_list(recall: Recall) -> list[Cleared]:
    """Return everybody to whom it is to be said that bottles are not affected.

    Who was reached comes first; then those who only may have seen a bottle page.
    """
    lots, recalled = cleared_lots(recall)
    if not lots and not recalled:
        return []
    found = _holding(lots)
    listed_now = {one.consignee_id for one in listed(holders_of(recall))}
    others = {*listed_now, *_holding(recalled)}
    for attempt in attempts_of(recall):
        key, name = _who(attempt)
        # Of theirs nothing is out any more; of what was is nothing affected.
        if key not in others:
            to = attempt.consignee
            found.setdefault(key, Cleared(consignee=to, name=name))
        if key in found:
            found[key].attempts.append(attempt)
    # Told of an earlier clearing is not told of this one.
    last = recall.revisions.filter(changes__is_affected=False).latest("pk")
    since = recall.all_clears.filter(entered_at__gte=last.entered_at)
    told = {_who(one)[0]: one for one in since.order_by("pk")}
    for key, one in found.items():
        one.keeps_others, one.told = key in others, told.get(key)
    return sorted(
        found.values(), key=lambda one: (not one.was_told, -one.count, one.name)
    )


def _who(row: RecallContact | AllClear) -> tuple[int | str, str]:
    """Return what tells somebody apart from others, and their name."""
    if row.consignee is None:
        return row.who.casefold(), row.who
    return row.consignee.pk, row.consignee.name


def _holding(lots: Sequence[FillingLot]) -> dict[int | str, Cleared]:
    """Return who has bottles of these now, with their numbers, by id."""
    found: dict[int | str, Cleared] = {}
    numbers: dict[tuple[int, str], list[Span]] = {}
    rows = (
        Bottle.objects.filter(filling_lot__in=lots, status=BottleStatus.DISPATCHED)
        .select_related("consignee", "filling_lot")
        .order_by("filling_lot_id", "number")
    )
    for bottle in rows.iterator():
        to = bottle.consignee
        if to is not None:
            found.setdefault(to.pk, Cleared(consignee=to, name=to.name))
            key = (to.pk, bottle.filling_lot.code)
            add(numbers.setdefault(key, []), bottle.number)
    for (pk, lot), runs in numbers.items():
        found[pk].lots[lot] = runs
    return found


def untold(cleared: Sequence[Cleared]) -> list[Cleared]:
    """Return those who were reached in the recall and not told that it is over."""
    return [one for one in cleared if one.was_told and one.told is None]


@transaction.atomic
def give_all_clear(
    *,
    by: User,
    recall: Recall,
    means: str,
    consignee: Consignee | None = None,
    who: str = "",
    said: str = "",
    submission: uuid.UUID | None = None,
) -> AllClear:
    """Record that somebody was told that their bottles are not affected.

    Nothing is sent from here. Also after the closing: late is better than never.
    """
    require(by, right_of(by))
    journal.in_line()
    if recall.is_mock:
        raise Refusal("This is a mock recall: nobody was alarmed.")
    if not recall.revisions.exists():
        raise Refusal(
            "Nothing was cleared in this recall. Correct the book, look at the recall"
            " again, then tell them."
        )
    clear = {one.consignee.pk for one in all_clear_list(recall) if one.consignee}
    if consignee is not None and consignee.pk not in clear:
        raise Refusal(
            "Nothing of theirs is clear: they are not on the all-clear list. Look at"
            " what they have first.",
            field="consignee",
        )
    row = AllClear(
        recall=recall,
        consignee=consignee,
        who=who.strip(),
        means=means,
        said=said.strip(),
        observed_at=timezone.now(),
        entered_by=by,
    )
    row.full_clean()
    row.save(force_insert=True)
    journal.write(
        by=by,
        act="recall all clear given",
        subject=recall,
        label=recall.code,
        after={
            "to": consignee.reference if consignee else "somebody not in the register",
            "means": means,
        },
        submission=submission,
    )
    return row
