"""What every entry at the pot shares: validation, corrections, the journal row."""

from __future__ import annotations

import datetime
import uuid
from typing import Any, TypeVar

from django.db import models

from batches.models import Batch, BulkWeighing, Charge
from batches.services.cooking.how import PLAIN, How
from batches.services.cooking.plausible import check_in_use, check_load
from producer import journal
from producer.errors import Conflict, Refusal
from producer.models import Correctable, Instrument, User

Weighed = TypeVar("Weighed", Charge, BulkWeighing)


def weighed(
    row: Weighed,
    *,
    scale: Instrument,
    gross_mg: int,
    tare_mg: int,
    observed_at: datetime.datetime,
    how: How = PLAIN,
) -> Weighed:
    """Fill in a weighing, validated; net is gross less tare.

    A new one needs a scale that is in use. What is corrected, or copied from paper, was
    weighed before: what a failed check puts in doubt is said where that is looked at.
    """
    if scale.kind != Instrument.Kind.SCALE:
        raise Refusal("Choose the scale it was weighed on.", field="scale")
    if row.supersedes_id is None and how.transcription is None:
        check_in_use(scale, field="scale")
    check_load(scale, gross_mg)
    row.scale = scale
    row.gross_mg, row.tare_mg, row.net_mg = gross_mg, tare_mg, gross_mg - tare_mg
    row.observed_at = observed_at
    row.vessel, row.transcription = how.vessel, how.transcription
    if isinstance(row, Charge):
        row.by_difference, row.container = how.by_difference, how.container
        row.portion = how.portion
        row.start, row.passed_over = how.start, how.passed_over.strip()
    row.full_clean()
    return row


def newest(row: Correctable, rows: models.QuerySet[Any]) -> None:
    """Raise :class:`Conflict` unless ``row`` is the newest of its corrections."""
    if rows.filter(supersedes_id=row.pk).exists():
        raise Conflict(
            "This entry was corrected already. Open its page again and correct the"
            " newest one."
        )
    if row.is_void:
        raise Conflict("This entry was taken back; record a new one instead.")


def weighing_facts(row: Charge | BulkWeighing) -> dict[str, Any]:
    """Return a weighing as plain JSON values."""
    return {
        "gross_mg": row.gross_mg,
        "tare_mg": row.tare_mg,
        "net_mg": row.net_mg,
        "is_void": row.is_void,
        "scale": row.scale.name,
        "observed_at": row.observed_at.isoformat(),
        **from_paper(row.transcription_id),
    }


def from_paper(sheet: int | None) -> dict[str, int]:
    """Return the key of the paper sheet an entry was copied from, if it was."""
    return {} if sheet is None else {"paper_sheet": sheet}


def write(
    by: User,
    batch: Batch,
    act: str,
    *,
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
    reason: str = "",
    submission: uuid.UUID | None = None,
) -> None:
    """Write the journal row of an act on a batch."""
    journal.write(
        by=by,
        act=act,
        subject=batch,
        label=batch.number,
        before=before,
        after=after,
        reason=reason,
        submission=submission,
    )
