"""Self-inspections: an audit drawn, and that it was held, with what was found."""

from __future__ import annotations

import dataclasses
import datetime
import uuid
from collections.abc import Iterator
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone

from batches.services.cooking.rows import newest
from producer import journal
from producer.errors import Refusal
from producer.models import Premises, Right, User
from producer.services.checks import need_reason, not_before, plausible_time
from quality.draws import Draw
from quality.models import SelfInspection
from quality.services import audit
from quality.services.audit.counted import DREW, HELD, label_of

# Who may hold one; an auditor reads, and writes nothing here either.
RIGHTS = (Right.OWNER, Right.REVIEWER)


@transaction.atomic
def draw_audit(
    *, by: User, seed: int | None = None, submission: uuid.UUID | None = None
) -> Draw:
    """Draw a bottle and a raw lot at random, and put it on record that it was done.

    The journal keeps the number and of how many it was drawn, so that the audit can say
    how many draws came before it. There is no table of draws, so it is an act on the
    premises. ``seed`` is for a demo that is the same each time; no page has it.
    """
    _may(by)
    journal.in_line()
    draw = audit.draw_anew()
    if seed is not None:
        draw = dataclasses.replace(draw, seed=seed)
    journal.write(
        by=by,
        act=DREW,
        subject=Premises.objects.get(),
        label=label_of(draw.number),
        after={"number": draw.number, "bottles": draw.bottles, "raw_lots": draw.lots},
        submission=submission,
    )
    return draw


@transaction.atomic
def record_inspection(
    *,
    by: User,
    number: str,
    findings: str,
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> SelfInspection:
    """Record that an audit was held, by its number of the draw.

    What the program finds missing at this moment is kept with it, so that next year it
    can be seen what became of it. ``findings`` says what was found, and who does what
    about it by when; that nothing was found is a finding too. Refused is a number that
    draws no bottle or no raw lot: nothing was walked then. So is one that was not drawn
    since the last audit was held: it may have been chosen. And so is a time before the
    draw.
    """
    _may(by)
    journal.in_line()
    drawn = audit.drawn_by(number)
    lacks = audit.why_not_held(drawn) or audit.why_not_drawn(drawn.number)
    if lacks:
        raise Refusal(lacks)
    held_at = plausible_time(observed_at or timezone.now())
    drawn_at = audit.draws_until_now(drawn.number).at
    if drawn_at is not None:
        not_before(held_at, drawn_at, was="It was drawn", what="the audit")
    found = audit.audit_of(drawn)
    row = SelfInspection(
        number=found.drawn.number,
        bottle=found.drawn.bottle,
        lot=found.drawn.lot,
        missing=found.missing,
        findings=findings.strip(),
        observed_at=held_at,
        entered_by=by,
    )
    return _written(row, HELD, submission=submission)


@transaction.atomic
def amend_inspection(
    *,
    by: User,
    row: SelfInspection,
    reason: str,
    findings: str = "",
    void: bool = False,
    submission: uuid.UUID | None = None,
) -> SelfInspection:
    """Correct the findings by a new row, or take it back; the old row stays legible.

    What was drawn and what was missing then stay as they are.
    """
    _may(by)
    journal.in_line()
    newest(row, SelfInspection.objects.all())
    new = SelfInspection(
        number=row.number,
        bottle=row.bottle,
        lot=row.lot,
        missing=row.missing,
        findings=row.findings if void else findings.strip(),
        observed_at=row.observed_at,
        entered_by=by,
        supersedes=row,
        reason=need_reason(reason),
        is_void=void,
    )
    act = "self-inspection taken back" if void else "self-inspection corrected"
    return _written(new, act, before=_facts(row), submission=submission)


def faults() -> Iterator[str]:
    """Yield a fault where the number of an audit does not draw what is kept."""
    for row in SelfInspection.objects.order_by("pk").iterator():
        try:
            drawn = audit.drawn_by(row.number)
        except Refusal as refused:
            yield f"Self-inspection {row.number}: {refused.message}"
            continue
        hit = (
            drawn.bottle.pk if drawn.bottle else None,
            drawn.lot.pk if drawn.lot else None,
        )
        if hit != (row.bottle_id, row.lot_id):
            yield (
                f"Self-inspection {row.number}: another bottle or lot is kept with it"
                " than its number draws."
            )


def _may(by: User) -> None:
    if not any(by.may(right) for right in RIGHTS):
        words = ", ".join(f"“{right.label}”" for right in RIGHTS)
        raise PermissionDenied(f"This needs one of the rights {words}.")


def _written(
    row: SelfInspection,
    act: str,
    *,
    before: dict[str, Any] | None = None,
    submission: uuid.UUID | None = None,
) -> SelfInspection:
    row.full_clean()
    row.save(force_insert=True)
    journal.write(
        by=row.entered_by,
        act=act,
        subject=row,
        label=label_of(row.number),
        before=before,
        after=_facts(row),
        reason=row.reason,
        submission=submission,
    )
    return row


def _facts(row: SelfInspection) -> dict[str, Any]:
    return {
        "number": row.number,
        "bottle": row.bottle.code if row.bottle else None,
        "lot": row.lot.code if row.lot else None,
        "missing": len(row.missing),
        "is_void": row.is_void,
        "observed_at": row.observed_at.isoformat(),
    }
