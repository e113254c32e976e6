"""Small notes of training and protective equipment: kept, corrected, due again."""

from __future__ import annotations

import datetime
import uuid
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.test import Client

from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, SafetyNote
from producer.services.safety import (
    amend_note,
    due_notes,
    notes_on,
    record_note,
    standing_notes,
)
from tests import make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db


def day(number: int) -> datetime.date:
    return make.TODAY + datetime.timedelta(days=number)


def note(crew: make.Crew, topic: str, done: int, **facts: Any) -> SafetyNote:
    return record_note(
        by=crew.maker,
        **{"kind": "protection", "topic": topic, "done_on": day(done), **facts},
    )


def test_training_is_somebodys_and_nothing_is_due_before_it_was_done(
    crew: make.Crew,
) -> None:
    with pytest.raises(ValidationError, match="Say who was trained"):
        note(crew, "potash", 0, kind="training")
    with pytest.raises(ValidationError, match="due again after the day"):
        note(crew, "gloves", 0, due_on=day(0))
    with pytest.raises(Refusal, match="lies in the future"):
        note(crew, "gloves", 1)
    with pytest.raises(PermissionDenied):
        record_note(by=crew.reviewer, kind="rules", topic="read", done_on=make.TODAY)
    note(crew, "potash", 0, kind="training", person=crew.maker.person)
    entry = JournalEntry.objects.first()
    assert entry is not None
    assert (entry.act, entry.subject_label) == ("safety note recorded", "potash")


def test_a_note_is_corrected_by_a_new_one_and_taken_back_by_another(
    crew: make.Crew,
) -> None:
    first = note(crew, "gloves", -3)
    second = amend_note(
        by=crew.maker, note=first, topic="gloves, long ones", reason="said too little"
    )
    assert second.done_on == first.done_on
    with pytest.raises(Conflict, match="corrected already"):
        amend_note(by=crew.maker, note=first, topic="x", reason="x")
    with pytest.raises(Refusal, match="Say why"):
        amend_note(by=crew.maker, note=second, void=True, reason="")
    last = amend_note(by=crew.maker, note=second, void=True, reason="not bought yet")
    assert standing_notes() == []
    with pytest.raises(Conflict, match="taken back"):
        amend_note(by=crew.maker, note=last, topic="x", reason="x")
    assert SafetyNote.objects.count() == 3


def test_a_topic_noted_again_answers_the_one_before_it(crew: make.Crew) -> None:
    old = note(crew, "Eyewash rinsed", -200, due_on=day(-20))
    other = note(crew, "goggles", -200, due_on=day(31))
    never = note(crew, "apron", -1)
    assert due_notes(make.TODAY) == [old]
    assert due_notes(day(1)) == [old, other]  # thirty days ahead
    again = note(crew, " eyewash  rinsed", 0, due_on=day(180))
    assert due_notes(make.TODAY) == []
    assert standing_notes() == [other, again, never]


def test_training_of_one_person_is_not_that_of_another(crew: make.Crew) -> None:
    facts = {"kind": "training", "due_on": day(5)}
    mine = note(crew, "potash", -9, person=crew.maker.person, **facts)
    yours = note(crew, "potash", -8, person=crew.reviewer.person, **facts)
    assert due_notes(make.TODAY) == [mine, yours]


def test_an_audit_is_told_what_stood_of_a_person_on_a_day(crew: make.Crew) -> None:
    who = {"person": crew.maker.person, "kind": "training"}
    first = note(crew, "potash", -400, **who, due_on=day(-35))
    second = note(crew, "potash", -30, **who)
    gloves = note(crew, "gloves", -100)
    note(crew, "potash", -100, person=crew.reviewer.person, kind="training")
    assert notes_on(crew.maker.person, day(-401)) == []
    assert notes_on(crew.maker.person, day(-100)) == [gloves, first]
    assert notes_on(crew.maker.person, day(-30)) == [gloves, second]
    amend_note(by=crew.maker, note=second, void=True, reason="was another day")
    assert notes_on(crew.maker.person, make.TODAY) == [gloves, first]


def test_the_page_lists_what_is_overdue_first_and_takes_a_note(
    crew: make.Crew, client: Client
) -> None:
    note(crew, "apron", -1)
    late = note(crew, "goggles", -400, due_on=day(-2))
    client.force_login(crew.maker)
    words = page_of(client.get("/safety/")).words
    assert words.index("goggles") < words.index("apron")
    assert "overdue" in words
    again = page_of(client.get(f"/safety/new/?again={late.pk}"))
    assert "goggles" in {one.get("value") for one in again.attributes("input")}
    form = {
        "submission": str(uuid.uuid4()),
        "kind": "protection",
        "topic": "goggles",
        "done_on": make.TODAY.isoformat(),
    }
    assert client.post("/safety/new/", form).status_code == 302
    assert "overdue" not in page_of(client.get("/safety/")).words
    assert client.get("/safety/new/?again=nonsense").status_code == 200
