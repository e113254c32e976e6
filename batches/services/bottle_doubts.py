"""A bottle found where the records say it cannot be: reported, then settled.

Two bottles with one code are one identity too many, and one of their sisters has none.
So while that is open, no bottle of the same filling lot leaves.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from batches.lifecycle import BottleStatus
from batches.models import Bottle, BottleDiscrepancy, BottleDiscrepancyEnd
from batches.services import destroyed_back, filling, label_counts
from producer import journal
from producer.codes import grouped
from producer.errors import Conflict, Refusal
from producer.models import Right, User
from producer.services.checks import need_reason, require

Kind = BottleDiscrepancy.Kind
NEVER_TO_LEAVE = (
    BottleStatus.RETAINED,
    BottleStatus.RECOVERED,
    BottleStatus.DESTROYED,
)


@transaction.atomic
def report(
    *,
    by: User,
    bottle: Bottle,
    kind: str,
    found: str,
    submission: uuid.UUID | None = None,
) -> BottleDiscrepancy:
    """Record that a bottle was found where it cannot be, and hold it if it is here.

    ``found`` says where and how. Whoever finds it may say so, maker or reviewer; a
    bottle in stock or come back is held, one that is out is asked back.
    """
    require(by, Right.MAKER if by.may(Right.MAKER) else Right.REVIEWER)
    journal.in_line()
    found = need_reason(found)
    bottle = Bottle.objects.listed().get(pk=bottle.pk)
    if kind == Kind.SHOULD_NOT_EXIST and bottle.status != BottleStatus.DESTROYED:
        raise Refusal(
            f"{grouped(bottle.code)} is {BottleStatus(bottle.status).label}, not"
            " destroyed. Choose what else does not fit.",
            field="kind",
        )
    row = BottleDiscrepancy(
        bottle=bottle,
        kind=kind,
        found=found,
        observed_at=timezone.now(),
        entered_by=by,
    )
    row.full_clean()
    row.save(force_insert=True)
    held = filling.hold_one_here(by=by, bottle=bottle, reason=row.get_kind_display())
    journal.write(
        by=by,
        act="bottle in doubt",
        subject=row,
        label=bottle.code,
        after={"kind": kind, "found": found, "bottles_held": held},
        submission=submission,
    )
    return row


@transaction.atomic
def settle(
    *,
    by: User,
    doubt: BottleDiscrepancy,
    reason: str,
    never_destroyed: bool = False,
    submission: uuid.UUID | None = None,
) -> BottleDiscrepancyEnd:
    """Record what it was and what was done. The bottle stays on hold until freed.

    Its sisters may leave again once a double is settled: so each label that was
    printed for them is accounted for before, as at the door. ``never_destroyed`` says
    of one that was found that recording it as destroyed was a mistake: it is here
    again, on hold until a reviewer frees it; see :mod:`.destroyed_back`.
    """
    require(by, Right.REVIEWER)
    journal.in_line()
    reason = need_reason(reason)
    if BottleDiscrepancyEnd.objects.filter(discrepancy=doubt).exists():
        raise Conflict("This was settled a moment ago. Look again.")
    why_not = _why_not_settled(doubt)
    if why_not:
        raise Refusal(why_not)
    row = BottleDiscrepancyEnd.objects.create(
        discrepancy=doubt, reason=reason, observed_at=timezone.now(), entered_by=by
    )
    here = destroyed_back.take_back(by=by, end=row) if never_destroyed else None
    journal.write(
        by=by,
        act="doubt about a bottle settled",
        subject=row,
        label=doubt.bottle.code,
        before={"kind": doubt.kind, "found": doubt.found},
        after={"never_destroyed": True, "status": here.value} if here else None,
        reason=reason,
        submission=submission,
    )
    return row


def still_open() -> QuerySet[BottleDiscrepancy]:
    """Return the doubts that nobody has settled, oldest first."""
    rows = BottleDiscrepancy.objects.filter(end__isnull=True)
    return rows.select_related("bottle__filling_lot", "entered_by__person")


def open_doubts(bottles: Sequence[Bottle]) -> list[BottleDiscrepancy]:
    """Return what stands in the way of these bottles: their own doubts, and doubles.

    A double of any bottle of the same filling lot counts: see the module.
    """
    lots = {bottle.filling_lot_id for bottle in bottles}
    own = {bottle.pk for bottle in bottles}
    rows = still_open().filter(bottle__filling_lot__in=lots)
    return [row for row in rows if row.bottle_id in own or row.kind == Kind.DUPLICATE]


def of_bottle(bottle: Bottle) -> QuerySet[BottleDiscrepancy]:
    """Return every doubt there was about a bottle, with how it ended."""
    rows = BottleDiscrepancy.objects.filter(bottle=bottle)
    return rows.select_related("end__entered_by__person", "entered_by__person")


def _why_not_settled(doubt: BottleDiscrepancy) -> str:
    """Return what is to be done before a doubt can be settled, or nothing.

    Where no bottle of the filling lot can leave any more, its labels stop nothing.
    """
    lot = doubt.bottle.filling_lot
    to_leave = lot.bottles.exclude(status__in=NEVER_TO_LEAVE)
    if doubt.kind != Kind.DUPLICATE or not to_leave.exists():
        return ""
    told = label_counts.open_counts([lot]).get(lot.pk)
    if not told:
        return ""
    return (
        f"{told} Once this is settled, its bottles may leave again, and one of these"
        " labels may be on a bottle it does not belong to. Find each label, count it on"
        f" the page of {lot.code}, then settle this."
    )
