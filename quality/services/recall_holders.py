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

from batches.lifecycle import BottleStatus
from batches.models import Bottle, BottleEvent, FillingLot
from quality.models import Recall, RecallChange, RecallContact
from quality.services import recall_scope
from quality.services.recall_scope import Scope

TRIES = 3  # after that, who did not answer was tried enough: C33 of the requirements


@dataclasses.dataclass(kw_only=True)
class Holder:
    """Somebody to be reached: their bottles by the records, and every attempt.

    ``consignee_id`` is None for somebody who is not in the register; then ``name`` is
    the word that was written for them. ``lots`` are the bottles still out, by filling
    lot. ``back`` came back since the recall was opened, ``destroyed`` was destroyed
    where it was; ``gone_since_told`` of both left them after they last spoke of
    bottles. ``since`` is when a later look found more bottles of theirs affected: they
    are to be told anew.
    """

    consignee_id: int | None
    name: str
    address: str = ""
    phone: str = ""
    email: str = ""
    erased_at: datetime.datetime | None = None
    lots: dict[str, int] = dataclasses.field(default_factory=dict)
    back: int = 0
    destroyed: int = 0
    gone_since_told: int = 0
    attempts: list[RecallContact] = dataclasses.field(default_factory=list)
    since: datetime.datetime | None = None

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
    def tries(self) -> list[RecallContact]:
        """The attempts since all that they have is known to be affected."""
        since = self.since
        if since is None:
            return self.attempts
        # Who types a time types the minute; so the entry has to come after it, too.
        minute = since.replace(second=0, microsecond=0)
        return [
            one
            for one in self.attempts
            if one.observed_at >= minute and one.entered_at >= since
        ]

    @property
    def is_reached(self) -> bool:
        """Say whether one attempt reached them, whatever a later one did."""
        return any(one.is_reached for one in self.tries)

    @property
    def is_done(self) -> bool:
        """Say whether they were reached, or have given back all that they had."""
        return self.is_reached or (self.had > 0 and not self.out)

    @property
    def is_to_be_told_anew(self) -> bool:
        """Say whether they were told before more of theirs was found affected."""
        return self.since is not None and bool(self.attempts) and not self.is_reached

    @property
    def last(self) -> RecallContact | None:
        """The newest attempt."""
        return self.attempts[-1] if self.attempts else None

    @property
    def is_tried_enough(self) -> bool:
        """Say whether they were reached, or tried as often as can be asked."""
        return self.is_done or len(self.tries) >= TRIES

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


def holders_of(recall: Recall, scope: Scope | None = None) -> list[Holder]:
    """Return everybody to be reached, who was not reached yet first.

    Among those who were not: who was not tried at all first, then who has most.
    """
    scope = scope or recall_scope.scope_of(recall)
    found: dict[int | str, Holder] = {}
    added = found_since(recall)
    for row in _bottle_rows(recall, scope):
        holder, lot = found.setdefault(row[0], _holder(*row[:6])), row[6]
        _count(holder, *row[6:])
        if lot in added and (holder.since is None or holder.since < added[lot]):
            holder.since = added[lot]
    for attempt in attempts_of(recall):
        to = attempt.consignee
        if to is None:
            key: int | str = attempt.who.casefold()
            holder = found.setdefault(key, Holder(consignee_id=None, name=attempt.who))
        else:
            fields = (to.pk, to.name, to.address, to.phone, to.email, to.erased_at)
            holder = found.setdefault(to.pk, _holder(*fields))
        holder.attempts.append(attempt)
    for consignee_id, at in _left(recall, scope):
        one = found.get(consignee_id)
        if one and one.telling and at > one.telling.observed_at:
            one.gone_since_told += 1
    return sorted(
        found.values(),
        key=lambda one: (one.is_reached, len(one.tries), -one.out, one.name),
    )


def found_since(recall: Recall) -> dict[str, datetime.datetime]:
    """Return, by filling lot that a later look found affected, when that was.

    By its code; the newest look that added it counts. Empty, in one query, where a
    recall was never looked at again.
    """
    at: dict[str, datetime.datetime] = {}
    changes = RecallChange.objects.filter(revision__recall=recall, is_affected=True)
    for change in changes.select_related("revision", "item", "root").order_by("pk"):
        lots = FillingLot.objects.filter(
            Q(batch=change.item.stock_id)
            if change.item is not None
            else Q(pk=change.root and change.root.filling_lot_id)
        )
        when = change.revision.observed_at
        at |= dict.fromkeys(lots.values_list("code", flat=True), when)
    return at


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


def _bottle_rows(recall: Recall, scope: Scope) -> Iterator[tuple[Any, ...]]:
    left = BottleEvent.objects.filter(
        bottle=OuterRef("pk"),
        old=BottleStatus.DISPATCHED,
        entered_at__gte=recall.opened_at,
    )
    rows = (
        Bottle.objects.filter(scope.bottles(), consignee__isnull=False)
        .annotate(went=Subquery(left.order_by("-pk").values("new")[:1]))
        .filter(Q(status=BottleStatus.DISPATCHED) | Q(went__isnull=False))
        .order_by()
        .values_list(
            "consignee_id",
            "consignee__name",
            "consignee__address",
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


def _left(recall: Recall, scope: Scope) -> Iterator[tuple[Any, ...]]:
    """Yield whose each bottle was that left its holder since the opening, and when."""
    rows = BottleEvent.objects.filter(
        scope.bottles("bottle__"),
        bottle__consignee__isnull=False,
        old=BottleStatus.DISPATCHED,
        entered_at__gte=recall.opened_at,
    )
    yield from rows.values_list("bottle__consignee_id", "entered_at").iterator()


def _holder(
    pk: int,
    name: str,
    address: str,
    phone: str,
    email: str,
    erased_at: datetime.datetime | None,
) -> Holder:
    return Holder(
        consignee_id=pk,
        name=name,
        address=address,
        phone=phone,
        email=email,
        erased_at=erased_at,
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
