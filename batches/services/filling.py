"""From a released batch into numbered bottles, and what becomes of a bottle."""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Iterable, Sequence
from decimal import Decimal

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from batches import trace
from batches.chemistry.dilution import net_mass
from batches.chemistry.errors import ChemistryError
from batches.lifecycle import (
    BOTTLE_MOVES,
    BatchStatus,
    BottleStatus,
    ForbiddenMove,
    find_move,
)
from batches.models import Batch, Bottle, BottleEvent, BulkWeighing, FillingLot, Formula
from batches.services import moves
from producer import journal, written
from producer.codes import new_bottle_code
from producer.errors import Conflict, Refusal
from producer.models import Right, StockMovement, User
from producer.quantities import milligrams
from producer.services import stock as ledger
from producer.services.checks import (
    local_day,
    need_reason,
    plausible_time,
    require,
)
from producer.services.numbers import next_code

SMALLEST_BOTTLE_UL = 10_000
MOST_BOTTLES = 2000  # in one filling; a slip of the finger, not a day's work


@transaction.atomic
def fill(
    *,
    by: User,
    batch: Batch,
    nominal_ul: int,
    density: Decimal,
    count: int,
    loss_mg: int = 0,
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> FillingLot:
    """Fill ``count`` bottles of ``nominal_ul`` each, and number them.

    The mass drawn is count × nominal quantity × density, plus what was lost.
    """
    require(by, Right.MAKER)
    batch = moves.locked(batch)
    _fillable(batch, count)
    observed_at = plausible_time(observed_at or timezone.now())
    if nominal_ul < SMALLEST_BOTTLE_UL:
        raise Refusal(
            "A bottle of less than 10 ml is a slip of the unit. Write 0.25 l, or 250"
            " ml.",
            field="nominal_ul",
        )
    try:
        filled_mg = milligrams(net_mass(nominal_ul, density) * count)
    except ChemistryError as error:
        raise Refusal(str(error)) from error
    lot = FillingLot(
        code=next_code("F", local_day(observed_at).year),
        batch=batch,
        nominal_ul=nominal_ul,
        density=density,
        count=count,
        filled_mg=filled_mg,
        loss_mg=loss_mg,
        use_by=use_by(batch),
        observed_at=observed_at,
        entered_by=by,
    )
    lot.full_clean()
    ledger.move(
        by=by,
        stock=batch.stock,
        kind=StockMovement.Kind.FILLING,
        amount_mg=-(filled_mg + loss_mg),
        observed_at=observed_at,
        purpose=lot.code,
    )
    lot.save(force_insert=True)
    _make_bottles(by, lot)
    journal.write(
        by=by,
        act="bottles filled",
        subject=lot,
        label=lot.code,
        after={
            "batch": batch.number,
            "count": count,
            "nominal_ul": nominal_ul,
            "density": str(density),
            "filled_mg": filled_mg,
            "loss_mg": loss_mg,
        },
        submission=submission,
    )
    return lot


def use_by(batch: Batch) -> datetime.date:
    """Return the earliest day on which the life of the batch, or of one in it, ends.

    The life is that of the formula version, from the day the batch was weighed out.
    """
    within = trace.upstream_ids(batch.pk)
    weighings = BulkWeighing.objects.current().filter(batch__in=within)
    return min(
        local_day(weighing.observed_at)
        + datetime.timedelta(days=weighing.batch.formula_version.shelf_life_days)
        for weighing in weighings.select_related("batch__formula_version")
    )


@transaction.atomic
def move_bottle(
    *,
    by: User,
    bottle: Bottle,
    new: str,
    reason: str,
    submission: uuid.UUID | None = None,
) -> Bottle:
    """Record that a bottle came back, was recovered, destroyed, held or freed."""
    reason = need_reason(reason)
    old = bottle.status
    if new == BottleStatus.DISPATCHED:
        raise Refusal("Dispatch bottles on the page “Dispatch”, to a consignee.")
    batch = moves.locked(bottle.filling_lot.batch)
    if new == BottleStatus.FILLED and batch.status != BatchStatus.RELEASED:
        raise Refusal(
            f"Batch {batch.number} is {BatchStatus(batch.status).label}, so the bottle"
            " cannot go back to stock."
        )
    change_bottles(by=by, bottles=[bottle], new=BottleStatus(new), reason=reason)
    journal.write(
        by=by,
        act=f"bottle {BottleStatus(new).label}",
        subject=bottle,
        label=bottle.code,
        before={"status": old},
        after={"status": new},
        reason=reason,
        submission=submission,
    )
    bottle.status = new
    return bottle


def change_bottles(
    *, by: User, bottles: Sequence[Bottle], new: BottleStatus, reason: str
) -> int:
    """Move bottles, each by a conditional UPDATE, and add their events.

    Callers hold the transaction and write the journal. Returns how many moved.
    """
    for old in {bottle.status for bottle in bottles}:
        group = [bottle for bottle in bottles if bottle.status == old]
        try:
            move = find_move(BOTTLE_MOVES, BottleStatus(old), new)
        except ForbiddenMove as error:
            raise Conflict(f"Bottle {group[0].code}: {error}") from error
        require(by, Right(move.right))
        _update(group, old=old, new=new)
        add_events(by=by, bottles=group, old=old, new=new, reason=reason)
    return len(bottles)


def hold_here(*, by: User, batch_ids: Sequence[int], reason: str) -> int:
    """Hold every bottle of these batches that is still here; return how many.

    Whoever found the reason: making it safer needs no right of a reviewer, lifting it
    does. Callers hold the transaction and write the journal.
    """
    of_batches = Bottle.objects.filter(filling_lot__batch_id__in=batch_ids)
    return _hold(by, of_batches, reason)


def hold_lot_here(*, by: User, filling_lot: FillingLot, reason: str) -> int:
    """Hold every bottle of a filling lot that is still here, as :func:`hold_here`."""
    return _hold(by, Bottle.objects.filter(filling_lot=filling_lot), reason)


def _hold(by: User, bottles: QuerySet[Bottle], reason: str) -> int:
    old, new = BottleStatus.FILLED, BottleStatus.ON_HOLD
    here = list(bottles.filter(status=old))
    _update(here, old=old, new=new)
    add_events(by=by, bottles=here, old=old, new=new, reason=reason)
    return len(here)


def add_events(
    *,
    by: User,
    bottles: Iterable[Bottle],
    old: str,
    new: str,
    reason: str = "",
    dispatch_id: int | None = None,
    observed_at: datetime.datetime | None = None,
) -> None:
    """Add one event a bottle."""
    now = observed_at or timezone.now()
    written.create_all(
        BottleEvent,
        (
            BottleEvent(
                bottle=bottle,
                old=old,
                new=new,
                reason=reason,
                dispatch_id=dispatch_id,
                observed_at=now,
                entered_by=by,
            )
            for bottle in bottles
        ),
    )


def _update(group: Sequence[Bottle], *, old: str, new: BottleStatus) -> None:
    ids = [bottle.pk for bottle in group]
    for start in range(0, len(ids), 500):
        piece = ids[start : start + 500]
        values: dict[str, object] = {"status": new}
        if new is BottleStatus.FILLED:  # back in stock: nobody has it
            values["consignee"] = None
        changed = Bottle.objects.filter(pk__in=piece, status=old).update(**values)
        if changed != len(piece):
            raise Conflict(
                "Somebody else moved one of these bottles a moment ago. Look again."
            )


def why_not_filled(batch: Batch) -> str:
    """Return why nothing of this batch goes into bottles as it stands, or nothing."""
    if batch.status != BatchStatus.RELEASED:
        return (
            f"Batch {batch.number} is {BatchStatus(batch.status).label}. Only a"
            " released batch is filled into bottles."
        )
    if batch.formula_version.formula.purpose == Formula.Purpose.PASTE:
        return (
            "This paste is for further use on the premises. Dilute it, then fill that."
        )
    return ""


def _fillable(batch: Batch, count: int) -> None:
    refused = why_not_filled(batch)
    if refused:
        raise Refusal(refused)
    if not 0 < count <= MOST_BOTTLES:
        raise Refusal(
            f"Fill between 1 and {MOST_BOTTLES} bottles at a time.", field="count"
        )


def _make_bottles(by: User, lot: FillingLot) -> None:
    codes: set[str] = set()
    while len(codes) < lot.count:
        codes.add(new_bottle_code())
    made = written.create_all(
        Bottle,
        (
            Bottle(filling_lot=lot, number=number, code=code)
            for number, code in enumerate(codes, start=1)
        ),
    )
    add_events(
        by=by,
        bottles=made,
        old="",
        new=BottleStatus.FILLED,
        observed_at=lot.observed_at,
    )
