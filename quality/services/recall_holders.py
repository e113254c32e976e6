"""Who is to be reached in a recall, in the order to telephone, and who was.

A holder is whoever has an affected bottle, or had one when the recall was opened. A
fixed number of queries, however many there are. Names and numbers are read from the
register each time and stand nowhere else.
"""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterator, Sequence
from typing import Any

from django.db.models import Count, OuterRef, Q, Subquery

from batches import trace
from batches.lifecycle import BottleStatus
from batches.models import Bottle, BottleEvent
from quality.models import Recall, RecallContact

TRIES = 3  # after that, who did not answer was tried enough: C33 of the requirements


@dataclasses.dataclass(kw_only=True)
class Holder:
    """Somebody to be reached: their bottles by the records, and every attempt.

    ``consignee_id`` is None for somebody who is not in the register; then ``name`` is
    the word that was written for them. ``lots`` are the bottles still out, by filling
    lot. ``back`` came back since the recall was opened, ``destroyed`` was destroyed
    where it was; ``gone_since_told`` of both left them after they last spoke of
    bottles.
    """

    consignee_id: int | None
    name: str
    phone: str = ""
    email: str = ""
    erased_at: datetime.datetime | None = None
    lots: dict[str, int] = dataclasses.field(default_factory=dict)
    back: int = 0
    destroyed: int = 0
    gone_since_told: int = 0
    attempts: list[RecallContact] = dataclasses.field(default_factory=list)

    @property
    def reference(self) -> str:
        """What is kept of them for good: no name, so that one can be erased."""
        if self.consignee_id is None:
            return "somebody not in the register"
        return f"consignee {self.consignee_id}"

    @property
    def out(self) -> int:
        """How many affected bottles they have by the records."""
        return sum(self.lots.values())

    @property
    def had(self) -> int:
        """How many they had since the recall was opened."""
        return self.out + self.back + self.destroyed

    @property
    def is_listed(self) -> bool:
        """Say whether the records know bottles of theirs."""
        return self.had > 0

    @property
    def is_reached(self) -> bool:
        """Say whether one attempt reached them, whatever a later one did."""
        return any(one.is_reached for one in self.attempts)

    @property
    def last(self) -> RecallContact | None:
        """The newest attempt."""
        return self.attempts[-1] if self.attempts else None

    @property
    def is_tried_enough(self) -> bool:
        """Say whether they were reached, or tried as often as can be asked."""
        return self.is_reached or len(self.attempts) >= TRIES

    @property
    def telling(self) -> RecallContact | None:
        """The newest attempt in which they said how many bottles there are."""
        for one in reversed(self.attempts):
            told = one.outcome == RecallContact.Outcome.NONE_LEFT
            if told or one.held is not None or one.used_up is not None:
                return one
        return None

    @property
    def said(self) -> int:
        """How many bottles they spoke of, held and used up together."""
        told = self.telling
        return (told.held or 0) + (told.used_up or 0) if told else 0

    @property
    def said_used(self) -> int:
        """How many of the bottles still out they said are used up."""
        told = self.telling
        left = max(0, self.said - self.gone_since_told)
        return min(self.out, told.used_up or 0, left) if told else 0

    @property
    def said_held(self) -> int:
        """How many of the bottles still out they said they have.

        What came back since they spoke was among them.
        """
        left = max(0, self.said - self.gone_since_told)
        return min(self.out, left) - self.said_used

    @property
    def unsaid(self) -> int:
        """How many bottles are still out of which nobody said anything."""
        return self.out - self.said_used - self.said_held


def holders_of(recall: Recall, batch_ids: Sequence[int] | None = None) -> list[Holder]:
    """Return everybody to be reached, who was not reached yet first.

    Among those who were not: who was not tried at all first, then who has most.
    """
    ids = trace.downstream_ids(recall.root_id) if batch_ids is None else batch_ids
    found: dict[int | str, Holder] = {}
    for row in _bottle_rows(recall, ids):
        _count(found.setdefault(row[0], _holder(*row[:5])), *row[5:])
    for attempt in attempts_of(recall):
        to = attempt.consignee
        if to is None:
            key: int | str = attempt.who.casefold()
            holder = found.setdefault(key, Holder(consignee_id=None, name=attempt.who))
        else:
            fields = (to.pk, to.name, to.phone, to.email, to.erased_at)
            holder = found.setdefault(to.pk, _holder(*fields))
        holder.attempts.append(attempt)
    for consignee_id, at in _left(recall, ids):
        one = found.get(consignee_id)
        if one and one.telling and at > one.telling.observed_at:
            one.gone_since_told += 1
    return sorted(
        found.values(),
        key=lambda one: (one.is_reached, len(one.attempts), -one.out, one.name),
    )


def attempts_of(recall: Recall) -> list[RecallContact]:
    """Return the attempts that stand, in the order in which they were made."""
    rows = RecallContact.objects.current().filter(recall=recall)
    rows = rows.select_related(
        "recall", "consignee", "entered_by__person", "supersedes"
    )
    return list(rows.order_by("observed_at", "pk"))


def listed(holders: Sequence[Holder]) -> list[Holder]:
    """Return those of whom the records know bottles: whoever must be reached."""
    return [one for one in holders if one.is_listed]


def _bottle_rows(recall: Recall, ids: Sequence[int]) -> Iterator[tuple[Any, ...]]:
    left = BottleEvent.objects.filter(
        bottle=OuterRef("pk"),
        old=BottleStatus.DISPATCHED,
        entered_at__gte=recall.opened_at,
    )
    rows = (
        Bottle.objects.filter(filling_lot__batch_id__in=ids, consignee__isnull=False)
        .annotate(went=Subquery(left.order_by("-pk").values("new")[:1]))
        .filter(Q(status=BottleStatus.DISPATCHED) | Q(went__isnull=False))
        .order_by()
        .values_list(
            "consignee_id",
            "consignee__name",
            "consignee__phone",
            "consignee__email",
            "consignee__erased_at",
            "filling_lot__code",
            "status",
            "went",
        )
        .annotate(Count("pk"))
    )
    yield from rows


def _left(recall: Recall, ids: Sequence[int]) -> Iterator[tuple[Any, ...]]:
    """Yield whose each bottle was that left its holder since the opening, and when."""
    rows = BottleEvent.objects.filter(
        bottle__filling_lot__batch_id__in=ids,
        bottle__consignee__isnull=False,
        old=BottleStatus.DISPATCHED,
        entered_at__gte=recall.opened_at,
    )
    yield from rows.values_list("bottle__consignee_id", "entered_at").iterator()


def _holder(
    pk: int,
    name: str,
    phone: str,
    email: str,
    erased_at: datetime.datetime | None,
) -> Holder:
    return Holder(
        consignee_id=pk, name=name, phone=phone, email=email, erased_at=erased_at
    )


def _count(holder: Holder, lot: str, status: str, went: str | None, n: int) -> None:
    if status == BottleStatus.DISPATCHED:
        holder.lots[lot] = holder.lots.get(lot, 0) + n
    elif went == status == BottleStatus.DESTROYED:
        holder.destroyed += n
    else:
        holder.back += n


def consignees_of(holders: Sequence[Holder]) -> list[int]:
    """Return the ids of those in the register, in the order to telephone."""
    return [one.consignee_id for one in holders if one.consignee_id is not None]
