"""Entries that were written on paper first: the sheet, and what is copied from it.

A power cut or a dead telephone stops no cook: the sheet goes on and is typed in
afterwards. Each entry taken from it keeps both times, when it was observed and when it
was entered, and names the sheet; the journal keeps the order of entry.
"""

from __future__ import annotations

import datetime
import uuid
from typing import Final

from django.core.files.base import File
from django.db import transaction
from django.utils import timezone

from batches.models import Batch, Transcription
from batches.services import moves
from producer import journal
from producer.errors import Refusal
from producer.models import Right, User
from producer.services import attachments
from producer.services.checks import local_day, plausible_time, require
from producer.services.when_written import written_at
from producer.wall_clock import on_the_wall

# By so much clocks of a device and of ours may differ; common practice, no source.
CLOCKS_APART: Final = datetime.timedelta(minutes=15)


@transaction.atomic
def begin(
    *,
    by: User,
    batch: Batch,
    note: str,
    upload: File[bytes] | None = None,
    submission: uuid.UUID | None = None,
) -> Transcription:
    """Take a paper sheet in hand whose lines are typed in next.

    ``note`` says which sheet it is and why paper; ``upload`` is its photograph or scan,
    if there is one. Refused where the record of the batch is closed.
    """
    require(by, Right.MAKER)
    batch = moves.still_open(batch)
    if not note.strip():
        raise Refusal("Say which sheet it is, and why it was on paper.", field="note")
    sheet = Transcription(
        batch=batch,
        note=note.strip(),
        attachment=attachments.store(by=by, upload=upload) if upload else None,
        observed_at=timezone.now(),
        entered_by=by,
    )
    sheet.full_clean()
    sheet.save(force_insert=True)
    photograph = sheet.attachment
    journal.write(
        by=by,
        act="paper sheet taken up",
        subject=batch,
        label=batch.number,
        after={
            "sheet": sheet.pk,
            "note": sheet.note,
            "file_sha256": photograph.sha256 if photograph else None,
        },
        submission=submission,
    )
    return sheet


def observed(
    batch: Batch,
    observed_at: datetime.datetime | None,
    transcription: Transcription | None,
) -> datetime.datetime:
    """Return when an entry was observed: now, unless it says otherwise.

    Raises :class:`Refusal` for a time in the future or before the batch was opened, for
    an entry from paper that does not say its time, and for a sheet of another batch.
    """
    if transcription is not None:
        if transcription.batch_id != batch.pk:
            raise Refusal(f"That sheet is not of batch {batch.number}. Take its own.")
        if observed_at is None:
            raise Refusal(
                "Write the time that stands on the sheet beside this line.",
                field="observed_at",
            )
    return not_before_it_was_opened(batch, observed_at or timezone.now())


def not_before_it_was_opened(
    batch: Batch, observed_at: datetime.datetime
) -> datetime.datetime:
    """Return a time at which something can have been done to a batch, or refuse it."""
    if observed_at < batch.opened_at - CLOCKS_APART:
        opened = timezone.localtime(batch.opened_at)
        raise Refusal(
            f"Batch {batch.number} was opened at {on_the_wall(opened)} on {opened.day}"
            f" {opened:%b %Y}, so this cannot have been done before. Check date and"
            " time. A batch that was begun on paper is opened with the time on its"
            " sheet.",
            field="observed_at",
        )
    return plausible_time(observed_at)


def judged_on(
    observed_at: datetime.datetime, transcription: Transcription | None
) -> datetime.date:
    """Return the local day by which what is used must be in date.

    The later one of the day on which it was done and the day on which it is written
    down: typing “yesterday” makes no lot good again. From paper it is the day on the
    sheet, and the sheet is told to the reviewer.
    """
    observed_on = local_day(observed_at)
    if transcription is not None:
        return observed_on
    return max(observed_on, local_day(written_at()))
