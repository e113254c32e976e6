"""Complaints: taken down, looked into, answered, closed; nothing of one is edited.

What was told is an account that is corrected by a new one; what is done about it are
steps that are added. Nothing is sent from here, and nothing is held by itself: the
page of a complaint leads to the hold, the deviation and the recall.
"""

from __future__ import annotations

import datetime
import uuid
from typing import Any, Final

from django.db import transaction
from django.utils import timezone

from batches.models import Batch, Bottle, FillingLot
from batches.services.cooking.rows import newest
from producer import journal
from producer.errors import Refusal
from producer.models import Consignee, Right, User
from producer.services.checks import (
    existed_at,
    local_day,
    need_reason,
    not_before,
    plausible_time,
    require,
)
from producer.services.numbers import next_code
from quality import complaint_life
from quality.complaint_life import Step
from quality.models import Complaint, ComplaintAccount, ComplaintStep
from quality.services import complaint_ends
from quality.services.complaints import standing

PREFIX: Final = "C"
TOLD: Final = (
    *("bottle", "filling_lot", "batch", "said_of_it", "means", "nature", "words"),
    *("was_hurt", "consignee", "who"),
)


@transaction.atomic
def open_complaint(  # noqa: PLR0913 - as much as is told
    *,
    by: User,
    means: str,
    nature: str,
    words: str,
    was_hurt: bool,
    bottle: Bottle | None = None,
    filling_lot: FillingLot | None = None,
    batch: Batch | None = None,
    said_of_it: str = "",
    consignee: Consignee | None = None,
    who: str = "",
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> ComplaintAccount:
    """Take a complaint down, by a maker or a reviewer; return its account.

    ``observed_at`` is when it came. Of a bottle, a filling lot or a batch it cannot
    have come before there was one. A word such as “somebody at the market” stands for
    whoever is not in the register; names of persons do not belong here.
    """
    require(by, right_of(by))
    journal.in_line()
    now = timezone.now()
    row = ComplaintAccount(
        observed_at=plausible_time(observed_at or now), entered_by=by
    )
    _fill(
        row,
        means=means,
        nature=nature,
        words=words,
        was_hurt=was_hurt,
        bottle=bottle,
        filling_lot=filling_lot,
        batch=batch,
        said_of_it=said_of_it,
        consignee=consignee,
        who=who,
    )
    row.complaint = Complaint.objects.create(
        code=next_code(PREFIX, local_day(now).year)
    )
    return _told(row, "complaint opened", submission=submission)


@transaction.atomic
def amend_complaint(  # noqa: PLR0913 - as much as is told
    *,
    by: User,
    row: ComplaintAccount,
    reason: str,
    means: str,
    nature: str,
    words: str,
    was_hurt: bool,
    bottle: Bottle | None = None,
    filling_lot: FillingLot | None = None,
    batch: Batch | None = None,
    said_of_it: str = "",
    consignee: Consignee | None = None,
    who: str = "",
    submission: uuid.UUID | None = None,
) -> ComplaintAccount:
    """Correct what was told, by a new account; the old one stays legible.

    While the complaint is open. When it came stays as it is. That somebody was hurt is
    taken back by a reviewer only.
    """
    require(by, right_of(by))
    journal.in_line()
    newest(row, ComplaintAccount.objects.all())
    _refuse(row.complaint, Step.ACTION)
    if row.was_hurt and not was_hurt:
        require(by, Right.REVIEWER)
    new = ComplaintAccount(
        complaint=row.complaint,
        entered_by=by,
        observed_at=row.observed_at,
        supersedes=row,
        reason=need_reason(reason),
    )
    _fill(
        new,
        means=means,
        nature=nature,
        words=words,
        was_hurt=was_hurt,
        bottle=bottle,
        filling_lot=filling_lot,
        batch=batch,
        said_of_it=said_of_it,
        consignee=consignee,
        who=who,
    )
    return _told(new, "complaint corrected", before=_facts(row), submission=submission)


@transaction.atomic
def add_step(
    *,
    by: User,
    complaint: Complaint,
    kind: str,
    text: str,
    conclusion: str = "",
    reference: str = "",
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> ComplaintStep:
    """Add the reply, what was found, a cause, an act, an authority or the conclusion.

    By a maker or a reviewer; the conclusion by a reviewer. ``reference`` is the number
    at an authority, as the maker has it: whether one must be told is not said here.
    """
    require(by, right_of(by))
    journal.in_line()
    if kind not in complaint_life.ADDED:
        raise Refusal("Choose what this step is.", field="kind")
    if kind == Step.CONCLUSION:
        require(by, Right.REVIEWER)
    if conclusion and kind != Step.CONCLUSION:
        raise Refusal(
            f"Only a conclusion has one, and this is “{Step(kind).label}”. Leave it"
            " empty here, and add the conclusion as a step of its own.",
            field="conclusion",
        )
    _refuse(complaint, kind)
    row = _step(
        by,
        complaint,
        kind=kind,
        text=text,
        conclusion=conclusion,
        reference=reference,
        observed_at=observed_at,
    )
    return _stepped(row, f"complaint: {Step(kind).label}", submission=submission)


@transaction.atomic
def amend_step(
    *,
    by: User,
    row: ComplaintStep,
    reason: str,
    text: str = "",
    conclusion: str = "",
    reference: str = "",
    void: bool = False,
    submission: uuid.UUID | None = None,
) -> ComplaintStep:
    """Correct a step by a new row, or take it back, while the complaint is open."""
    require(by, right_of(by))
    journal.in_line()
    newest(row, ComplaintStep.objects.all())
    if row.kind in complaint_life.ENDS:
        raise Refusal("A closing stays on record. Open the complaint again instead.")
    if row.kind == Step.CONCLUSION:
        require(by, Right.REVIEWER)
    _refuse(row.complaint, row.kind)
    new = ComplaintStep(
        complaint=row.complaint,
        kind=row.kind,
        text=row.text if void else text.strip(),
        conclusion=row.conclusion if void else conclusion,
        reference=row.reference if void else reference.strip(),
        observed_at=row.observed_at,
        entered_by=by,
        supersedes=row,
        reason=need_reason(reason),
        is_void=void,
    )
    act = "complaint: step taken back" if void else "complaint: step corrected"
    return _stepped(new, act, before=_step_facts(row), submission=submission)


@transaction.atomic
def close_complaint(
    *,
    by: User,
    complaint: Complaint,
    text: str,
    submission: uuid.UUID | None = None,
) -> ComplaintStep:
    """Close a complaint of which all that is asked for stands; by a reviewer.

    Not while a deviation of its batch is open, or a recall that reaches it.
    """
    require(by, Right.REVIEWER)
    journal.in_line()
    _refuse(complaint, Step.CLOSED)
    account = ComplaintAccount.objects.current().get(complaint=complaint)
    missing = [
        *(one.sentence for one in standing(complaint).lacking),
        *(one.words for one in complaint_ends.in_the_way(account)),
    ]
    if missing:
        raise Refusal(" ".join(missing))
    row = _step(by, complaint, kind=Step.CLOSED, text=text)
    return _stepped(row, "complaint closed", submission=submission)


@transaction.atomic
def reopen_complaint(
    *,
    by: User,
    complaint: Complaint,
    reason: str,
    submission: uuid.UUID | None = None,
) -> ComplaintStep:
    """Open a closed complaint again, by a maker or a reviewer, and say why."""
    require(by, right_of(by))
    journal.in_line()
    _refuse(complaint, Step.REOPENED)
    row = _step(by, complaint, kind=Step.REOPENED, text=need_reason(reason))
    return _stepped(row, "complaint opened again", submission=submission)


def right_of(by: User) -> Right:
    """Return the right by which somebody works on a complaint: either will do."""
    return Right.REVIEWER if by.may(Right.REVIEWER) else Right.MAKER


def _refuse(complaint: Complaint, new: str) -> None:
    """Refuse a step that cannot follow those that stand."""
    rows = ComplaintStep.objects.current().filter(complaint=complaint)
    kinds = list(rows.order_by("pk").values_list("kind", flat=True))
    why = complaint_life.why_not(kinds, new)
    if why:
        raise Refusal(why)


def _fill(row: ComplaintAccount, **fields: Any) -> None:
    for name, value in fields.items():
        setattr(row, name, value.strip() if isinstance(value, str) else value)
    if row.nature == ComplaintAccount.Nature.INJURY and not row.was_hurt:
        raise Refusal(
            "It is about an irritation or injury: then somebody was hurt. Say so, or"
            " choose what else it is about.",
            field="was_hurt",
        )
    lot = row.filling_lot or (row.bottle.filling_lot if row.bottle else None)
    if lot is not None:
        not_before(
            row.observed_at,
            existed_at(lot),
            was=f"{lot.code} was filled",
            what="a complaint about it",
        )
    elif row.batch is not None and local_day(row.observed_at) < local_day(
        row.batch.opened_at
    ):
        raise Refusal(
            "There was no such batch yet on that day. Write when it came.",
            field="observed_at",
        )


def _told(
    row: ComplaintAccount,
    act: str,
    *,
    before: dict[str, Any] | None = None,
    submission: uuid.UUID | None = None,
) -> ComplaintAccount:
    row.full_clean()
    row.save(force_insert=True)
    journal.write(
        by=row.entered_by,
        act=act,
        subject=row.complaint,
        label=row.complaint.code,
        before=before,
        after=_facts(row),
        reason=row.reason,
        submission=submission,
    )
    return row


def _facts(row: ComplaintAccount) -> dict[str, Any]:
    """Return an account without a name and without words, which may hold one."""
    return {
        "bottle": row.bottle.code if row.bottle else None,
        "filling_lot": row.filling_lot.code if row.filling_lot else None,
        "batch": row.batch.number if row.batch else None,
        "means": row.means,
        "nature": row.nature,
        "was_hurt": row.was_hurt,
        "consignee": row.consignee.reference if row.consignee else None,
        "observed_at": row.observed_at.isoformat(),
    }


def _step(by: User, complaint: Complaint, **fields: Any) -> ComplaintStep:
    at = fields.pop("observed_at", None) or timezone.now()
    first = complaint.accounts.order_by("pk")[0]
    row = ComplaintStep(
        complaint=complaint,
        entered_by=by,
        observed_at=not_before(
            plausible_time(at),
            existed_at(first),
            was="The complaint came",
            what="a step of it",
        ),
    )
    for name, value in fields.items():
        setattr(row, name, str(value).strip())
    return row


def _stepped(
    row: ComplaintStep,
    act: str,
    *,
    before: dict[str, Any] | None = None,
    submission: uuid.UUID | None = None,
) -> ComplaintStep:
    row.full_clean()
    row.save(force_insert=True)
    journal.write(
        by=row.entered_by,
        act=act,
        subject=row.complaint,
        label=row.complaint.code,
        before=before,
        after=_step_facts(row),
        reason=row.reason,
        submission=submission,
    )
    return row


def _step_facts(row: ComplaintStep) -> dict[str, Any]:
    """Return a step without its words, which may hold a name."""
    return {
        "step": row.pk,
        "kind": row.kind,
        "conclusion": row.conclusion,
        "reference": row.reference,
        "is_void": row.is_void,
    }
