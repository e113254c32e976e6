"""Half weighings: the tare, or the container before, stored before the rest is known.

A power cut or a telephone call between the two leaves what was read, as a weighing that
is incomplete. It is finished by a charge or taken back with a reason; no net is
invented for it, and a batch is not finished over it.
"""

from __future__ import annotations

import dataclasses
import datetime
import uuid
from typing import Any

from django.db import models, transaction

from batches.lifecycle import AT_THE_POT
from batches.models import Batch, FormulaLine, Transcription, WeighingStart
from batches.services import hold_points, moves, potash_gain, sources, transcribing
from batches.services.cooking.drawing import check_difference, container_for
from batches.services.cooking.guards import (
    its_own_line,
    oils_first,
    still_takes_charges,
)
from batches.services.cooking.how import How
from batches.services.cooking.plausible import check_in_use, check_load
from batches.services.cooking.rows import newest, write
from producer.errors import Conflict, Refusal
from producer.models import Container, Instrument, Right, Stock, User, Vessel
from producer.quantities import format_mass
from producer.services.checks import local_day, need_reason, require


@transaction.atomic
def begin(
    *,
    by: User,
    batch: Batch,
    line: FormulaLine | None,
    source: Stock,
    scale: Instrument,
    first_mg: int,
    container: Container | None = None,
    vessel: Vessel | None = None,
    by_difference: bool = False,
    transcription: Transcription | None = None,
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> WeighingStart:
    """Store the first half of a weighing; nothing is drawn yet.

    ``first_mg`` is the tare, or by difference the container while it is still full.
    Held to what its charge is held to, so that what is begun can be finished.
    """
    require(by, Right.MAKER)
    batch = still_takes_charges(batch)
    observed_at = transcribing.observed(batch, observed_at, transcription)
    hold_points.stop_unless_passed(batch, observed_at, transcription=transcription)
    its_own_line(batch, line)
    sources.check_source(
        batch=batch,
        line=line,
        source=source,
        on=transcribing.judged_on(observed_at, transcription),
        observed_on=local_day(observed_at),
    )
    oils_first(batch, line)
    if scale.kind != Instrument.Kind.SCALE:
        raise Refusal("Choose the scale it was weighed on.", field="scale")
    row = WeighingStart(
        batch=batch,
        line=line,
        source=source,
        container=container_for(source, container, net_mg=0 if by_difference else 1),
        vessel=vessel,
        scale=scale,
        by_difference=by_difference,
        first_mg=first_mg,
        transcription=transcription,
        observed_at=observed_at,
        entered_by=by,
    )
    field = "gross_mg" if by_difference else "tare_mg"
    if transcription is None:
        check_in_use(scale, field="scale")
    if by_difference and first_mg <= 0:
        raise Refusal("A container with something in it weighs something.", field=field)
    check_load(scale, first_mg)
    check_difference(source, how_of(row))
    potash_gain.stop_unless_weighed(row, before_mg=first_mg)
    row.full_clean()
    row.save(force_insert=True)
    write(by, batch, "weighing begun", after=_facts(row), submission=submission)
    return row


@transaction.atomic
def take_back(
    *,
    by: User,
    start: WeighingStart,
    reason: str,
    submission: uuid.UUID | None = None,
) -> WeighingStart:
    """Take a half weighing back by a row that says why; what was read stays legible."""
    require(by, Right.MAKER)
    batch = moves.still_open(start.batch)
    reason = need_reason(reason)
    newest(start, WeighingStart.objects.all())
    _not_finished(start)
    row = WeighingStart(
        batch=batch,
        line=start.line,
        source=start.source,
        container=start.container,
        vessel=start.vessel,
        scale=start.scale,
        by_difference=start.by_difference,
        first_mg=0,
        transcription=start.transcription,
        observed_at=start.observed_at,
        entered_by=by,
        supersedes=start,
        is_void=True,
        reason=reason,
    )
    row.full_clean()
    row.save(force_insert=True)
    write(
        by,
        batch,
        "half weighing taken back",
        before=_facts(start),
        after=_facts(row),
        reason=reason,
        submission=submission,
    )
    return row


def open_starts(batch: Batch) -> list[WeighingStart]:
    """Return the weighings of a batch that were begun and stand incomplete."""
    return list(_open().filter(batch=batch))


def all_open_starts() -> list[WeighingStart]:
    """Return every weighing that stands incomplete in a batch at the pot."""
    return list(_open().filter(batch__status__in=AT_THE_POT))


def stop_while_open(batch: Batch) -> None:
    """Refuse to go on while a weighing of the batch stands incomplete."""
    found = open_starts(batch)
    if found:
        what = "; ".join(words_of(row) for row in found)
        raise Refusal(
            f"A weighing stands incomplete: {what}. Finish it, or take it back and say"
            " why."
        )


def words_of(row: WeighingStart) -> str:
    """Say what was stored: of which stock, and what the scale showed."""
    first = "before" if row.by_difference else "tare"
    vessel = f", {row.vessel}" if row.vessel else ""
    tin = f"/{row.container.number}" if row.container else ""
    return f"{row.source.code}{tin}, {first} {format_mass(row.first_mg)}{vessel}"


def how_of(row: WeighingStart) -> How:
    """Return how a weighing was begun, for the charge that finishes it."""
    return How(
        by_difference=row.by_difference,
        container=row.container,
        vessel=row.vessel,
        start=row,
        transcription=row.transcription,
    )


def finishing(
    how: How,
    *,
    batch: Batch,
    line: FormulaLine | None,
    source: Stock,
    scale: Instrument,
    first_mg: int,
) -> How:
    """Return how a charge is weighed that finishes a half weighing.

    What was stored stays as it is: source, scale, container, vessel and the first
    figure are those of the start, or it is refused. The batch is locked by the caller,
    so a start is finished once.
    """
    if how.start is None:
        return how
    row = (
        WeighingStart.objects.select_related("container__lot__stock", "vessel")
        .filter(batch=batch)
        .get(pk=how.start.pk)
    )
    newest(row, WeighingStart.objects.all())
    _not_finished(row)
    begun = (row.line_id, row.source_id, row.scale_id, row.first_mg)
    if begun != (line.pk if line else None, source.pk, scale.pk, first_mg):
        raise Refusal(
            f"This weighing was begun as {words_of(row)}. Finish it as it was begun,"
            " or take it back and weigh anew."
        )
    return dataclasses.replace(
        how_of(row),
        portion=how.portion,
        passed_over=how.passed_over,
        transcription=how.transcription,
    )


def _open() -> models.QuerySet[WeighingStart]:
    return (
        WeighingStart.objects.current()
        .filter(charges__isnull=True)
        .select_related(
            "batch__stock",
            "line__material",
            "line__source_formula",
            "source__lot__material",
            "container__lot__stock",
            "vessel",
            "scale",
            "entered_by__person",
        )
        .order_by("pk")
    )


def _not_finished(row: WeighingStart) -> None:
    if row.charges.exists():
        raise Conflict(
            "This weighing was finished already. Correct its charge instead."
        )


def _facts(row: WeighingStart) -> dict[str, Any]:
    return {
        "source": row.source.code,
        "container": row.container.code if row.container else None,
        "vessel": row.vessel.name if row.vessel else None,
        "scale": row.scale.name,
        "by_difference": row.by_difference,
        "first_mg": row.first_mg,
        "is_void": row.is_void,
        "observed_at": row.observed_at.isoformat(),
    }
