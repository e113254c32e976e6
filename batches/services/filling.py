"""From a released batch into numbered bottles, and what becomes of a bottle."""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Iterable, Sequence
from decimal import Decimal

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from batches.chemistry.dilution import net_mass
from batches.chemistry.errors import ChemistryError
from batches.lifecycle import (
    BOTTLE_MOVES,
    BatchStatus,
    BottleStatus,
    ForbiddenMove,
    find_move,
)
from batches.models import Batch, Bottle, BottleEvent, FillingLot, Formula
from batches.services import back_in_stock, filling_balance, moves
from batches.services import density as densities
from batches.services.portion_books import leave_alone
from batches.services.use_by import first_end
from producer import journal, written
from producer.codes import new_bottle_code
from producer.errors import Conflict, Refusal
from producer.models import Place, Right, StockMovement, User
from producer.quantities import milligrams
from producer.services import stock as ledger
from producer.services.checks import (
    existed_at,
    local_day,
    not_before,
    plausible_time,
    require,
)
from producer.services.numbers import next_code

SMALLEST_BOTTLE_UL = 10_000
MOST_BOTTLES = 5000  # in one filling; a slip of the finger, not a day's work


@transaction.atomic
def fill(  # noqa: PLR0913 - as much as there is to say of a filling
    *,
    by: User,
    batch: Batch,
    nominal_ul: int,
    density: Decimal,
    count: int,
    density_reason: str = "",
    loss_mg: int = 0,
    planned: int | None = None,
    sample_mg: int = 0,
    rest_mg: int | None = None,
    unexplained_reason: str = "",
    temperature: Decimal | None = None,
    place: Place | None = None,
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> FillingLot:
    """Fill ``count`` bottles of ``nominal_ul`` each, and number them.

    The mass drawn is count × nominal quantity × density, plus what was lost and what
    was taken as a sample. ``rest_mg`` is all that is left of the batch, as weighed:
    what is then missing beyond :func:`filling_balance.most_unsaid`, or is too much,
    needs ``unexplained_reason``, and the book is set to the weighed rest. ``planned``
    is how many bottles were meant. A density that is not that of the book needs
    ``density_reason``, see :func:`.density.said_of_typed`. The bottles stand in
    ``place``.
    """
    require(by, Right.MAKER)
    batch = moves.locked(batch)
    _fillable(batch, count, count if planned is None else planned)
    told = filling_balance.Told(
        planned=count if planned is None else planned,
        sample_mg=sample_mg,
        rest_mg=rest_mg,
        reason=unexplained_reason,
        of_density=densities.said_of_typed(batch, density, density_reason),
        temperature=temperature,
    )
    filling_balance.check(told, loss_mg)
    if place is not None and not place.in_use:
        raise Refusal(f"{place.name} is not in use any more.", field="place")
    observed_at = _after_weighing_out(
        batch, plausible_time(observed_at or timezone.now())
    )
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
    leave_alone(batch, filled_mg + loss_mg + sample_mg)
    drawn = ledger.move(
        by=by,
        stock=batch.stock,
        kind=StockMovement.Kind.FILLING,
        amount_mg=-(filled_mg + loss_mg + sample_mg),
        observed_at=observed_at,
        purpose=lot.code,
    )
    lot.save(force_insert=True)
    balance = filling_balance.record(by=by, lot=lot, drawn=drawn, told=told)
    _make_bottles(by, lot, place)
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
            "planned": balance.planned,
            "before_mg": balance.before_mg,
            "sample_mg": sample_mg,
            "rest_mg": rest_mg,
            "unexplained_mg": balance.unexplained_mg,
            **({"temperature": str(temperature)} if temperature is not None else {}),
            **({"place": place.name} if place else {}),
        },
        reason=balance.reason,
        submission=submission,
    )
    return lot


def _after_weighing_out(
    batch: Batch, observed_at: datetime.datetime
) -> datetime.datetime:
    """Refuse a time at which there was nothing of the batch to fill."""
    weighed = batch.bulk_weighings.current().first()
    if weighed is None:
        start, was = batch.opened_at, f"Batch {batch.number} was opened"
    else:
        start, was = existed_at(weighed), f"Batch {batch.number} was weighed out"
    return not_before(observed_at, start, was=was, what="its filling")


def use_by(batch: Batch) -> datetime.date:
    """Return the earliest day on which the batch, or anything in it, ends.

    The life of a batch is that of its formula version, from the day it was weighed out;
    a raw lot ends on its expiry date. Which it is, says :func:`.use_by.first_end`.
    """
    return first_end(batch).day


def change_bottles(
    *,
    by: User,
    bottles: Sequence[Bottle],
    new: BottleStatus,
    reason: str,
    place: Place | None = None,
    looked_at: bool = False,
) -> int:
    """Move bottles, each by a conditional UPDATE, and add their events.

    ``place`` is where they stand from now on, if that changes. Callers hold the
    transaction and write the journal. Returns how many moved: without ``looked_at`` a
    bottle that was out of our hands does not go back to stock with the others, it
    stays as it is.
    """
    if new is BottleStatus.FILLED and not looked_at:
        bottles = [one for one in bottles if not back_in_stock.was_out(one)]
    for old in {bottle.status for bottle in bottles}:
        group = [bottle for bottle in bottles if bottle.status == old]
        try:
            move = find_move(BOTTLE_MOVES, BottleStatus(old), new)
        except ForbiddenMove as error:
            raise Conflict(f"Bottle {group[0].code}: {error}") from error
        own = [right for right in move.rights if by.may(right)]
        require(by, Right(own[0] if own else move.right))
        _update(group, old=old, new=new, place=place)
        add_events(by=by, bottles=group, old=old, new=new, reason=reason, place=place)
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


def hold_one_here(*, by: User, bottle: Bottle, reason: str) -> int:
    """Hold a bottle if it is in stock or came back, as :func:`hold_here`."""
    bottles = Bottle.objects.filter(pk=bottle.pk)
    return sum(
        _hold(by, bottles, reason, old)
        for old in (BottleStatus.FILLED, BottleStatus.RETURNED)
    )


def _hold(
    by: User,
    bottles: QuerySet[Bottle],
    reason: str,
    old: BottleStatus = BottleStatus.FILLED,
) -> int:
    new = BottleStatus.ON_HOLD
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
    place: Place | None = None,
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
                place=place,
                observed_at=now,
                entered_by=by,
            )
            for bottle in bottles
        ),
    )


def _update(
    group: Sequence[Bottle],
    *,
    old: str,
    new: BottleStatus,
    place: Place | None = None,
) -> None:
    ids = [bottle.pk for bottle in group]
    for start in range(0, len(ids), 500):
        piece = ids[start : start + 500]
        values: dict[str, object] = {"status": new}
        if new is BottleStatus.FILLED:  # back in stock: nobody has it
            values["consignee"] = None
        if place is not None:
            values["place"] = place
        changed = Bottle.objects.filter(pk__in=piece, status=old).update(**values)
        if changed != len(piece):
            raise Conflict(
                "Somebody else moved one of these bottles a moment ago. Look again."
            )
    if place is not None:
        for bottle in group:
            written.note(bottle)


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


def _fillable(batch: Batch, count: int, planned: int) -> None:
    refused = why_not_filled(batch)
    if refused:
        raise Refusal(refused)
    for field, number in (("count", count), ("planned", planned)):
        if not 0 < number <= MOST_BOTTLES:
            raise Refusal(
                f"Fill between 1 and {MOST_BOTTLES} bottles at a time.", field=field
            )


def _make_bottles(by: User, lot: FillingLot, place: Place | None) -> None:
    codes: set[str] = set()
    while len(codes) < lot.count:
        codes.add(new_bottle_code())
    made = written.create_all(
        Bottle,
        (
            Bottle(filling_lot=lot, number=number, code=code, place=place)
            for number, code in enumerate(codes, start=1)
        ),
    )
    add_events(
        by=by,
        bottles=made,
        old="",
        new=BottleStatus.FILLED,
        place=place,
        observed_at=lot.observed_at,
    )
