"""Hold points: gone through before the first charge, in seconds, and stopping it.

The points and their order follow section 1.3 of the requirements; that these five come
before the first charge is common practice, no source.
"""

from __future__ import annotations

import dataclasses
import datetime
import uuid
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.db import transaction

from batches.lifecycle import CLOSED_TO_CHARGES, BatchStatus
from batches.models import Batch, HoldPoint, Transcription
from batches.services import moves, transcribing
from batches.services.cooking.plausible import check_load
from batches.services.cooking.rows import write
from batches.services.entries import standing
from producer.errors import Refusal
from producer.models import Instrument, Right, TareWeighing, User, Vessel
from producer.quantities import format_mass, format_number, grams, milligrams
from producer.services.checks import require

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
        after={**{row.point: _words(row) for row in rows}, **further},
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


def open_points(batch: Batch) -> list[HoldPoint.Point]:
    """Return the points that were not looked at, or are not in order."""
    found = standing_points(batch)
    return [point for point in Point if point not in found or not found[point].in_order]


def stop_unless_passed(batch: Batch) -> None:
    """Refuse the first charge of a batch while a hold point stands in the way."""
    if batch.status != BatchStatus.PLANNED:
        return
    if missing := open_points(batch):
        words = ", ".join(point.label for point in missing)
        raise Refusal(
            f"Go through the hold points first; open are: {words}. They take a minute"
            " and stand before the first charge."
        )


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


def _words(row: HoldPoint) -> str:
    said = "in order" if row.in_order else "not in order"
    return ": ".join(one for one in (said, row.found or row.note) if one)
