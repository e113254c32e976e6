"""Who may review their own work, and when: only where there is nobody else."""

from __future__ import annotations

import datetime

from django.db import models
from django.utils import timezone

from producer.errors import Refusal
from producer.models import Premises, User
from producer.services.registers import SHORTEST_PAUSE


def may_review_alone(*, by: User, last_at: datetime.datetime, what: str) -> int:
    """Refuse unless a one-person premises lets ``by`` decide about their own work.

    Returns the pause that was kept, in hours: it stands with the signature.

    ``what`` completes “You made this …” and names it: “batch or entered something in
    it”. ``last_at`` is when something was last entered: from then the pause runs.
    """
    premises = Premises.objects.get()
    if not premises.one_person:
        raise Refusal(
            f"You made this {what}, so somebody else must review it. Where there is"
            " nobody else, the owner declares a one-person premises on the page"
            " “Premises”."
        )
    if _others().exclude(person=by.person).exists():
        raise Refusal(
            "Another reviewer has an account here, so another reviewer must review"
            f" this: you made this {what}."
        )
    # A premises from before there was a shortest pause may still say none.
    hours = max(premises.self_review_pause_hours, SHORTEST_PAUSE)
    ready_at = last_at + datetime.timedelta(hours=hours)
    if timezone.now() < ready_at:
        local = ready_at.astimezone(premises.zone)
        raise Refusal(
            "Look again with fresh eyes: you may review your own work from"
            f" {local:%d %b %Y, %H:%M} on, {hours} hour{'s' if hours > 1 else ''}"
            " after its last entry."
        )
    return hours


def nobody_else(person_id: int) -> bool:
    """Say whether the premises is a one-person one with no other reviewer."""
    return (
        Premises.objects.filter(one_person=True).exists()
        and not _others().exclude(person=person_id).exists()
    )


def _others() -> models.QuerySet[User]:
    return User.objects.filter(is_reviewer=True, is_active=True)


def why_not_alone(*, by: User, last_at: datetime.datetime, what: str) -> str:
    """Return why ``by`` may not decide about their own work yet, or nothing."""
    try:
        may_review_alone(by=by, last_at=last_at, what=what)
    except Refusal as refusal:
        return refusal.message
    return ""
