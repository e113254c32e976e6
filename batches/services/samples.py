"""Samples kept of a filling lot, a bottle or a jar, and what was found in them."""

from __future__ import annotations

import datetime
import uuid
from typing import Any

from django.db import transaction
from django.db.models import QuerySet, Sum
from django.utils import timezone

from batches.lifecycle import BottleStatus
from batches.models import (
    Bottle,
    FillingBalance,
    FillingLot,
    RetainedSample,
    SampleLook,
)
from batches.services import filling
from batches.services.cooking.rows import newest
from producer import journal
from producer.codes import grouped
from producer.errors import Refusal
from producer.models import Place, Record, Right, User
from producer.quantities import format_mass
from producer.services.checks import (
    existed_at,
    local_day,
    need_reason,
    not_before,
    plausible_time,
    require,
)

State = SampleLook.State
# How long after the use-by date, or after today, a sample may still be looked at: a
# later day is a slip of the pen. Common practice, no source.
LATEST = datetime.timedelta(days=366)


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
    observed_at = not_before(
        plausible_time(observed_at or timezone.now()),
        existed_at(filling_lot),
        was="These bottles were filled",
        what="a sample of them",
    )
    _can_be_kept(place)
    _is_a_day_to_look(look_on, filling_lot, local_day(observed_at))
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


@transaction.atomic
def look(
    *,
    by: User,
    sample: RetainedSample,
    state: str,
    found: str,
    look_on: datetime.date | None = None,
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> SampleLook:
    """Record that a sample was looked at, and how it is beside what was filled.

    By a maker or a reviewer. ``found`` says in words what was seen, ``look_on`` is the
    next day to look at it; without one nobody is reminded any more. That it changed
    moves nothing by itself: what it means for the bottles is for people to decide.
    What is recorded as not there is looked at no more, and no bottle is as filled
    after it was destroyed.
    """
    require(by, _right_of(by))
    journal.in_line()
    observed_at = plausible_time(observed_at or timezone.now())
    day = local_day(observed_at)
    if day < local_day(sample.observed_at):
        raise Refusal(
            "It was not kept yet on that day. Write when it was looked at.",
            field="observed_at",
        )
    row = SampleLook(sample=sample, entered_by=by, observed_at=observed_at)
    today = max(day, local_day(timezone.now()))
    return _written(
        _filled(row, state=state, found=found, look_on=look_on, today=today),
        "sample looked at",
        submission=submission,
    )


@transaction.atomic
def amend_look(
    *,
    by: User,
    row: SampleLook,
    reason: str,
    state: str = "",
    found: str = "",
    look_on: datetime.date | None = None,
    void: bool = False,
    submission: uuid.UUID | None = None,
) -> SampleLook:
    """Correct a look by a new row, or take it back; the old row stays legible.

    That a sample changed is taken back by a reviewer only: somebody may have sent
    bottles of it.
    """
    require(by, _right_of(by))
    journal.in_line()
    newest(row, SampleLook.objects.all())
    if row.state == State.CHANGED and (void or state != State.CHANGED):
        _may_take_back(by)
    new = _filled(
        SampleLook(
            sample=row.sample,
            entered_by=by,
            observed_at=row.observed_at,
            supersedes=row,
            reason=need_reason(reason),
            is_void=void,
        ),
        state=row.state if void else state,
        found="" if void else found,
        look_on=None if void else look_on,
        today=local_day(row.observed_at),
    )
    act = "look at a sample taken back" if void else "look at a sample corrected"
    return _written(new, act, before=_facts(row), submission=submission)


def changed() -> QuerySet[SampleLook]:
    """Return the looks that stand and found a sample changed, oldest first.

    A later look that found it as filled does not undo one: only a correction does.
    """
    rows = SampleLook.objects.current().filter(state=State.CHANGED)
    return rows.select_related(
        "sample__bottle", "sample__place", "sample__filling_lot", "entered_by__person"
    ).order_by("observed_at", "pk")


def in_jars(filling_lot: FillingLot) -> int:
    """Return how many milligrams of a filling lot are in jars."""
    kept = filling_lot.samples.aggregate(mass=Sum("mass_mg"))["mass"]
    return int(kept or 0)


def left_for_jars(filling_lot: FillingLot) -> int:
    """Return the milligrams taken as samples at the filling that are in no jar yet."""
    balance = FillingBalance.objects.filter(filling_lot=filling_lot).first()
    return (balance.sample_mg if balance else 0) - in_jars(filling_lot)


def _can_be_kept(place: Place) -> None:
    if not place.in_use:
        raise Refusal(f"{place.name} is not in use any more.", field="place")


def _is_a_day_to_look(
    look_on: datetime.date | None, filling_lot: FillingLot, today: datetime.date
) -> None:
    if look_on is None:
        return
    if look_on <= today:
        raise Refusal(
            "The day to look again must be after today. Check the date.",
            field="look_on",
        )
    if look_on > max(filling_lot.use_by, today) + LATEST:
        raise Refusal(
            "That is more than a year after the use-by date. Check the year.",
            field="look_on",
        )


def _right_of(by: User) -> Right:
    """Return the right to ask for: a maker or a reviewer may look."""
    return Right.MAKER if by.may(Right.MAKER) else Right.REVIEWER


def _may_take_back(by: User) -> None:
    if not by.may(Right.REVIEWER):
        raise Refusal(
            "Only a reviewer takes back that a sample changed. Look at it again, record"
            " what you find, and ask a reviewer.",
            field="state",
        )


def _filled(
    row: SampleLook,
    *,
    state: str,
    found: str,
    look_on: datetime.date | None,
    today: datetime.date,
) -> SampleLook:
    row.state, row.found, row.look_on = state, found.strip(), look_on
    if not row.found and not row.is_void:
        raise Refusal("Write what you found, in a few words.", field="found")
    row.full_clean()
    if row.is_void:
        return row
    _is_a_day_to_look(look_on, row.sample.filling_lot, today)
    _was_there(row)
    bottle = Bottle.objects.filter(sample=row.sample_id).first()  # as it is now
    if bottle is None:
        return row
    if state == State.GONE:
        raise Refusal(
            "Each bottle is accounted for: record on its page what became of it.",
            field="state",
        )
    if look_on is not None and bottle.status != BottleStatus.RETAINED:
        raise Refusal(
            f"Bottle {grouped(bottle.code)} is kept no longer. Leave this empty.",
            field="look_on",
        )
    _was_whole(row, bottle)
    return row


def _was_there(row: SampleLook) -> None:
    """Refuse a look at what was not there, and that it was not where it was looked at.

    By the looks that stand: one that is taken back says nothing.
    """
    others = SampleLook.objects.current().filter(sample=row.sample_id)
    if row.supersedes_id is not None:
        others = others.exclude(pk=row.supersedes_id)
    others = others.order_by("observed_at", "pk")
    gone = others.filter(state=State.GONE, observed_at__lte=row.observed_at).first()
    if gone is not None:
        raise Refusal(
            f"It was recorded on {_day(gone)} that this sample is not there any more."
            " If that was wrong, take it back first.",
            field="state",
        )
    seen = others.filter(observed_at__gt=row.observed_at).exclude(state=State.GONE)
    last = seen.last()
    if row.state == State.GONE and last is not None:
        raise Refusal(
            f"This sample was looked at after that, on {_day(last)}. Write when it was"
            " missed, or take that look back.",
            field="state",
        )


def _was_whole(row: SampleLook, bottle: Bottle) -> None:
    """Refuse that a bottle is as filled after it was destroyed."""
    if row.state != State.AS_FILLED or bottle.status != BottleStatus.DESTROYED:
        return
    end = bottle.events.filter(new=BottleStatus.DESTROYED).last()
    if end is not None and row.observed_at > end.observed_at:
        raise Refusal(
            f"Bottle {grouped(bottle.code)} was destroyed on {_day(end)}, and is not as"
            " filled after that. If you looked at it before, write when.",
            field="state",
        )


def _day(row: Record) -> str:
    day = local_day(row.observed_at)
    return f"{day.day} {day:%b %Y}"


def _written(
    row: SampleLook,
    act: str,
    *,
    before: dict[str, Any] | None = None,
    submission: uuid.UUID | None,
) -> SampleLook:
    row.save(force_insert=True)
    journal.write(
        by=row.entered_by,
        act=act,
        subject=row,
        label=row.sample.filling_lot.code,
        before=before,
        after=_facts(row),
        reason=row.reason,
        submission=submission,
    )
    return row


def _facts(row: SampleLook) -> dict[str, Any]:
    return {
        "sample": row.sample_id,
        "state": row.state,
        "found": row.found,
        "look_on": row.look_on.isoformat() if row.look_on else None,
        "is_void": row.is_void,
        "observed_at": row.observed_at.isoformat(),
    }


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
