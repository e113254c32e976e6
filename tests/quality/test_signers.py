"""What stands beside a name for ever: who else set the password, and the pause."""

from __future__ import annotations

from typing import Any

import pytest

from producer.errors import Refusal
from producer.models import JournalEntry, Premises, User
from producer.services import people, registers
from quality.services import deviating, record, signers, signing
from tests import make
from tests.quality import faulty
from tests.quality.test_signing import hours_later, one_person
from tests.quality.test_signing_page import page

pytestmark = pytest.mark.django_db
SET_BY = "password set by Odile Brandt on"
OWN = "nine ladles in the rack"


def changed(user: User, current: str = make.PASSWORD, new: str = OWN) -> User:
    """Let a person change their own password."""
    return people.change_password(
        by=user, user=user, current_password=current, password=new
    )


def reset(owner: User, user: User) -> User:
    """Let the owner set somebody's password."""
    return people.set_password(by=owner, user=user, password=make.PASSWORD)


def signed(by: User, batch: Any, password: str, meaning: str = "release") -> Any:
    """Sign; return the decision as it stands in the record."""
    row = make.sign(by, batch, meaning, password=password)
    assert list(signing.faults()) == []
    return record.part(row.record, "decision")


def test_a_password_that_its_person_never_changed_stands_with_the_signature(
    crew: make.Crew, owner: User
) -> None:
    batch = make.cooked_batch(crew)
    decision = signed(crew.reviewer, batch, make.PASSWORD)
    opened = JournalEntry.objects.get(act="account opened", subject_label="rasmus.lind")
    assert decision["password_set_by"]["name"] == "Odile Brandt"
    assert decision["password_set_by"]["at"].startswith(f"{opened.at:%Y-%m-%dT%H:%M}")
    for name in ("quality:review", "batches:batch"):
        said = page(owner, name, batch.number).words
        assert "Rasmus Lind (rasmus.lind), " + SET_BY in said, name


def test_one_that_was_changed_leaves_the_name_alone(
    crew: make.Crew, owner: User
) -> None:
    reviewer = changed(crew.reviewer)
    batch = make.cooked_batch(crew)
    assert "password_set_by" not in signed(reviewer, batch, OWN)
    said = page(owner, "quality:review", batch.number).words
    assert "Rasmus Lind (rasmus.lind)" in said
    assert "password set by" not in said


def test_a_reset_since_the_last_signature_shows_even_if_it_was_changed_again(
    crew: make.Crew, owner: User
) -> None:
    reviewer = changed(crew.reviewer)
    batch = make.cooked_batch(crew)
    signed(reviewer, batch, OWN)
    # The owner comes in as her and changes it “herself”.
    stolen = changed(reset(owner, reviewer))
    assert "password_set_by" in signed(stolen, batch, OWN, "hold")
    assert "password_set_by" not in signed(stolen, batch, OWN, "unhold")


def test_who_set_it_for_themselves_is_nobody_else(owner: User) -> None:
    assert signers.password_set_by(owner) == {}
    second = make.account(
        by=owner, name="", username="odile.2", rights=["reviewer"], person=owner.person
    )
    assert signers.password_set_by(second) == {}


def test_the_decision_about_a_deviation_says_it_too(
    crew: make.Crew, owner: User
) -> None:
    batch = make.cooked_batch(crew, ph="11")
    found = faulty.looked_into(
        crew.maker, faulty.deviation(crew.maker, batch.stock, "ph")
    )
    step = faulty.close(crew.reviewer, found, "rejected")
    assert record.part(step.record, "decision")["password_set_by"]["name"] == str(
        owner.person
    )
    assert list(deviating.faults()) == []
    assert SET_BY in page(owner, "quality:deviation", found.code).words


def test_a_record_from_before_this_was_kept_still_verifies(
    crew: make.Crew, monkeypatch: pytest.MonkeyPatch
) -> None:
    batch = make.cooked_batch(crew)
    with monkeypatch.context() as then:
        then.setattr(signers, "part_of_decision", lambda *_: {"pause_hours": None})
        then.setattr(signers, "in_the_journal", lambda *_: {})
        then.setattr(record, "decision_of", _as_it_was(record.decision_of))
        row = make.sign(crew.reviewer, batch)
    assert set(record.part(row.record, "decision")).isdisjoint(
        {"password_set_by", "pause_hours"}
    )
    assert list(signing.faults()) == []


def _as_it_was(decision_of: Any) -> Any:
    return lambda signature, *_: decision_of(signature)


def test_a_record_that_keeps_silent_about_it_is_found(
    crew: make.Crew, monkeypatch: pytest.MonkeyPatch
) -> None:
    batch = make.cooked_batch(crew)
    with monkeypatch.context() as then:
        then.setattr(record, "decision_of", _as_it_was(record.decision_of))
        make.sign(crew.reviewer, batch)
    (fault,) = signing.faults()
    assert "name, meaning or reason" in fault


def test_who_is_about_to_sign_is_told_to_change_it_first(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    told = "Your password was set by Odile Brandt on"
    assert told in page(crew.reviewer, "quality:sign", batch.number).words
    reviewer = changed(crew.reviewer)
    assert told not in page(reviewer, "quality:sign", batch.number).words


def test_a_self_review_says_which_pause_was_kept(
    crew: make.Crew, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    batch = make.cooked_batch(crew)
    alone = one_person(crew, owner, hours=3)
    hours_later(monkeypatch, 3.1)
    assert signed(alone, batch, make.PASSWORD)["pause_hours"] == 3
    said = page(owner, "quality:review", batch.number).words
    assert "looked again after a pause of at least 3 hours" in said


def test_a_decision_about_others_work_names_no_pause(crew: make.Crew) -> None:
    decision = signed(crew.reviewer, make.cooked_batch(crew), make.PASSWORD)
    assert "pause_hours" not in decision


def test_a_pause_of_no_hour_is_refused_and_an_old_one_counts_as_an_hour(
    crew: make.Crew, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    premises = Premises.objects.get()
    premises.self_review_pause_hours = 0
    with pytest.raises(Refusal, match="At least 1 hour") as refusal:
        registers.save(by=owner, entry=premises)
    assert refusal.value.field == "self_review_pause_hours"
    batch = make.cooked_batch(crew)
    alone = one_person(crew, owner)
    Premises.objects.update(self_review_pause_hours=0)
    with pytest.raises(Refusal, match="1 hour after its last entry"):
        make.sign(alone, batch)
    hours_later(monkeypatch, 1.1)
    assert make.sign(alone, batch).self_reviewed
