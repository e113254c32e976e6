"""A bottle that was recorded as destroyed by mistake is here again, not yet in stock.

A step of settling the doubt about it, :func:`.bottle_doubts.settle`: whoever found it
said so first, and where.
"""

from __future__ import annotations

from typing import Final

from batches.lifecycle import BOTTLE_CORRECTIONS, BottleStatus, find_move
from batches.models import (
    Bottle,
    BottleDiscrepancy,
    BottleDiscrepancyEnd,
    BottleEvent,
    DestructionTakenBack,
)
from batches.services import filling
from producer.codes import grouped
from producer.errors import Conflict, Refusal
from producer.models import Right, User
from producer.services.checks import require

# A sample never leaves, and what a recall fetched is destroyed: neither may get to
# stock by way of a hold.
AS_BEFORE: Final = (BottleStatus.RETAINED, BottleStatus.RECOVERED)


def take_back(*, by: User, end: BottleDiscrepancyEnd) -> BottleStatus:
    """Record that the bottle of a settled doubt never was destroyed; return its state.

    On hold, unless it was a kept sample or fetched by a recall before: then that
    again. Who had it, if it was out, stays with it, so that it is looked at before it
    goes back to stock. Callers hold the transaction and write the journal.
    """
    doubt = end.discrepancy
    bottle = Bottle.objects.get(pk=doubt.bottle_id)
    if doubt.kind != BottleDiscrepancy.Kind.SHOULD_NOT_EXIST:
        raise Refusal(
            f"This doubt is of another kind: {doubt.get_kind_display()}. If"
            f" {grouped(bottle.code)} is recorded as destroyed and was found, report"
            " that first.",
            field="never_destroyed",
        )
    if bottle.status != BottleStatus.DESTROYED:
        raise Refusal(
            f"{grouped(bottle.code)} is {BottleStatus(bottle.status).label} by now, not"
            " destroyed. Settle the doubt without this.",
            field="never_destroyed",
        )
    destroyed = BottleEvent.objects.filter(
        bottle=bottle, new=BottleStatus.DESTROYED
    ).latest("pk")
    new = where_to(destroyed)
    move = find_move(BOTTLE_CORRECTIONS, BottleStatus.DESTROYED, new)
    require(by, Right(move.right))
    DestructionTakenBack.objects.create(
        event=destroyed,
        reason=end.reason,
        observed_at=end.observed_at,
        entered_by=by,
    )
    rows = Bottle.objects.filter(pk=bottle.pk, status=BottleStatus.DESTROYED)
    if not rows.update(status=new):
        raise Conflict("This bottle was moved a moment ago. Look again.")
    filling.add_events(
        by=by,
        bottles=[bottle],
        old=BottleStatus.DESTROYED,
        new=new,
        reason=f"Found, never destroyed: {end.reason}",
    )
    return new


def where_to(destroyed: BottleEvent) -> BottleStatus:
    """Return the state of a bottle once the event that destroyed it is taken back."""
    before = BottleStatus(destroyed.old)
    return before if before in AS_BEFORE else BottleStatus.ON_HOLD
