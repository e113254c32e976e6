"""Losses: what left a batch other than as its product, recorded and corrected."""

from __future__ import annotations

import datetime
import uuid
from typing import Any

from django.db import models, transaction

from batches.lifecycle import BatchStatus
from batches.models import Batch, Loss, Transcription
from batches.services import moves, transcribing
from batches.services.closed import Also, act_and_facts, may_amend
from batches.services.cooking.rows import from_paper, newest, write
from batches.services.outcome import outcome_of
from batches.services.results import yield_of
from producer.errors import Refusal
from producer.models import Right, User
from producer.quantities import format_mass, milligrams
from producer.services.checks import need_reason, require


@transaction.atomic
def record_loss(
    *,
    by: User,
    batch: Batch,
    kind: str,
    mass_mg: int,
    half_width_mg: int = 0,
    note: str = "",
    transcription: Transcription | None = None,
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> Loss:
    """Record a mass that left a batch before its yield was weighed.

    ``half_width_mg`` is by how much it may be wrong, above all where it was estimated.
    Refused where more would be lost than is there, and where more would have boiled
    off than there is water.
    """
    require(by, Right.MAKER)
    batch = moves.still_open(batch)
    if batch.status == BatchStatus.PLANNED:
        raise Refusal("Nothing is in the pot yet. Weigh the first charge.")
    row = _filled(
        Loss(batch=batch, kind=kind, entered_by=by, transcription=transcription),
        mass_mg=mass_mg,
        half_width_mg=half_width_mg,
        note=note,
        observed_at=transcribing.observed(batch, observed_at, transcription),
    )
    row.save(force_insert=True)
    write(by, batch, "loss recorded", after=_facts(row), submission=submission)
    return row


@transaction.atomic
def amend_loss(
    *,
    by: User,
    loss: Loss,
    reason: str,
    mass_mg: int = 0,
    half_width_mg: int = 0,
    note: str = "",
    void: bool = False,
    also: Also | None = None,
    submission: uuid.UUID | None = None,
) -> Loss:
    """Correct a loss by a new row, or take it back; the old row stays legible.

    ``also`` lets a signed batch be corrected; only quality's change after signature
    passes it, see :mod:`batches.services.closed`.
    """
    batch = may_amend(by=by, batch=loss.batch, also=also)
    newest(loss, Loss.objects.all())
    row = _filled(
        Loss(
            batch=batch,
            kind=loss.kind,
            entered_by=by,
            transcription=loss.transcription,
            supersedes=loss,
            reason=need_reason(reason),
            is_void=void,
        ),
        mass_mg=0 if void else mass_mg,
        half_width_mg=0 if void else half_width_mg,
        note=note,
        observed_at=loss.observed_at,
    )
    row.save(force_insert=True)
    act, further = act_and_facts(
        "loss taken back" if void else "loss corrected", also, batch, loss, row
    )
    write(
        by,
        batch,
        act,
        before=_facts(loss),
        after={**_facts(row), **further},
        reason=row.reason,
        submission=submission,
    )
    return row


def _filled(
    row: Loss,
    *,
    mass_mg: int,
    half_width_mg: int,
    note: str,
    observed_at: datetime.datetime,
) -> Loss:
    row.mass_mg, row.half_width_mg = mass_mg, half_width_mg
    row.note, row.observed_at = note.strip(), observed_at
    row.full_clean()
    if half_width_mg > mass_mg:
        raise Refusal(
            "The ± is larger than the mass itself: it may as well be none. Write how"
            " well it is known.",
            field="half_width_mg",
        )
    if not row.is_void:
        _can_have_left(row)
    return row


def _can_have_left(row: Loss) -> None:
    """Refuse what cannot have left: more than there is, or water that is not there."""
    others = Loss.objects.current().filter(batch=row.batch)
    if row.supersedes_id is not None:
        others = others.exclude(pk=row.supersedes_id)
    there = yield_of(row.batch).theoretical_mg
    lost = _sum(others) + row.mass_mg
    if lost >= there:
        raise Refusal(
            f"With this {format_mass(lost)} would be lost of {format_mass(there)}"
            " that went in. Check the unit.",
            field="mass_mg",
        )
    if row.kind != Loss.Kind.EVAPORATION:
        return
    pot = outcome_of(row.batch).pot
    boiled = _sum(others.filter(kind=row.kind)) + row.mass_mg
    if pot is not None and boiled > milligrams(pot.water):
        raise Refusal(
            f"{format_mass(boiled)} cannot have boiled off: there is only"
            f" {format_mass(milligrams(round(pot.water, 1)))} of water in it. Check"
            " both weighings of the pot.",
            field="mass_mg",
        )


def _sum(rows: models.QuerySet[Loss]) -> int:
    total: int = rows.aggregate(total=models.Sum("mass_mg", default=0))["total"]
    return total


def _facts(row: Loss) -> dict[str, Any]:
    return {
        "kind": row.kind,
        "mass_mg": row.mass_mg,
        "half_width_mg": row.half_width_mg,
        "note": row.note,
        "is_void": row.is_void,
        "observed_at": row.observed_at.isoformat(),
        **from_paper(row.transcription_id),
    }
