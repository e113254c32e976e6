"""Hold points: gone through before the first charge, in seconds, and stopping it.

The points and their order follow section 1.3 of the requirements; that these five come
before the first charge is common practice, no source.
"""

from __future__ import annotations

import dataclasses
import datetime
import re
import uuid
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from batches.lifecycle import CLOSED_TO_CHARGES, BatchStatus
from batches.models import Batch, HoldPoint, Transcription
from batches.services import moves, transcribing
from batches.services.cooking.plausible import check_load
from batches.services.cooking.rows import write
from batches.services.entries import standing
from producer.errors import Refusal
from producer.models import Instrument, Right, Stock, TareWeighing, User, Vessel
from producer.quantities import format_mass, format_number, grams, milligrams
from producer.services.checks import local_day, require

Point = HoldPoint.Point
GONE_THROUGH = "hold points gone through"  # the act, as the journal has it
# What else is written with the rows, in the same act; returns what the journal says.
Also = Callable[[Batch, Sequence[HoldPoint]], Mapping[str, Any]]


@dataclasses.dataclass(frozen=True, kw_only=True)
class EmptyVessel:
    """A vessel that was weighed empty, on which scale, and what it showed."""

    vessel: Vessel
    scale: Instrument
    mass_mg: int


@dataclasses.dataclass(frozen=True, kw_only=True)
class Look:
    """One point looked at: in order or not, and what was found.

    ``tare`` belongs to the point of that name, which it decides: a vessel that does
    not weigh what its register says is not in order, whatever was ticked.
    """

    point: HoldPoint.Point
    in_order: bool = True
    found: str = ""
    note: str = ""
    scale: Instrument | None = None
    tare: EmptyVessel | None = None


@transaction.atomic
def go_through(
    *,
    by: User,
    batch: Batch,
    looks: Sequence[Look],
    transcription: Transcription | None = None,
    observed_at: datetime.datetime | None = None,
    also: Also | None = None,
    submission: uuid.UUID | None = None,
) -> list[HoldPoint]:
    """Record what was found at some or all of the hold points, in one act.

    A point looked at again is a further row; the last one counts. ``also`` writes what
    belongs to the points in another room, such as the check of the scale.
    """
    require(by, Right.MAKER)
    batch = moves.still_open(batch)
    observed_at = transcribing.observed(batch, observed_at, transcription)
    if batch.status in CLOSED_TO_CHARGES:
        raise Refusal(f"Batch {batch.number} is finished; its hold points are past.")
    if not looks:
        raise Refusal("Say of at least one point whether it is in order.")
    rows = [
        _row(by, batch, look, observed_at=observed_at, transcription=transcription)
        for look in looks
    ]
    further = also(batch, rows) if also else {}
    write(
        by,
        batch,
        GONE_THROUGH,
        after={**_words_by_point(rows), **further},
        submission=submission,
    )
    return rows


def standing_points(batch: Batch) -> dict[str, HoldPoint]:
    """Return the row that counts of each point that was looked at, in their order."""
    rows = HoldPoint.objects.filter(batch=batch).select_related(
        "scale", "tare__vessel", "tare__scale", "entered_by__person", "transcription"
    )
    last = {row.point: row for row in standing(rows)}
    return {point: last[point] for point in Point.values if point in last}


def open_points(
    batch: Batch, *, at: datetime.datetime | None = None
) -> list[HoldPoint.Point]:
    """Return the points that were not looked at, or are not in order at a time."""
    return not_passed(batch, standing_points(batch), at or timezone.now())


def not_passed(
    batch: Batch, found: Mapping[str, HoldPoint], at: datetime.datetime
) -> list[HoldPoint.Point]:
    """Return the points that stand in the way; ``found`` are the rows that count.

    Of a batch in which nothing is yet, what was looked at on another local day counts
    no more: over night things are moved, used and put away.
    """
    rows = dict(found)
    if batch.status == BatchStatus.PLANNED and rows:
        today = local_day(at)  # asks the database; most looks share one time
        times = {row.observed_at for row in rows.values()}
        days = {one: local_day(one) for one in times}
        rows = {
            point: row for point, row in rows.items() if days[row.observed_at] == today
        }
    return [point for point in Point if point not in rows or not rows[point].in_order]


def stop_unless_passed(
    batch: Batch,
    at: datetime.datetime,
    *,
    transcription: Transcription | None = None,
) -> None:
    """Refuse a charge observed at a time while a hold point stands in the way.

    The first charge needs all of them, of the same local day and looked at before it;
    every further one that none was found wrong since. What is copied from paper is
    held to what was known by then. Compared by the minute, as times are typed.
    """
    rows = standing(HoldPoint.objects.filter(batch=batch))
    last = {row.point: row for row in rows}
    if batch.status == BatchStatus.PLANNED:
        if missing := not_passed(batch, last, at):
            raise Refusal(
                f"Go through the hold points first; open are: {_names(missing)}. They"
                " take a minute and stand before the first charge, on the same day."
            )
        _not_before(last, at)
        return
    first: dict[str, HoldPoint] = {}
    for row in sorted(rows, key=lambda row: row.observed_at):
        if row.in_order:
            first.setdefault(row.point, row)
    _not_before(first, at)
    if transcription is not None:
        last = {row.point: row for row in rows if row.observed_at <= at}
    if wrong := [row for row in last.values() if not row.in_order]:
        said = "; ".join(f"{_label(row)} ({row.found or row.note})" for row in wrong)
        raise Refusal(
            f"Not in order: {said}. Put it right and look at it again under “Hold"
            " points”; until then nothing more is weighed in."
        )


def stop_unless_checked(batch: Batch, scale: Instrument) -> None:
    """Refuse a scale that was not found in order at the hold points of this batch.

    The last look at that very scale counts.
    """
    rows = standing(HoldPoint.objects.filter(batch=batch, point=Point.SCALE))
    looks = [row for row in rows if row.scale_id == scale.pk]
    if looks and looks[-1].in_order:
        return
    raise Refusal(
        f"{scale.name} was not checked for batch {batch.number}. Put a check weight on"
        " it under “Hold points, scale check”; or say below why it may be used all the"
        " same.",
        field="unusual",
    )


def stop_unless_looked_at(batch: Batch, source: Stock) -> None:
    """Refuse potash of another lot than the one that was looked at.

    The words of the look name the lots. One that says nothing of what it found, names
    none that could differ.
    """
    looks = standing(HoldPoint.objects.filter(batch=batch, point=Point.LOTS))
    if not looks or not looks[-1].found:
        return
    if source.code not in re.findall(r"[\w-]+", looks[-1].found):
        raise Refusal(
            f"{source.code} is not the potash that was looked at. Choose it for its"
            " line, then go through “Hold points, lots and containers” again with its"
            " container in your hand.",
            field="source",
        )


def minute_of(at: datetime.datetime) -> datetime.datetime:
    """Return the minute of a time: what is typed has no seconds."""
    return at.replace(second=0, microsecond=0)


def expanded_uncertainty_mg(scale: Instrument) -> int:
    """Return U (k = 2) of one mass of a vessel against its register, in milligrams.

    Two readings of a scale like this one, taken as independent: the one now and the
    one the register came from (GUM 5.1.2).
    """
    return milligrams(2 * scale.standard_uncertainty() * Decimal(2).sqrt())


def _row(
    by: User,
    batch: Batch,
    look: Look,
    *,
    observed_at: datetime.datetime,
    transcription: Transcription | None,
) -> HoldPoint:
    row = HoldPoint(
        batch=batch,
        point=look.point,
        in_order=look.in_order,
        found=look.found,
        note=look.note.strip(),
        scale=look.scale,
        transcription=transcription,
        observed_at=observed_at,
        entered_by=by,
    )
    if look.point == Point.TARE:
        if look.tare is None:
            raise Refusal("Put the empty vessel on the scale.", field="mass_mg")
        row.tare = _weighed(by, look.tare, observed_at)
        row.scale, row.found = look.tare.scale, row.tare.sentence
        row.in_order = look.in_order and row.tare.agrees
    row.full_clean()
    row.save(force_insert=True)
    return row


def _weighed(
    by: User, empty: EmptyVessel, observed_at: datetime.datetime
) -> TareWeighing:
    if empty.scale.kind != Instrument.Kind.SCALE:
        raise Refusal("Choose the scale it was weighed on.", field="scale")
    check_load(empty.scale, empty.mass_mg)
    doubt = expanded_uncertainty_mg(empty.scale)
    off = empty.mass_mg - empty.vessel.tare_mg
    agrees = abs(off) <= doubt
    seen = (
        f"{empty.vessel.name}: {format_mass(empty.mass_mg)} empty,"
        f" {format_mass(empty.vessel.tare_mg)} in the register"
        f" (U = {format_number(grams(doubt), places=1)} g, k = 2)."
    )
    advice = (
        "It is another vessel, it is not empty, or something was changed on it. Weigh"
        " it again, or correct its tare in the register with the reason."
    )
    row = TareWeighing(
        vessel=empty.vessel,
        scale=empty.scale,
        mass_mg=empty.mass_mg,
        register_mg=empty.vessel.tare_mg,
        agrees=agrees,
        sentence=f"Agrees. {seen}" if agrees else f"Does not agree. {seen} {advice}",
        observed_at=observed_at,
        entered_by=by,
    )
    row.full_clean()
    row.save(force_insert=True)
    return row


def _not_before(points: Mapping[str, HoldPoint], at: datetime.datetime) -> None:
    """Refuse what was weighed before the points were gone through."""
    late = [
        row for row in points.values() if minute_of(row.observed_at) > minute_of(at)
    ]
    if late:
        raise Refusal(
            f"At that time these hold points were not gone through yet:"
            f" {', '.join(_label(row) for row in late)}. Check the time. If both were"
            " written on paper first, copy the hold points from the sheet with their"
            " own time.",
            field="observed_at",
        )


def _names(points: Sequence[HoldPoint.Point]) -> str:
    return ", ".join(point.label for point in points)


def _label(row: HoldPoint) -> str:
    return str(Point(row.point).label)


def _words_by_point(rows: Sequence[HoldPoint]) -> dict[str, str]:
    """Return what was found by point; of several scales one after the other."""
    said: dict[str, list[str]] = {}
    for row in rows:
        said.setdefault(row.point, []).append(_words(row))
    return {point: "; ".join(words) for point, words in said.items()}


def _words(row: HoldPoint) -> str:
    said = "in order" if row.in_order else "not in order"
    return ": ".join(one for one in (said, row.found or row.note) if one)
