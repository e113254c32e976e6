"""Training, protective equipment, first aid and rules: small notes, never edited."""

from __future__ import annotations

import datetime
import uuid
from typing import Any

from django.db import transaction
from django.utils import timezone

from producer import journal
from producer.errors import Conflict, Refusal
from producer.models import Person, Right, SafetyNote, User
from producer.services.checks import local_day, need_reason, require

SOON = datetime.timedelta(days=30)


@transaction.atomic
def record_note(
    *,
    by: User,
    kind: str,
    topic: str,
    done_on: datetime.date,
    person: Person | None = None,
    due_on: datetime.date | None = None,
    submission: uuid.UUID | None = None,
) -> SafetyNote:
    """Note what was trained, looked at, replaced or read, and when it is due again."""
    require(by, Right.MAKER)
    row = _filled(
        SafetyNote(entered_by=by, observed_at=timezone.now()),
        kind=kind,
        topic=topic,
        done_on=done_on,
        person=person,
        due_on=due_on,
    )
    row.save(force_insert=True)
    _write(by, row, "safety note recorded", {}, submission)
    return row


@transaction.atomic
def amend_note(
    *,
    by: User,
    note: SafetyNote,
    reason: str,
    kind: str = "",
    topic: str = "",
    done_on: datetime.date | None = None,
    person: Person | None = None,
    due_on: datetime.date | None = None,
    void: bool = False,
    submission: uuid.UUID | None = None,
) -> SafetyNote:
    """Correct a note by a new row, or take it back; the old row stays legible."""
    require(by, Right.MAKER)
    if SafetyNote.objects.select_for_update().filter(supersedes=note).exists():
        raise Conflict("This note was corrected already. Correct the newest one.")
    if note.is_void:
        raise Conflict("This note was taken back; record a new one instead.")
    row = SafetyNote(
        entered_by=by,
        observed_at=timezone.now(),
        supersedes=note,
        reason=need_reason(reason),
        is_void=void,
    )
    if void:
        row = _filled(row, **_values(note))
    else:
        row = _filled(
            row,
            kind=kind or note.kind,
            topic=topic or note.topic,
            done_on=done_on or note.done_on,
            person=person,
            due_on=due_on,
        )
    row.save(force_insert=True)
    act = "safety note taken back" if void else "safety note corrected"
    _write(by, row, act, _facts(note), submission)
    return row


def standing_notes() -> list[SafetyNote]:
    """Return the newest note of each person, kind and topic, what is due first.

    A topic noted again answers the one before it. Notes that are never due come last.
    """
    rows = SafetyNote.objects.current().select_related("person", "entered_by__person")
    newest = {_about(row): row for row in rows.order_by("done_on", "pk")}
    return sorted(
        newest.values(),
        key=lambda row: (row.due_on is None, row.due_on or row.done_on, row.pk),
    )


def due_notes(today: datetime.date) -> list[SafetyNote]:
    """Return the notes that are due again by now or within thirty days."""
    return [
        row
        for row in standing_notes()
        if row.due_on is not None and row.due_on <= today + SOON
    ]


def notes_on(person: Person, day: datetime.date) -> list[SafetyNote]:
    """Return what stood of a person on a day, and of the premises as a whole.

    The newest note of each kind and topic that was done by then, as it is known now.
    One whose ``due_on`` lies before the day was overdue on it.
    """
    rows = SafetyNote.objects.current().filter(done_on__lte=day)
    rows = rows.filter(person=person) | rows.filter(person__isnull=True)
    newest = {_about(row): row for row in rows.order_by("done_on", "pk")}
    return sorted(newest.values(), key=lambda row: (row.kind, row.topic, row.pk))


def _about(row: SafetyNote) -> tuple[str, int | None, str]:
    return row.kind, row.person_id, " ".join(row.topic.casefold().split())


def _filled(
    row: SafetyNote,
    *,
    kind: str,
    topic: str,
    done_on: datetime.date,
    person: Person | None,
    due_on: datetime.date | None,
) -> SafetyNote:
    if done_on > local_day(timezone.now()):
        raise Refusal(
            "This day lies in the future. Note it when it is done.", field="done_on"
        )
    row.kind, row.topic, row.person = kind, topic.strip(), person
    row.done_on, row.due_on = done_on, due_on
    row.full_clean()
    return row


def _values(note: SafetyNote) -> dict[str, Any]:
    return {
        "kind": note.kind,
        "topic": note.topic,
        "done_on": note.done_on,
        "person": note.person,
        "due_on": note.due_on,
    }


def _facts(row: SafetyNote) -> dict[str, Any]:
    return {
        "kind": row.kind,
        "topic": row.topic,
        "person": row.person.name if row.person else None,
        "done_on": row.done_on.isoformat(),
        "due_on": row.due_on.isoformat() if row.due_on else None,
        "is_void": row.is_void,
    }


def _write(
    by: User,
    row: SafetyNote,
    act: str,
    before: dict[str, Any],
    submission: uuid.UUID | None,
) -> None:
    journal.write(
        by=by,
        act=act,
        subject=row,
        label=row.topic,
        before=before,
        after=_facts(row),
        reason=row.reason,
        submission=submission,
    )
