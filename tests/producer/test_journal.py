"""The journal: an unbroken chain that shows what was done behind its back."""

from __future__ import annotations

import functools
import uuid
from collections.abc import Callable
from http import HTTPStatus

import pytest
from django.contrib.messages.storage.fallback import FallbackStorage
from django.core.exceptions import ImproperlyConfigured
from django.db import DatabaseError, IntegrityError, transaction
from django.http import HttpResponse
from django.test import RequestFactory

from producer import journal
from producer.errors import Refusal
from producer.forms.base import ReasonForm
from producer.models import JournalEntry, JournalHead, StockMovement, Supplier, User
from producer.models.journal import FIRST_HASH
from producer.services import registers, stock
from producer.views import acts
from tests import make
from tests.database import outcome, run, together, without_triggers

THREADS, ACTS_EACH = 8, 25


def write(by: User, act: str = "looked at", reason: str = "") -> JournalEntry:
    return journal.write(by=by, act=act, subject=by, label=by.username, reason=reason)


@pytest.mark.django_db
def test_the_chain_begins_with_the_premises_and_has_no_faults(owner: User) -> None:
    first = JournalEntry.objects.get()
    assert (first.sequence, first.act) == (1, "premises set up")
    assert first.previous_hash == FIRST_HASH
    second = write(owner)
    assert second.previous_hash == first.hash
    assert list(journal.faults()) == []


@pytest.mark.django_db
def test_an_entry_says_who_did_what_to_what_and_why(owner: User) -> None:
    entry = make.supplier(make.account(by=owner, name="Ines Holm", rights=["maker"]))
    row = JournalEntry.objects.get(subject_kind="supplier")
    assert row.actor_name == "Ines Holm"
    assert row.act == "supplier registered"
    assert row.subject_id == str(entry.pk)
    assert row.subject_label == entry.name
    assert row.before_values == {}
    assert row.after_values["phone"] == entry.phone


def alter(row: JournalEntry) -> None:
    run(
        "UPDATE producer_journalentry SET reason = 'better' WHERE sequence = %s",
        row.sequence,
    )


def alter_with_its_hash(row: JournalEntry) -> None:
    row.reason = "better"
    run(
        "UPDATE producer_journalentry SET reason = %s, hash = %s WHERE sequence = %s",
        row.reason,
        row.expected_hash(),
        row.sequence,
    )


def remove(row: JournalEntry) -> None:
    run("DELETE FROM producer_journalentry WHERE sequence = %s", row.sequence)


def remove_the_last(row: JournalEntry) -> None:
    run("DELETE FROM producer_journalentry WHERE sequence > %s", row.sequence)


def insert_at_the_end(row: JournalEntry) -> None:
    last = JournalEntry.objects.latest("sequence")
    last.previous_hash, last.sequence = last.hash, last.sequence + 1
    last.submission = None
    last.hash = last.expected_hash()
    last.save(force_insert=True)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("change", "said"),
    [
        (alter, "Journal row 3 was altered after it was written."),
        (alter_with_its_hash, "Journal row 4 does not follow the row before it."),
        (remove, "Journal rows 3 to 3 are missing."),
        (remove_the_last, "The journal should end at row 5 but ends at row 3"),
        (insert_at_the_end, "The journal should end at row 5 but ends at row 6"),
    ],
)
def test_a_change_behind_the_programs_back_is_found(
    owner: User, change: Callable[[JournalEntry], None], said: str
) -> None:
    for number in range(4):
        write(owner, f"act {number}")
    assert list(journal.faults(batch_size=2)) == []
    with without_triggers():
        change(JournalEntry.objects.get(sequence=3))
    found = list(journal.faults(batch_size=2))
    assert len(found) == 1
    assert found[0].startswith(said)


@pytest.mark.django_db(transaction=True)
def test_without_a_transaction_nothing_is_written(owner: User) -> None:
    with pytest.raises(ImproperlyConfigured):
        write(owner)
    with transaction.atomic():  # control
        write(owner)
    assert JournalEntry.objects.count() == 2


@pytest.mark.django_db(transaction=True)
def test_a_rollback_takes_the_change_and_its_entry(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.water(crew.maker), quantity_mg=1000)
    before = JournalEntry.objects.count(), StockMovement.objects.count()

    def fail_afterwards() -> None:
        with transaction.atomic():
            stock.dispose(by=crew.maker, lot=lot, amount_mg=1, reason="spilt")
            raise OSError("the power went out")

    assert isinstance(outcome(fail_afterwards), OSError)
    assert (JournalEntry.objects.count(), StockMovement.objects.count()) == before
    lot.stock.refresh_from_db()
    assert lot.stock.on_hand_mg == 1000
    assert list(journal.faults()) == []
    # control: without the failure both are there
    stock.dispose(by=crew.maker, lot=lot, amount_mg=1, reason="spilt")
    after = JournalEntry.objects.count(), StockMovement.objects.count()
    assert after == (before[0] + 1, before[1] + 1)


def naive_write(owner: User) -> None:
    """Write as one would without thinking of others: read the end, then add."""
    with transaction.atomic():
        head = JournalHead.objects.get(pk=1)
        entry = JournalEntry(
            sequence=head.sequence + 1,
            at=owner.created_at,
            actor=owner,
            previous_hash=head.hash,
        )
        entry.hash = entry.expected_hash()
        entry.save(force_insert=True)
        JournalHead.objects.update(sequence=entry.sequence, hash=entry.hash)


@pytest.mark.django_db(transaction=True)
def test_acts_of_eight_people_at_once_make_one_unbroken_chain(owner: User) -> None:
    start = JournalEntry.objects.count()

    def act_often(hand: int) -> None:
        for number in range(ACTS_EACH):
            with transaction.atomic():
                write(owner, f"act {hand}.{number}")

    results = together(*[functools.partial(act_often, n) for n in range(THREADS)])
    assert results == [None] * THREADS
    assert JournalEntry.objects.count() == start + THREADS * ACTS_EACH
    assert list(journal.faults()) == []
    acts_seen = set(JournalEntry.objects.values_list("act", flat=True))
    assert len(acts_seen) == THREADS * ACTS_EACH + start


@pytest.mark.django_db(transaction=True)
@pytest.mark.postgresql
def test_control_without_the_lock_on_the_head_writers_collide(
    owner: User,
    on_postgresql: bool,  # noqa: FBT001 - a fixture
) -> None:
    if not on_postgresql:
        pytest.skip("SQLite lets one writer in at a time, whatever the code does")

    def act_often() -> None:
        for _ in range(ACTS_EACH):
            naive_write(owner)

    results = together(*[act_often] * THREADS)
    assert any(isinstance(result, IntegrityError) for result in results)


@pytest.mark.django_db(transaction=True)
def test_scenario_09_double_tap_makes_one_row(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.water(crew.maker), quantity_mg=1000)
    submission = uuid.uuid4()

    def tap() -> StockMovement:
        return stock.dispose(
            by=crew.maker, lot=lot, amount_mg=5, reason="spilt", submission=submission
        )

    results = together(tap, tap, tap)
    assert sum(isinstance(result, StockMovement) for result in results) == 1
    assert sum(isinstance(result, IntegrityError) for result in results) == 2
    assert JournalEntry.objects.filter(submission=submission).count() == 1
    lot.stock.refresh_from_db()
    assert lot.stock.on_hand_mg == 995
    assert list(journal.faults()) == []
    # control: three submissions are three acts
    for _ in range(2):
        stock.dispose(by=crew.maker, lot=lot, amount_mg=5, reason="spilt")
    lot.stock.refresh_from_db()
    assert lot.stock.on_hand_mg == 985


@pytest.mark.django_db
@pytest.mark.parametrize("looked", ["before", "too late"])
def test_scenario_09_double_tap_leads_on_and_says_so(
    crew: make.Crew,
    rf: RequestFactory,
    monkeypatch: pytest.MonkeyPatch,
    looked: str,
) -> None:
    lot = make.held_lot(crew, make.water(crew.maker), quantity_mg=1000)
    sent = {"reason": "spilt", "submission": str(uuid.uuid4())}

    def arrive() -> HttpResponse:
        request = rf.post("/lots/1/dispose", sent)
        request.user = crew.maker
        request.session = {}  # type: ignore[assignment]
        request._messages = FallbackStorage(request)  # type: ignore[attr-defined]
        return acts.handle(
            request,
            ReasonForm(request.POST),
            title="Dispose of water",
            do=lambda facts, submission: stock.dispose(
                by=crew.maker, lot=lot, amount_mg=5, submission=submission, **facts
            ),
            then=lambda movement: "/done",
            said="Disposed of.",
            home="/lots/1",
        )

    first = arrive()
    if looked == "too late":  # the rival's row is not there yet when we look
        look = journal.find_submission
        answers = iter([None])
        monkeypatch.setattr(
            journal, "find_submission", lambda key: next(answers, look(key))
        )
    second = arrive()
    assert first.status_code == second.status_code == HTTPStatus.FOUND
    assert (first["Location"], second["Location"]) == ("/done", "/lots/1")
    lot.stock.refresh_from_db()
    assert lot.stock.on_hand_mg == 995


@pytest.mark.django_db
@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE producer_journalentry SET reason = 'better'",
        "DELETE FROM producer_journalentry",
    ],
)
def test_an_entry_cannot_be_changed_or_deleted(owner: User, sql: str) -> None:
    with pytest.raises(DatabaseError, match="never changed or deleted"):
        run(sql)


@pytest.mark.django_db
def test_a_refused_act_leaves_no_entry(crew: make.Crew) -> None:
    before = JournalEntry.objects.count()
    lot = make.held_lot(crew, make.water(crew.maker), quantity_mg=1000)
    made = JournalEntry.objects.count()
    assert made > before
    with pytest.raises(Refusal):
        stock.dispose(by=crew.maker, lot=lot, amount_mg=1001, reason="spilt")
    assert JournalEntry.objects.count() == made


@pytest.mark.django_db
def test_the_second_head_of_a_journal_is_refused(owner: User) -> None:
    with pytest.raises(IntegrityError):
        JournalHead.objects.create(pk=2)


@pytest.mark.django_db
def test_names_in_any_script_are_hashed_as_they_are_stored(crew: make.Crew) -> None:
    registers.save(by=crew.maker, entry=Supplier(name="Ölmühle Σίμος 油 ½"))
    assert list(journal.faults()) == []
