"""What stands beside a name for ever: who set the password, and the pause that held.

An owner can set anybody's password and then sign in as them. That cannot be prevented
where one person looks after the accounts, so it is shown with the signature. Everything
is read from the journal, as of the journal row of the signature, and can be read again.
"""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping
from typing import Any

from django.db import models

from producer.models import JournalEntry, User
from quality.models import DeviationStep, Signature

Signed = Signature | DeviationStep
SIGNED = "batch signed: "
CLOSED = "deviation closed: "
CHANGED = "password changed"
OPENED = "account opened"
SET_BY = "password_set_by"
PAUSE = "pause_hours"


def password_set_by(signer: User, *, before: int | None = None) -> dict[str, str]:
    """Return who set the password that ``signer`` signs with, and when; or nothing.

    Somebody else, where the person never changed the password since, or where it was
    set after the person's last signature: whoever set it could have signed in and
    changed it once more. ``before`` is the journal row to look back from; without it,
    now.
    """
    entries = JournalEntry.objects.order_by("-sequence")
    if before is not None:
        entries = entries.filter(sequence__lt=before)
    acts = entries.filter(
        subject_kind="user", subject_id=str(signer.pk), act__in=[CHANGED, OPENED]
    ).select_related("actor")
    newest = acts.first()
    if newest is None:
        return {}  # the first owner, who never changed it
    if _is_by_another(newest, signer):
        return _said(newest)
    last = entries.filter(
        models.Q(act__startswith=SIGNED) | models.Q(act__startswith=CLOSED),
        actor=signer,
    ).first()
    since = acts.filter(act=CHANGED, sequence__gt=last.sequence if last else 0)
    foreign = since.exclude(actor__person=signer.person_id).first()
    return _said(foreign) if foreign else {}


def part_of_decision(
    set_by: Mapping[str, str], pause_hours: int | None
) -> dict[str, Any]:
    """Return the part of a signed decision; no key for what there is not."""
    return {
        **({SET_BY: dict(set_by)} if set_by else {}),
        **({PAUSE: pause_hours} if pause_hours is not None else {}),
    }


def in_the_journal(
    set_by: Mapping[str, str], pause_hours: int | None
) -> dict[str, Any]:
    """Return what the journal says of it; always with a word about the password.

    By that word ``verify`` knows signatures from before this was kept.
    """
    return {SET_BY: set_by.get("name"), PAUSE: pause_hours}


def as_of(entries: models.QuerySet[JournalEntry], record_sha256: str) -> dict[str, Any]:
    """Return that part once more, as of the row among ``entries`` that has the hash."""
    entry = entries.filter(after__contains=record_sha256).first()
    after = {} if entry is None else entry.after_values
    if entry is None or entry.actor is None or SET_BY not in after:
        return {}
    return part_of_decision(
        password_set_by(entry.actor, before=entry.sequence), after[PAUSE]
    )


def of_signed(row: Signed) -> dict[str, Any]:
    """Return who signed and what stands beside the name, as it was signed.

    ``account``, and where there is any ``set_by``, ``set_at`` and ``pause_hours``.
    """
    signer = row.signer if isinstance(row, Signature) else row.entered_by
    decision = json.loads(row.record).get("decision", {}) if row.record else {}
    set_by = decision.get(SET_BY)
    return {
        "account": signer.username,
        **(_shown(set_by) if set_by else {}),
        PAUSE: decision.get(PAUSE),
    }


def shown_now(signer: User) -> dict[str, Any]:
    """Return what would stand beside a signature of ``signer`` now, or nothing."""
    set_by = password_set_by(signer)
    return _shown(set_by) if set_by else {}


def _shown(set_by: Mapping[str, str]) -> dict[str, Any]:
    at = datetime.datetime.fromisoformat(set_by["at"])
    return {"set_by": set_by["name"], "set_at": at}


def _is_by_another(entry: JournalEntry, signer: User) -> bool:
    return entry.actor is None or entry.actor.person_id != signer.person_id


def _said(entry: JournalEntry) -> dict[str, str]:
    at = entry.at.astimezone(datetime.UTC).isoformat(timespec="microseconds")
    return {"name": entry.actor_name, "at": at}
