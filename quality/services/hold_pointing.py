"""The hold points of a batch, gone through in one act with the check of the scale."""

from __future__ import annotations

import dataclasses
import datetime
import uuid
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from batches.models import Batch, HoldPoint, Transcription
from batches.services import hold_points
from batches.services.hold_points import EmptyVessel, Look
from producer.errors import Refusal
from producer.models import Instrument, Premises, Right, User
from producer.services.checks import local_day, require
from quality.models import InstrumentCheck
from quality.services import checking, lots_before
from quality.services.checking import Check
from quality.services.scale_checks import must_be_near_the_work, must_test
from quality.services.tolerances import most_tolerance
from quality.statistics.conformity import Verdict
from quality.statistics.instruments import check_error

Point = HoldPoint.Point
ON_A_BAD_SCALE = "Weighed on a scale that is out of use."
CONDITIONAL = (
    "A conditional pass is in order only with a reason: take another check weight, or"
    " let this check count and say why."
)
USUAL_STEPS = 2  # of a scale: the largest error that passes; common practice, no source


@dataclasses.dataclass(frozen=True, kw_only=True)
class Seen:
    """What somebody looked at and found in order, or not; then ``note`` says what."""

    in_order: bool
    note: str = ""


@dataclasses.dataclass(frozen=True, kw_only=True)
class Held:
    """A scale with a check weight of the register on it, and what it shows in g."""

    scale: Instrument
    weight: Instrument
    shown: Decimal


@dataclasses.dataclass(frozen=True, kw_only=True)
class Counted:
    """A check of a scale that was made already and is to count for this batch.

    ``note`` is why a conditional pass may count.
    """

    check: InstrumentCheck
    note: str = ""


Scale = Held | Counted | Seen


@transaction.atomic
def go_through(
    *,
    by: User,
    batch: Batch,
    cleared: Seen | None = None,
    protected: Seen | None = None,
    scale: Scale | None = None,
    counted: Sequence[Counted] = (),
    lots: bool = False,
    pot: EmptyVessel | None = None,
    transcription: Transcription | None = None,
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> list[HoldPoint]:
    """Record what was found at the points that were looked at, in one act.

    A scale that was held against its weight is checked as on its own page: a check that
    fails takes it out of use, and the point is not in order; nor is it by a conditional
    pass, until that is counted with a note. ``counted`` are further scales whose check
    counts: what is weighed in on one that was not looked at needs a reason. With
    ``lots`` the chosen lots and their containers are looked at now. What does not weigh
    what its register says, and a vessel weighed on a scale that is out of use, is not
    in order.
    """
    require(by, Right.MAKER)
    now = observed_at or timezone.now()
    looks = [
        Look(point=point, in_order=seen.in_order, note=seen.note)
        for point, seen in (
            (Point.LINE_CLEARANCE, cleared),
            (Point.PROTECTION, protected),
        )
        if seen is not None
    ]
    further: Mapping[str, Any] = {}
    looks += [_counted(batch, one, now) for one in counted]
    if isinstance(scale, Held):
        check = _checked(by, scale, observed_at)
        must_be_near_the_work(batch, scale.scale, check.row.reference)
        looks.append(_look_at_scale(check.row))
        further = {"scale_check": _facts(check)}
    elif isinstance(scale, Counted):
        looks.append(_counted(batch, scale, now))
    elif scale is not None:
        looks.append(_without_a_check(scale))
    if lots:
        found = lots_before.look_at(batch, now)
        looks.append(Look(point=Point.LOTS, in_order=found.in_order, found=found.words))
    if pot is not None:
        bad = not Instrument.objects.filter(pk=pot.scale.pk, in_use=True).exists()
        looks.append(
            Look(
                point=Point.TARE,
                in_order=not bad,
                tare=pot,
                note=ON_A_BAD_SCALE if bad else "",
            )
        )
    return hold_points.go_through(
        by=by,
        batch=batch,
        looks=looks,
        transcription=transcription,
        observed_at=observed_at,
        also=lambda _batch, _rows: further,
        submission=submission,
    )


def tolerance_for(scale: Instrument) -> Decimal:
    """Return the largest error that passes, in grams: set before anybody looks.

    That of its last check, if a check may still have it; else two steps.
    """
    last = scale.checks.order_by("-observed_at", "-pk").first()
    most = most_tolerance(scale)
    if last is not None and last.tolerance <= most:
        return Decimal(last.tolerance)
    return min(USUAL_STEPS * scale.resolution, most)


def good_today(on: datetime.date) -> list[InstrumentCheck]:
    """Return the newest check of each scale that is in use, if it passed on that day.

    One query, whatever the number of scales.
    """
    premises = Premises.objects.first()
    zone = premises.zone if premises else datetime.UTC
    rows = (
        InstrumentCheck.objects.filter(
            instrument__kind=Instrument.Kind.SCALE,
            instrument__in_use=True,
            observed_at__gte=datetime.datetime.combine(on, datetime.time.min, zone),
        )
        .select_related("instrument", "entered_by__person")
        .order_by("observed_at", "pk")
    )
    newest = {row.instrument_id: row for row in rows}
    return [
        row
        for row in newest.values()
        if row.passed and row.observed_at.astimezone(zone).date() == on
    ]


def scales() -> QuerySet[Instrument]:
    """Return the scales that may be checked: in use, or put out of it by a check."""
    out = InstrumentCheck.objects.filter(passed=False).values("instrument")
    return Instrument.objects.filter(kind=Instrument.Kind.SCALE).filter(
        Q(in_use=True) | Q(pk__in=out)
    )


def _checked(by: User, held: Held, observed_at: datetime.datetime | None) -> Check:
    if held.scale.kind != Instrument.Kind.SCALE:
        raise Refusal("Choose the scale that you weigh with.", field="scale")
    return checking.check_within(
        by=by,
        instrument=held.scale,
        held=checking.Known(
            against="",
            reference=held.weight.nominal or Decimal(0),
            shown=held.shown,
            weight=held.weight,
        ),
        tolerance=tolerance_for(held.scale),
        half_width=held.weight.bias_half_width,
        observed_at=observed_at,
    )


def _look_at_scale(check: InstrumentCheck, note: str = "") -> Look:
    is_conditional = is_only_conditional(check)
    if note.strip() and not is_conditional:
        raise Refusal(
            "The check passed without a condition. Take this note away.",
            field="scale_note",
        )
    name = check.instrument.name
    found = f"{name}, held against {check.against}: {check.sentence}"
    return Look(
        point=Point.SCALE,
        in_order=check.passed and (not is_conditional or bool(note.strip())),
        scale=check.instrument,
        found=found if note or not is_conditional else f"{found} {CONDITIONAL}",
        note=note,
    )


def is_only_conditional(check: InstrumentCheck) -> bool:
    """Say whether a check passed, but within the doubt of what it was held against."""
    verdict = check_error(
        shown=check.shown,
        reference=check.reference,
        tolerance=check.tolerance,
        step=check.instrument.resolution,
        reference_half_width=check.reference_half_width,
    ).verdict
    return check.passed and verdict is not Verdict.PASS


def _counted(batch: Batch, counted: Counted, at: datetime.datetime) -> Look:
    check = _still_good(counted.check, at)
    must_test(check.instrument, check.reference, check.tolerance)
    must_be_near_the_work(batch, check.instrument, check.reference)
    return _look_at_scale(check, counted.note)


def _without_a_check(seen: Seen) -> Look:
    if seen.in_order:
        raise Refusal(
            "A scale is in order when a check of it passes. Put a check weight on it.",
            field="shown",
        )
    return Look(point=Point.SCALE, in_order=False, note=seen.note)


def _still_good(check: InstrumentCheck, at: datetime.datetime) -> InstrumentCheck:
    """Return a check if it may count for a batch that is begun at that time."""
    if check.pk in {one.pk for one in good_today(local_day(at))}:
        return check
    raise Refusal(
        f"This check of {check.instrument.name} is not of today, or a later one failed."
        " Put a check weight on the scale again.",
        field="counted",
    )


def _facts(check: Check) -> dict[str, Any]:
    return {
        "instrument": check.row.instrument_id,
        "was_in_use": check.before["in_use"],
        **check.after,
    }
