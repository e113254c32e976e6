"""The log of a recall: each attempt to reach a holder, and what came of it.

Nothing is sent from here, ever: people call, write or go, and say here that they did.
In a mock recall nobody is called; what is recorded is whether they could have been.
"""

from __future__ import annotations

import datetime
import uuid
from typing import Any

from django.db import transaction
from django.utils import timezone

from batches.services.cooking.rows import newest
from producer import journal
from producer.errors import Refusal
from producer.models import Consignee, Right, User
from producer.services.checks import need_reason, plausible_time, require
from quality.models import Recall, RecallContact

Outcome = RecallContact.Outcome


@transaction.atomic
def record_contact(
    *,
    by: User,
    recall: Recall,
    means: str,
    outcome: str,
    consignee: Consignee | None = None,
    who: str = "",
    said: str = "",
    held: int | None = None,
    used_up: int | None = None,
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> RecallContact:
    """Record an attempt to reach a holder, by a maker or a reviewer.

    ``who`` is a word for somebody who is not in the register. ``held`` and ``used_up``
    are bottles as they said. After a real recall is closed a late answer is still
    recorded, beside the count that was kept; a mock recall is over when it is closed.
    """
    require(by, right_of(by))
    journal.in_line()
    recall = Recall.objects.get(pk=recall.pk)
    if recall.is_mock and recall.status == Recall.Status.CLOSED:
        raise Refusal("This mock recall is closed. Open another one.")
    observed_at = plausible_time(observed_at or timezone.now())
    if observed_at < recall.opened_at.replace(second=0, microsecond=0):
        raise Refusal(
            "The recall was not open yet then. Write when it was tried.",
            field="observed_at",
        )
    row = RecallContact(recall=recall, entered_by=by, observed_at=observed_at)
    _fill(
        row,
        means=means,
        outcome=outcome,
        consignee=consignee,
        who=who,
        said=said,
        held=held,
        used_up=used_up,
    )
    return _written(row, "attempt recorded", submission=submission)


@transaction.atomic
def amend_contact(
    *,
    by: User,
    row: RecallContact,
    reason: str,
    means: str = "",
    outcome: str = "",
    consignee: Consignee | None = None,
    who: str = "",
    said: str = "",
    held: int | None = None,
    used_up: int | None = None,
    void: bool = False,
    submission: uuid.UUID | None = None,
) -> RecallContact:
    """Correct an attempt by a new row, or take it back; the old row stays legible.

    After the closing of a real recall by a reviewer only, of a mock one not at all.
    """
    require(by, right_of(by))
    journal.in_line()
    recall = Recall.objects.get(pk=row.recall_id)
    if recall.status == Recall.Status.CLOSED:
        # It stands in what was signed: only who may sign corrects it, and not a drill.
        if recall.is_mock:
            raise Refusal("This mock recall is closed and stays as it was closed.")
        require(by, Right.REVIEWER)
    newest(row, RecallContact.objects.all())
    new = RecallContact(
        recall=row.recall,
        entered_by=by,
        observed_at=row.observed_at,
        supersedes=row,
        reason=need_reason(reason),
        is_void=void,
    )
    if void:
        _copy(row, new)
    else:
        _fill(
            new,
            means=means,
            outcome=outcome,
            consignee=consignee,
            who=who,
            said=said,
            held=held,
            used_up=used_up,
        )
    act = "attempt taken back" if void else "attempt corrected"
    return _written(new, act, before=_facts(row), submission=submission)


def right_of(by: User) -> Right:
    """Return the right by which somebody works on a recall: either will do."""
    return Right.REVIEWER if by.may(Right.REVIEWER) else Right.MAKER


def _fill(row: RecallContact, **fields: Any) -> None:
    for name, value in fields.items():
        setattr(row, name, value.strip() if isinstance(value, str) else value)
    row.clean_fields()
    if row.recall.is_mock:
        _nobody_spoke(row)
    elif row.is_reached and not row.said:
        raise Refusal("Write what they said, in a few words.", field="said")
    row.full_clean()


def _copy(old: RecallContact, new: RecallContact) -> None:
    for name in ("consignee", "who", "means", "outcome", "said", "held", "used_up"):
        setattr(new, name, getattr(old, name))


def _nobody_spoke(row: RecallContact) -> None:
    if row.outcome == Outcome.NONE_LEFT or (row.held, row.used_up) != (None, None):
        raise Refusal(
            "This is a MOCK recall: nobody is called, so nobody said how many bottles"
            " they hold. Record only whether you would reach them.",
            field="outcome",
        )


def _written(
    row: RecallContact,
    act: str,
    *,
    before: dict[str, Any] | None = None,
    submission: uuid.UUID | None = None,
) -> RecallContact:
    row.full_clean()
    row.save(force_insert=True)
    journal.write(
        by=row.entered_by,
        act=f"mock recall: {act}" if row.recall.is_mock else f"recall: {act}",
        subject=row.recall,
        label=row.recall.code,
        before=before,
        after=_facts(row),
        reason=row.reason,
        submission=submission,
    )
    return row


def _facts(row: RecallContact) -> dict[str, Any]:
    """Return an attempt without a name and without words, which may hold one."""
    return {
        "consignee": row.consignee.reference if row.consignee else None,
        "means": row.means,
        "outcome": row.outcome,
        "held": row.held,
        "used_up": row.used_up,
        "is_void": row.is_void,
        "observed_at": row.observed_at.isoformat(),
    }
