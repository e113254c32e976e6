"""What our own people see of a bottle besides its history: sisters and next act."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Sequence

from django.db.models import Count
from django.urls import reverse

from batches.lifecycle import BatchStatus, BottleStatus
from batches.models import Bottle, BottleDiscrepancy, LabelCopy
from batches.services.bottle_doubts import open_doubts
from batches.services.filling_state import why_not_leaving
from producer.models import Right, User
from quality.models import Recall
from quality.services import may_leave

MAKER, REVIEWER = (Right.MAKER,), (Right.REVIEWER,)
EITHER = (Right.MAKER, Right.REVIEWER)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Sisters:
    """So many bottles of one filling lot that are in one state and one place."""

    status: str
    where: str
    count: int

    @property
    def label(self) -> str:
        """The state in words."""
        return BottleStatus(self.status).label


@dataclasses.dataclass(frozen=True, kw_only=True)
class Next:
    """The one thing to do about a bottle: why, the act, its page, who may."""

    heading: str
    text: str
    do: str = ""
    at: str = ""
    rights: tuple[Right, ...] = EITHER

    @property
    def whose(self) -> str:
        """Whose it is, for those who may not: “a maker or a reviewer”."""
        return " or ".join(f"a {right.label.lower()}" for right in self.rights)

    def is_for(self, user: User) -> bool:
        """Say whether this account may do it."""
        return any(user.may(right) for right in self.rights)


def sisters_of(bottle: Bottle) -> list[Sisters]:
    """Return all bottles of its filling lot, itself included, by state and place."""
    return sisters_in(bottle.filling_lot_id)


def sisters_in(filling_lot_id: int) -> list[Sisters]:
    """Return all bottles of a filling lot by state and place.

    One question, however many there are. Those that are out come first.
    """
    rows = (
        Bottle.objects.filter(filling_lot_id=filling_lot_id)
        .order_by()
        .values_list("status", "consignee__name", "place__name")
        .annotate(count=Count("pk"))
    )
    counts: dict[tuple[str, str], int] = {}
    for status, holder, place, count in rows:
        key = (status, where_is(status, holder or "", place or ""))
        counts[key] = counts.get(key, 0) + count
    found = [
        Sisters(status=status, where=where, count=count)
        for (status, where), count in counts.items()
    ]
    return sorted(
        found,
        key=lambda one: (
            one.status != BottleStatus.DISPATCHED,
            one.status,
            one.where,
        ),
    )


def where_is(status: str, holder: str, place: str) -> str:
    """Return where a bottle is: with whom, on which shelf, or nowhere any more.

    >>> where_is("dispatched", "Corner Shop", "shelf"), where_is("filled", "", "shelf")
    ('Corner Shop', 'shelf')
    """
    if status == BottleStatus.DISPATCHED:
        return holder
    if status == BottleStatus.DESTROYED:
        return "nowhere any more"
    return place or "on the premises, no place recorded"


def copies_of(bottle: Bottle) -> list[LabelCopy]:
    """Return every label printed for a bottle, with when, by whom and why."""
    rows = LabelCopy.objects.filter(bottle=bottle).order_by("copy")
    return list(rows.select_related("issue__entered_by__person", "issue__label"))


def next_of(
    bottle: Bottle,
    *,
    recalls: Sequence[Recall],
    doubts: Sequence[BottleDiscrepancy],
    today: datetime.date,
) -> Next:
    """Return the next act: a recall first, then a doubt, then what its state asks.

    ``doubts`` are those still open. What is in stock is asked about as at the door: so
    many questions, however many bottles the filling lot has.
    """
    for recall in recalls:
        if recall.status != Recall.Status.CLOSED:
            return _in_a_recall(bottle, recall)
    if doubts:
        return Next(
            heading="Settle the doubt about it",
            text=doubts[0].found,
            do="Settle it",
            at=reverse("quality:bottle_doubt_settle", args=[doubts[0].pk]),
            rights=REVIEWER,
        )
    return _by_state(bottle, today)


def _in_a_recall(bottle: Bottle, recall: Recall) -> Next:
    at_recall = reverse("quality:recall", args=[recall.code])
    if bottle.status == BottleStatus.DISPATCHED:
        holder = bottle.consignee.name if bottle.consignee else "its holder"
        return Next(
            heading=f"Recall {recall.code}: get it back",
            text=f"It is with {holder}. Record it as recovered when you have it.",
            do="It is back",
            at=_move(bottle),
        )
    if bottle.status == BottleStatus.DESTROYED:
        return Next(
            heading=f"Recall {recall.code}: nothing more to do",
            text="It is recorded as destroyed. If you hold it all the same, say so.",
            do="It was found",
            at=_doubt(bottle),
        )
    return Next(
        heading=f"Recall {recall.code}: keep it here",
        text="Nothing of it leaves while the recall is open. Then destroy it.",
        do="To the recall",
        at=at_recall,
    )


def _by_state(bottle: Bottle, today: datetime.date) -> Next:
    status = BottleStatus(bottle.status)
    if status is BottleStatus.FILLED:
        return _in_stock(bottle, today)
    if status is BottleStatus.ON_HOLD:
        return _held(bottle)
    known = {
        BottleStatus.DISPATCHED: Next(
            heading="Nothing to do",
            text="It is out. Record it when it comes back or is known to be broken.",
            do="It came back, broke, …",
            at=_move(bottle),
        ),
        BottleStatus.RETURNED: Next(
            heading="Look at it",
            text=(
                "Sealed, whole, its label clean: a reviewer puts it back to stock."
                " Anything else: destroy it, or put it on hold."
            ),
            do="Record what you found",
            at=_move(bottle),
        ),
        BottleStatus.RECOVERED: Next(
            heading="Destroy it",
            text="A recall fetched it. It does not go back into stock.",
            do="Record that it is destroyed",
            at=_move(bottle),
            rights=MAKER,
        ),
        BottleStatus.RETAINED: Next(
            heading="Keep it",
            text="It is the sample of its filling lot and never leaves.",
            do="To the filling lot",
            at=_lot(bottle),
        ),
        BottleStatus.DESTROYED: Next(
            heading="Nothing to do",
            text=(
                "It is destroyed. If you hold it in your hand, say where it was"
                " found. A reviewer who settles that can take back that it was"
                " destroyed."
            ),
            do="It was found",
            at=_doubt(bottle),
        ),
    }
    return known[status]


def _held(bottle: Bottle) -> Next:
    batch = bottle.filling_lot.batch
    if batch.status != BatchStatus.RELEASED:
        return Next(
            heading="Not before its batch is decided about",
            text=f"Batch {batch.number} is {BatchStatus(batch.status).label}.",
            do="Review the batch",
            at=reverse("quality:review", args=[batch.number]),
            rights=REVIEWER,
        )
    last = bottle.events.filter(new=BottleStatus.ON_HOLD).last()
    why = last.reason if last and last.reason else "No reason was written down."
    return Next(
        heading="Decide about it",
        text=f"On hold because: {why}",
        do="Free it or destroy it",
        at=_move(bottle),
        rights=REVIEWER,
    )


def _in_stock(bottle: Bottle, today: datetime.date) -> Next:
    lot = bottle.filling_lot
    if lot.use_by < today:
        return Next(
            heading="Destroy it",
            text="It is past its use-by date and does not leave any more.",
            do="Record that it is destroyed",
            at=_move(bottle),
            rights=MAKER,
        )
    if lot.batch.status != BatchStatus.RELEASED:
        return _held(bottle)
    waiting = why_not_leaving([lot]).get(lot.pk)
    if waiting:
        return Next(
            heading="Release its filling lot",
            text=waiting,
            do="To the filling lot",
            at=_lot(bottle),
        )
    stops = may_leave.against([bottle], today).get(bottle.pk)
    if stops:
        return _stopped(bottle, stops)
    return Next(
        heading="It may leave",
        text="Its batch is released and nothing stands against it.",
        do="Send it to a consignee",
        at=f"{reverse('quality:dispatch_new')}?filling_lot={lot.code}",
        rights=MAKER,
    )


def _stopped(bottle: Bottle, stops: Sequence[str]) -> Next:
    """Return what stands in its way at the door; first the double of a sister."""
    for doubt in open_doubts([bottle]):
        return Next(
            heading="It may not leave yet",
            text=" ".join(stops),
            do="Settle the doubt",
            at=reverse("quality:bottle_doubt_settle", args=[doubt.pk]),
            rights=REVIEWER,
        )
    return Next(
        heading="It may not leave yet",
        text=" ".join(stops),
        do="To the filling lot",
        at=_lot(bottle),
    )


def _move(bottle: Bottle) -> str:
    return reverse("quality:bottle_move", args=[bottle.code])


def _doubt(bottle: Bottle) -> str:
    return reverse("quality:bottle_doubt_report", args=[bottle.code])


def _lot(bottle: Bottle) -> str:
    return reverse("batches:filling_lot", args=[bottle.filling_lot.code])
