"""Samples kept of a filling lot: a bottle of it, or a jar of what was taken."""

from __future__ import annotations

import datetime
import uuid

from django.db import transaction
from django.db.models import Sum
from django.utils import timezone

from batches.lifecycle import BottleStatus
from batches.models import Bottle, FillingBalance, FillingLot, RetainedSample
from batches.services import filling
from producer import journal
from producer.codes import grouped
from producer.errors import Refusal
from producer.models import Place, Right, User
from producer.quantities import format_mass
from producer.services.checks import local_day, plausible_time, require


@transaction.atomic
def retain(
    *,
    by: User,
    filling_lot: FillingLot,
    place: Place,
    bottle: Bottle | None = None,
    mass_mg: int | None = None,
    look_on: datetime.date | None = None,
    note: str = "",
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> RetainedSample:
    """Keep a bottle of a filling lot, or a jar of what was taken as a sample.

    A bottle that is kept never leaves any more. What is in a jar was taken at the
    filling, so that its mass is in the balance: the jars of a lot hold no more than
    that. ``look_on`` is the day to look at it again.
    """
    require(by, Right.MAKER)
    journal.in_line()
    observed_at = plausible_time(observed_at or timezone.now())
    _can_be_kept(place, look_on, local_day(observed_at))
    row = RetainedSample(
        filling_lot=filling_lot,
        bottle=bottle,
        mass_mg=mass_mg,
        place=place,
        look_on=look_on,
        note=note.strip(),
        observed_at=observed_at,
        entered_by=by,
    )
    row.clean_fields()
    if bottle is not None and mass_mg is None:
        _take(by, filling_lot, bottle, place)
    elif mass_mg is not None and bottle is None:
        _fill_jar(filling_lot, mass_mg)
    else:
        raise Refusal("Name the bottle kept, or the mass in the jar.", field="bottle")
    row.save(force_insert=True)
    journal.write(
        by=by,
        act="sample retained",
        subject=filling_lot,
        label=filling_lot.code,
        after={
            "bottle": bottle.code if bottle else None,
            "mass_mg": mass_mg,
            "place": place.name,
            "look_on": look_on.isoformat() if look_on else None,
            "note": row.note,
        },
        submission=submission,
    )
    return row


def in_jars(filling_lot: FillingLot) -> int:
    """Return how many milligrams of a filling lot are in jars."""
    kept = filling_lot.samples.aggregate(mass=Sum("mass_mg"))["mass"]
    return int(kept or 0)


def left_for_jars(filling_lot: FillingLot) -> int:
    """Return the milligrams taken as samples at the filling that are in no jar yet."""
    balance = FillingBalance.objects.filter(filling_lot=filling_lot).first()
    return (balance.sample_mg if balance else 0) - in_jars(filling_lot)


def _can_be_kept(
    place: Place, look_on: datetime.date | None, today: datetime.date
) -> None:
    if not place.in_use:
        raise Refusal(f"{place.name} is not in use any more.", field="place")
    if look_on is not None and look_on <= today:
        raise Refusal(
            "The day to look again lies after today. Check the date.", field="look_on"
        )


def _take(by: User, filling_lot: FillingLot, bottle: Bottle, place: Place) -> None:
    if bottle.filling_lot_id != filling_lot.pk:
        raise Refusal(
            f"{grouped(bottle.code)} is no bottle of {filling_lot.code}.",
            field="bottle",
        )
    now = Bottle.objects.get(pk=bottle.pk)
    if now.status != BottleStatus.FILLED:
        raise Refusal(
            f"Bottle {grouped(bottle.code)} is {BottleStatus(now.status).label}. Keep"
            " one that is here and not on hold.",
            field="bottle",
        )
    filling.change_bottles(
        by=by,
        bottles=[now],
        new=BottleStatus.RETAINED,
        reason="kept as a sample",
        place=place,
    )


def _fill_jar(filling_lot: FillingLot, mass_mg: int) -> None:
    if mass_mg <= 0:
        raise Refusal("Write the mass in the jar.", field="mass_mg")
    left = left_for_jars(filling_lot)
    if mass_mg > left:
        raise Refusal(
            f"Of what was taken as a sample when {filling_lot.code} was filled,"
            f" {format_mass(left)} are in no jar yet. Keep a bottle instead, or write"
            " what the jar holds.",
            field="mass_mg",
        )
