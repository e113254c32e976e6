"""Who may review their own work, and when: only where there is nobody else."""

from __future__ import annotations

import datetime

from django.utils import timezone

from producer.errors import Refusal
from producer.models import Premises, User


def may_review_alone(*, by: User, last_at: datetime.datetime, what: str) -> None:
    """Refuse unless a one-person premises lets ``by`` decide about their own work.

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
    others = User.objects.filter(is_reviewer=True, is_active=True)
    if others.exclude(person=by.person).exists():
        raise Refusal(
            "Another reviewer has an account here, so another reviewer must review"
            f" this: you made this {what}."
        )
    pause = datetime.timedelta(hours=premises.self_review_pause_hours)
    ready_at = last_at + pause
    if timezone.now() < ready_at:
        local = ready_at.astimezone(premises.zone)
        raise Refusal(
            "Look again with fresh eyes: you may review your own work from"
            f" {local:%d %b %Y, %H:%M} on, {premises.self_review_pause_hours} hours"
            " after its last entry."
        )


def why_not_alone(*, by: User, last_at: datetime.datetime, what: str) -> str:
    """Return why ``by`` may not decide about their own work yet, or nothing."""
    try:
        may_review_alone(by=by, last_at=last_at, what=what)
    except Refusal as refusal:
        return refusal.message
    return ""
