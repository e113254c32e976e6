"""What an export holds: the batches asked for, and their rows as plain tables.

Only reads. A cell is a text, a whole number, a Decimal, a day, a moment, yes or no, or
nothing; what it becomes in a file is for :mod:`quality.documents.export` to say.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from django.db.models import Q, QuerySet
from django.utils import timezone

from batches import trace
from batches.models import Batch, Bottle, FillingLot
from producer import moved
from producer.errors import Refusal
from producer.models import Attachment, JournalEntry
from quality.models import ComplaintAccount, Deviation, DeviationStep, Signature
from quality.services import complaints


def batches_between(first: datetime.date, last: datetime.date) -> list[Batch]:
    """Return the batches opened from one local day to another, both included.

    Raises :class:`Refusal` for days the wrong way round, or with no batch in them.
    """
    if last < first:
        raise Refusal("The last day lies before the first one. Swap them.", field="to")
    if first.year == datetime.MINYEAR or last.year == datetime.MAXYEAR:
        # Days that do not exist in every time zone.
        raise Refusal("Choose days of this century.", field="from")
    zone = timezone.get_current_timezone()
    start, end = (
        datetime.datetime.combine(day, datetime.time.min, zone)
        for day in (first, last + datetime.timedelta(days=1))
    )
    found = Batch.objects.listed().filter(opened_at__gte=start, opened_at__lt=end)
    batches = list(found.order_by("pk"))
    if not batches:
        raise Refusal("No batch was opened in these days. Choose others.", field="from")
    return batches


def batch_called(number: str) -> Batch:
    """Return the batch with this number, however its letters are typed."""
    batch = Batch.objects.listed().filter(stock__code=number.strip().upper()).first()
    if batch is None:
        raise Refusal(
            f"There is no batch “{number}”. Read the number on its sheet.",
            field="batch",
        )
    return batch


def signatures_of(batch: Batch) -> QuerySet[Signature]:
    """Return the signatures of a batch with their marks, in the order of signing."""
    return batch.signatures.prefetch_related("marks__entered_by__person").order_by("pk")


def record_name(signature: Signature) -> str:
    """Return the file name of the canonical record of a signature."""
    return f"signature-{signature.pk}-{signature.meaning}.json"


def attachment_name(attachment: Attachment) -> str:
    """Return where an upload lies in an export: its SHA-256 in short, and its name."""
    return f"attachments/{attachment.sha256[:12]}-{attachment.original_name}"


def attachments_of(batches: Iterable[Batch]) -> QuerySet[Attachment]:
    """Return the uploads that belong to these batches.

    Papers of the raw lots in them, at any depth, and photographs of paper sheets that
    their own entries were copied from.
    """
    ids: set[int] = set()
    own: set[int] = set()
    for batch in batches:
        own.add(batch.pk)
        ids.update(trace.upstream_ids(batch.pk))
    wanted = Q(certificates__lot__in=ids) | Q(transcriptions__batch__in=own)
    return Attachment.objects.filter(wanted).distinct().order_by("pk")


def deviations_of(batches: Iterable[Batch]) -> QuerySet[Deviation]:
    """Return the deviations of these batches and of what is in them, at any depth."""
    ids = {source for batch in batches for source in trace.upstream_ids(batch.pk)}
    return Deviation.objects.filter(stock__in=ids).order_by("pk")


def closings_of(batches: Iterable[Batch]) -> QuerySet[DeviationStep]:
    """Return the signed steps that closed those deviations."""
    return (
        DeviationStep.objects.filter(deviation__in=deviations_of(batches))
        .exclude(record_sha256="")
        .select_related("deviation")
        .order_by("pk")
    )


def journal_of(
    batches: Sequence[Batch], *, until: int | None = None
) -> QuerySet[JournalEntry]:
    """Return the acts on these batches, their filling lots, deviations and complaints.

    In the order they were written, up to row ``until``. Acts on single bottles and on
    raw lots are among them only where they moved such a batch, as a revised certificate
    that put it on hold.
    """
    keys = [batch.pk for batch in batches]
    lots = FillingLot.objects.filter(batch__in=keys).values_list("code", flat=True)
    own = Deviation.objects.filter(stock__in=keys).values_list("code", flat=True)
    of_batch = ComplaintAccount.objects.annotate(of_batch=complaints.OF_BATCH)
    accounts = of_batch.filter(of_batch__in=keys)
    told = accounts.values_list("complaint__code", flat=True)
    labels = [*(batch.number for batch in batches), *lots, *own, *told]
    rows = JournalEntry.objects.filter(
        Q(subject_kind="batch", subject_id__in=[str(key) for key in keys])
        | Q(subject_label__in=labels)
        | Q(sequence__in=moved.sequences("batch", keys))
    )
    if until is not None:
        rows = rows.filter(sequence__lte=until)
    return rows.order_by("sequence")


def bottles_of(batch: Batch) -> Iterator[Bottle]:
    """Yield the bottles filled from a batch itself; memory stays bounded."""
    yield from trace.bottles_of([batch.pk]).iterator(chunk_size=2000)


def journal_content(entry: JournalEntry) -> dict[str, Any]:
    """Return a journal row as its hash covers it, with that hash."""
    return {**entry.content(), "hash": entry.hash}
