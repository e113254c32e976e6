"""The only writer of the journal, and its reader for proof.

Every service that changes something calls :func:`write` once, as its last statement
inside the transaction of the change: no change without its row, no row without its
change. Locking the head row puts writers in a line on PostgreSQL; on SQLite the
IMMEDIATE transaction has done so already.
"""

from __future__ import annotations

import contextlib
import contextvars
import uuid
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from django.core.exceptions import ImproperlyConfigured
from django.db import connection, models
from django.utils import timezone

from producer import written
from producer.models.journal import FIRST_HASH, JournalEntry, JournalHead, canonical
from producer.models.people import User

# Any number, the same for everybody who decides; no other lock here is an advisory one.
DECIDING = 8_051

_besides: contextvars.ContextVar[Mapping[str, Any] | None] = contextvars.ContextVar(
    "besides", default=None
)


def in_line() -> None:
    """Wait until no other act that decides is under way, and keep others waiting.

    First statement of every act that decides, or finds what stands in the way of a
    decision: what the others did is then seen, and nothing that was read changes until
    the transaction ends. Not the head row: who weighs holds other rows before it takes
    that one, and the two would wait for each other. Raises
    :class:`ImproperlyConfigured` outside a transaction. On SQLite the IMMEDIATE
    transaction is this lock already.
    """
    if not connection.in_atomic_block:
        raise ImproperlyConfigured("journal.in_line() needs a transaction around it.")
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [DECIDING])


@contextlib.contextmanager
def besides(**facts: Any) -> Iterator[None]:
    """Let the acts inside say these facts too: how they came here, what they settle.

    Plain JSON values. A service knows nothing of a device that kept its entry.
    """
    token = _besides.set({**(_besides.get() or {}), **facts})
    try:
        yield
    finally:
        _besides.reset(token)


def write(
    *,
    by: User | None,
    act: str,
    subject: models.Model,
    label: str,
    before: Mapping[str, Any] | None = None,
    after: Mapping[str, Any] | None = None,
    reason: str = "",
    submission: uuid.UUID | None = None,
) -> JournalEntry:
    """Add one row to the journal and return it.

    ``before`` and ``after`` hold plain JSON values; the rows that the act wrote are
    kept beside ``after``, as they stand now. ``submission`` identifies the
    form that was sent, so that a second arrival of the same form is refused by the
    database. Must run inside a transaction; raises :class:`ImproperlyConfigured`
    otherwise, for then the change and its row could come apart.
    """
    if not connection.in_atomic_block:
        raise ImproperlyConfigured("journal.write() needs a transaction around it.")
    rows = written.take()
    head = JournalHead.objects.select_for_update().get(pk=1)
    entry = JournalEntry(
        sequence=head.sequence + 1,
        at=timezone.now(),
        actor=by,
        actor_name=by.person.name if by else "Kettlebook",
        act=act,
        subject_kind=str(subject._meta.model_name),
        subject_id=str(subject.pk),
        subject_label=label,
        before=canonical(before or {}),
        after=canonical({**(after or {}), **(_besides.get() or {}), **rows}),
        reason=reason,
        submission=submission,
        previous_hash=head.hash,
    )
    entry.hash = entry.expected_hash()
    entry.save(force_insert=True)
    head.sequence, head.hash = entry.sequence, entry.hash
    head.save(update_fields=["sequence", "hash"])
    return entry


def find_submission(submission: uuid.UUID) -> JournalEntry | None:
    """Return the act that this form has already caused, if it has."""
    return JournalEntry.objects.filter(submission=submission).first()


def _nobody(_walked: int) -> None:
    """Tell nobody how many rows were walked."""


def faults(
    *, batch_size: int = 2000, tell: Callable[[int], None] = _nobody
) -> Iterator[str]:
    """Walk the chain from its start and yield a sentence for each fault found.

    Finds a row that was altered, removed, inserted or moved, and a head that does
    not fit the last row. Reads in pieces, so memory stays bounded. ``tell`` is called
    with the number of rows walked so far.
    """
    expected_sequence, previous = 1, FIRST_HASH
    rows = JournalEntry.objects.order_by("sequence").iterator(chunk_size=batch_size)
    for walked, entry in enumerate(rows):
        tell(walked)
        if entry.sequence != expected_sequence:
            yield (
                f"Journal rows {expected_sequence} to {entry.sequence - 1} are missing."
            )
        elif entry.previous_hash != previous:
            yield f"Journal row {entry.sequence} does not follow the row before it."
        if entry.hash != entry.expected_hash():
            yield f"Journal row {entry.sequence} was altered after it was written."
        expected_sequence, previous = entry.sequence + 1, entry.hash
    head = JournalHead.objects.filter(pk=1).first()
    if head is None:
        yield "The row that says where the journal ends is missing."
    elif (head.sequence, head.hash) != (expected_sequence - 1, previous):
        yield (
            f"The journal should end at row {head.sequence} but ends at row"
            f" {expected_sequence - 1}, or with another hash."
        )
