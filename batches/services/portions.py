"""Portions of a bulk product: set aside, amended, taken back.

The yield stays what was weighed: a portion says where a part of it stands and what for,
and takes nothing from stock. No part of what is signed, so a tub may be moved long
after the release.
"""

from __future__ import annotations

import datetime
import uuid
from typing import Any

from django.db import models, transaction
from django.utils import timezone

from batches.models import Batch, BulkWeighing, Portion
from batches.services import moves
from batches.services.cooking.rows import newest, write
from batches.services.portion_books import (
    PortionNow,
    code_of,
    now,
    outside_mg,
    portions_of,
)
from producer import journal
from producer.errors import Refusal
from producer.models import Place, Right, User
from producer.quantities import format_mass
from producer.services.checks import need_reason, plausible_time, require

__all__ = ["PortionNow", "amend_portion", "code_of", "portions_of", "set_aside"]


@transaction.atomic
def set_aside(
    *,
    by: User,
    batch: Batch,
    mass_mg: int,
    place: Place | None = None,
    purpose: str = "",
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> Portion:
    """Set a share of what a batch made aside, in a tub of its own.

    Only once it was weighed out, and no more than stands outside its other portions.
    """
    require(by, Right.MAKER)
    journal.in_line()
    batch = moves.locked(batch)
    if not BulkWeighing.objects.current().filter(batch=batch).exists():
        raise Refusal(
            f"What came out of {batch.number} has not been weighed yet. Weigh the yield"
            " first; then set portions of it aside."
        )
    observed_at = plausible_time(observed_at or timezone.now())
    _is_there(batch, mass_mg)
    last: int | None = batch.portions.aggregate(last=models.Max("number"))["last"]
    row = Portion(
        batch=batch,
        number=(last or 0) + 1,
        mass_mg=mass_mg,
        place=place,
        purpose=purpose.strip(),
        observed_at=observed_at,
        entered_by=by,
    )
    row.full_clean()
    row.save(force_insert=True)
    write(by, batch, "portion set aside", after=_facts(row), submission=submission)
    return row


@transaction.atomic
def amend_portion(
    *,
    by: User,
    portion: Portion,
    reason: str,
    mass_mg: int = 0,
    place: Place | None = None,
    purpose: str = "",
    void: bool = False,
    submission: uuid.UUID | None = None,
) -> Portion:
    """Correct a portion, say where it stands now, or take it back; the old row stays.

    Its number stays too. It is never less than what was taken out of it, and one that
    something was taken out of is not taken back.
    """
    require(by, Right.MAKER)
    journal.in_line()
    batch = moves.locked(portion.batch)
    newest(portion, Portion.objects.all())
    reason = need_reason(reason)
    stands = now(portion)
    drawn_mg = stands.drawn_mg if stands else 0
    if void and drawn_mg:
        raise Refusal(
            f"{format_mass(drawn_mg)} was taken out of {code_of(portion)} already."
            " Amend its mass to that instead; the rest then stands with the bulk again."
        )
    if not void:
        _holds(portion, mass_mg, drawn_mg)
        _is_there(batch, mass_mg - portion.mass_mg)
    row = Portion(
        batch=batch,
        number=portion.number,
        mass_mg=0 if void else mass_mg,
        place=None if void else place,
        purpose="" if void else purpose.strip(),
        observed_at=portion.observed_at,
        entered_by=by,
        supersedes=portion,
        reason=reason,
        is_void=void,
    )
    row.full_clean()
    row.save(force_insert=True)
    write(
        by,
        batch,
        "portion taken back" if void else "portion amended",
        before=_facts(portion),
        after=_facts(row),
        reason=reason,
        submission=submission,
    )
    return row


def _is_there(batch: Batch, more_mg: int) -> None:
    """Refuse to set more aside than stands outside the portions."""
    known = portions_of(batch)
    outside = outside_mg(batch, known)
    if more_mg <= max(outside, 0):
        return
    in_them = sum(one.left_mg for one in known)
    raise Refusal(
        f"Of {batch.number} {format_mass(outside + in_them)} is on hand, and"
        f" {format_mass(in_them)} of that stands in portions. Only"
        f" {format_mass(max(outside, 0))} more can be set aside.",
        field="mass_mg",
    )


def _holds(portion: Portion, mass_mg: int, drawn_mg: int) -> None:
    if mass_mg < drawn_mg:
        raise Refusal(
            f"{format_mass(drawn_mg)} was taken out of {code_of(portion)}, so it held"
            " no less. Write what was in it at first.",
            field="mass_mg",
        )


def _facts(row: Portion) -> dict[str, Any]:
    return {
        "portion": row.number,
        "mass_mg": row.mass_mg,
        "place": row.place.name if row.place else "",
        "purpose": row.purpose,
        "is_void": row.is_void,
    }
