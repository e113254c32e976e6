"""A signature: by somebody else, with the password, over a record that then stands."""

from __future__ import annotations

import datetime
import functools
import itertools
import json
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied
from django.db import DatabaseError, transaction
from django.utils import timezone

from batches.lifecycle import BATCH_MOVES, BatchStatus
from batches.models import Batch, Bottle, BulkWeighing, Charge, Reading
from batches.services import cooking
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, Premises, Stock, User
from producer.services import intake, people, registers
from quality.models import Judgement, Signature
from quality.services import record, reviewing, signing
from tests import make
from tests.database import run, while_uncommitted, without_triggers

WORDS_OF_SELF_REVIEW = "self-reviewed, no independent check"


@pytest.mark.django_db
def test_a_release_binds_name_meaning_and_record(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    signature = make.sign(crew.reviewer, batch)
    assert make.fresh(batch).status == "released"
    assert signature.printed_name == "Rasmus Lind"
    assert signature.meaning_in_words == "reviewed and released"
    assert signature.record_sha256 == record.sha256(signature.record)
    facts = record.part(signature.record, "facts")
    assert facts == record.facts_of(make.fresh(batch))
    assert len(facts["charges"]) == 4
    judged = Judgement.objects.filter(signature=signature)
    assert [j.characteristic for j in judged] == ["ph", "clarity", "yield_variance"]
    assert {j.verdict for j in judged} == {"pass"}
    assert list(signing.faults()) == []
    entry = JournalEntry.objects.get(act="batch signed: reviewed and released")
    assert entry.after_values["record_sha256"] == signature.record_sha256


@pytest.mark.django_db
def test_a_wrong_password_signs_nothing(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    with pytest.raises(Refusal) as refusal:
        make.sign(crew.reviewer, batch, password="guessed")
    assert refusal.value.field == "password"
    assert not Signature.objects.exists()
    assert make.fresh(batch).status == "awaiting_review"


@pytest.mark.django_db
@pytest.mark.parametrize("person", ["owner", "auditor"])
def test_without_the_right_nobody_signs(
    crew: make.Crew, request: pytest.FixtureRequest, person: str
) -> None:
    batch = make.cooked_batch(crew)
    for meaning in ("release", "reject"):
        with pytest.raises(PermissionDenied):
            make.sign(request.getfixturevalue(person), batch, meaning)
    assert not Signature.objects.exists()


@pytest.mark.django_db
def test_a_failed_batch_is_not_released_but_can_be_rejected(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew, ph="11")
    with pytest.raises(Refusal, match="outside 8 to 10: fail"):
        make.sign(crew.reviewer, batch)
    for reason in ("", "  "):
        with pytest.raises(Refusal, match="Say why"):
            make.sign(crew.reviewer, batch, "reject", reason=reason)
    make.sign(crew.reviewer, batch, "reject", reason="too much potash")
    assert make.fresh(batch).status == "rejected"


MEANINGS_FROM = {
    "awaiting_review": {"release", "reject"},
    "released": {"hold"},
    "on_hold": {"unhold", "reject"},
    "rejected": {"rework", "dispose"},
}


@pytest.mark.django_db
def test_only_the_decision_that_fits_the_state_is_signed(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    for status, meaning in itertools.product(BatchStatus, Signature.Meaning.values):
        Batch.objects.filter(pk=batch.pk).update(status=status)
        signed = Signature.objects.count()
        # Nothing is weighed in this batch, so that it is never fit to be released.
        fit = meaning not in {"release", "unhold"}
        if fit and meaning in MEANINGS_FROM.get(status, set()):
            signature = make.sign(crew.reviewer, batch, meaning)
            assert make.fresh(batch).status == signing.LEADS_TO[signature.meaning]
            continue
        with pytest.raises(Refusal), transaction.atomic():
            make.sign(crew.reviewer, batch, meaning)
        assert make.fresh(batch).status == status
        assert Signature.objects.count() == signed


def test_the_decisions_offered_are_the_moves_of_the_table_of_lives() -> None:
    offered = {
        (BatchStatus(status), signing.LEADS_TO[meaning])
        for status, meanings in signing.POSSIBLE.items()
        for meaning in meanings
    }
    assert offered == {
        (move.start, move.end) for move in BATCH_MOVES if move.right == "reviewer"
    }


@pytest.mark.django_db
def test_a_failed_batch_cannot_be_released_by_another_name(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew, ph="11")
    with pytest.raises(Refusal):
        make.sign(crew.reviewer, batch, "unhold")
    assert make.fresh(batch).status == "awaiting_review"


def one_person(crew: make.Crew, owner: User, *, hours: int = 12) -> User:
    """Declare a one-person premises; return the one, who makes and reviews."""
    premises = Premises.objects.get()
    premises.one_person, premises.self_review_pause_hours = True, hours
    registers.save(by=owner, entry=premises)
    people.deactivate(by=owner, user=crew.reviewer, reason="moved away")
    alone = crew.maker
    alone.is_reviewer = True
    alone.save()
    return alone


def hours_later(monkeypatch: pytest.MonkeyPatch, hours: float) -> None:
    """Let the clock of the server run ahead."""
    now = timezone.now
    later = datetime.timedelta(hours=hours)
    monkeypatch.setattr(timezone, "now", lambda: now() + later)


@pytest.mark.django_db
def test_scenario_18_signing_alone(
    crew: make.Crew, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    batch = make.cooked_batch(crew)
    crew.maker.is_reviewer = True
    crew.maker.save()
    with pytest.raises(Refusal, match="somebody else must review it"):
        make.sign(crew.maker, batch)
    alone = one_person(crew, owner)

    with pytest.raises(Refusal, match="12 hours after its last entry"):
        make.sign(alone, batch)
    hours_later(monkeypatch, 10)
    with pytest.raises(Refusal, match="Look again with fresh eyes"):
        make.sign(alone, batch)
    hours_later(monkeypatch, 2.1)
    with pytest.raises(Refusal, match="not your password"):
        make.sign(alone, batch, password="guessed")
    signature = make.sign(alone, batch)

    assert signature.self_reviewed
    assert (
        signature.meaning_in_words == f"reviewed and released; {WORDS_OF_SELF_REVIEW}"
    )
    entry = JournalEntry.objects.get(act="batch signed: reviewed and released")
    assert entry.after_values["self_reviewed"] is True


@pytest.mark.django_db
def test_scenario_18_signing_alone_counts_the_pause_from_the_last_entry(
    crew: make.Crew, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    batch = make.cooked_batch(crew)
    alone = one_person(crew, owner)
    hours_later(monkeypatch, 13)
    reading = Reading.objects.current().get(batch=batch, characteristic="ph")
    cooking.amend_reading(
        by=alone,
        reading=reading,
        value=Decimal("9.3"),
        method=reading.method,
        reason="misread",
    )
    with pytest.raises(Refusal, match="fresh eyes"):
        make.sign(alone, batch)
    hours_later(monkeypatch, 13)
    assert make.sign(alone, batch).self_reviewed


@pytest.mark.django_db
def test_scenario_18_signing_alone_is_not_said_of_another_persons_batch(
    crew: make.Crew, owner: User
) -> None:
    batch = make.cooked_batch(crew)
    alone = one_person(crew, owner, hours=1)
    guest = make.account(by=owner, name="Tove Berg", rights=["reviewer"])
    with pytest.raises(Refusal, match="another reviewer must review"):
        make.sign(alone, batch)
    signature = make.sign(guest, batch)
    assert not signature.self_reviewed
    assert WORDS_OF_SELF_REVIEW not in signature.meaning_in_words


@pytest.mark.django_db
def test_rejecting_ones_own_batch_needs_no_second_person(crew: make.Crew) -> None:
    crew.maker.is_reviewer = True
    crew.maker.save()
    signature = make.sign(crew.maker, make.cooked_batch(crew), "reject")
    assert not signature.self_reviewed


@pytest.mark.django_db
def test_scenario_19_two_accounts_one_person(crew: make.Crew, owner: User) -> None:
    batch = make.cooked_batch(crew)
    second = make.account(
        by=owner,
        name="",
        username="mirja.reviews",
        rights=["reviewer"],
        person=crew.maker.person,
    )
    assert second.pk != crew.maker.pk
    with pytest.raises(Refusal, match="somebody else must review it"):
        make.sign(second, batch)
    namesake = make.account(
        by=owner, name="Mirja Aalto, Turku", username="mirja.2", rights=["reviewer"]
    )
    make.sign(namesake, batch)  # control: another person of almost the same name


@pytest.mark.django_db
@pytest.mark.parametrize("entry", ["charge", "reading", "bulk"])
def test_scenario_19_who_entered_anything_is_one_of_its_makers(
    crew: make.Crew, owner: User, entry: str
) -> None:
    helper = make.account(by=owner, name="Tove Berg", rights=["maker", "reviewer"])
    helping = crew._replace(maker=helper)
    batch = make.open_batch(crew)
    make.charge_all(helping if entry == "charge" else crew, batch)
    make.read_ph(helping if entry == "reading" else crew, batch)
    make.read_clarity(crew, batch)
    make.weigh_bulk(helping if entry == "bulk" else crew, batch)
    cooking.finish(by=crew.maker, batch=batch)
    with pytest.raises(Refusal, match="somebody else must review it"):
        make.sign(helper, batch)
    make.sign(crew.reviewer, batch)


@pytest.mark.django_db
def test_a_signed_record_takes_no_entry_and_no_correction(crew: make.Crew) -> None:
    batch = make.released_paste(crew)
    lot = make.released_lot(crew, make.water(crew.maker))
    charge = Charge.objects.filter(batch=batch).earliest("pk")
    reading = Reading.objects.get(batch=batch, characteristic="ph")
    weighing = BulkWeighing.objects.get(batch=batch)
    amended = {"reason": "afterthought", "gross_mg": 2000, "tare_mg": 0}
    by = crew.maker
    attempts: list[Callable[[], object]] = [
        lambda: make.charge(crew, batch, lot.stock, 1000),
        lambda: make.read_ph(crew, batch, "9"),
        lambda: make.read_clarity(crew, batch),
        lambda: make.weigh_bulk(crew, batch),
        lambda: cooking.amend_charge(by=by, charge=charge, **amended),  # type: ignore[arg-type]
        lambda: cooking.amend_charge(
            by=by, charge=charge, void=True, reason="afterthought"
        ),
        lambda: cooking.amend_reading(
            by=by, reading=reading, void=True, reason="afterthought"
        ),
        lambda: cooking.amend_bulk(by=by, weighing=weighing, **amended),  # type: ignore[arg-type]
        lambda: cooking.finish(by=by, batch=batch),
        lambda: cooking.abandon(by=by, batch=batch, reason="afterthought"),
    ]
    before = record.facts_of(batch)
    for attempt in attempts:
        with pytest.raises(Refusal), transaction.atomic():
            attempt()
    assert record.facts_of(make.fresh(batch)) == before
    # control: the same corrections go through before the signature
    unsigned = make.cooked_batch(crew)
    cooking.amend_charge(
        by=by,
        charge=Charge.objects.filter(batch=unsigned).earliest("pk"),
        **amended,  # type: ignore[arg-type]
    )
    cooking.amend_bulk(
        by=by,
        weighing=BulkWeighing.objects.get(batch=unsigned),
        **amended,  # type: ignore[arg-type]
    )


SIGNED_ROWS = [
    "batches_charge",
    "batches_reading",
    "batches_bulkweighing",
    "batches_batchstatuschange",
    "quality_signature",
    "quality_judgement",
    "quality_limit",
    "batches_formulaversion",
    "batches_formulaline",
]


@pytest.mark.django_db
def test_raw_sql_cannot_change_what_was_signed(crew: make.Crew) -> None:
    make.released_paste(crew)
    for table in SIGNED_ROWS:
        for sql in (
            f"UPDATE {table} SET id = id",  # noqa: S608
            f"DELETE FROM {table}",  # noqa: S608
        ):
            with (
                pytest.raises(DatabaseError, match="never changed or deleted"),
                transaction.atomic(),
            ):
                run(sql)
    assert list(signing.faults()) == []


BEHIND_ITS_BACK = [
    ("UPDATE batches_charge SET reason = 'x'", "no longer what was signed"),
    (
        "UPDATE batches_charge SET gross_mg = gross_mg + 1, net_mg = net_mg + 1",
        "no longer what was signed",
    ),
    ("UPDATE batches_reading SET value = 9 WHERE value > 9", "no longer what"),
    (
        "UPDATE batches_bulkweighing SET observed_at = '2020-01-01 00:00:00+00:00'",
        "no longer what",
    ),
    ("DELETE FROM batches_reading", "no longer what was signed"),
    (
        "UPDATE quality_signature SET record = record || ' '",
        "the signed text was altered",
    ),
    ("UPDATE batches_batch SET basis_mg = basis_mg + 1", "no longer what"),
    ("UPDATE batches_formulaversion SET version = 9", "no longer what"),
    ("UPDATE quality_judgement SET verdict = 'fail'", "a judgement is no"),
    ("UPDATE quality_signature SET meaning = 'reject'", "name, meaning"),
    ("UPDATE quality_signature SET printed_name = 'Somebody'", "name, meaning"),
    ("DELETE FROM quality_judgement; DELETE FROM quality_signature", "is missing"),
]


@pytest.mark.django_db
def test_a_row_changed_behind_the_programs_back_is_found(crew: make.Crew) -> None:
    batch = make.released_paste(crew)
    for sql, said in BEHIND_ITS_BACK:
        assert list(signing.faults()) == []
        with transaction.atomic():
            with without_triggers():
                for statement in sql.split(";"):
                    run(statement)
                found = list(signing.faults())
            transaction.set_rollback(True)
        assert len(found) == 1, sql
        assert batch.number in found[0]
        assert said in found[0]


@pytest.mark.django_db
def test_names_and_registers_may_change_without_breaking_a_signature(
    crew: make.Crew,
) -> None:
    make.released_paste(crew)
    scale = make.scale(crew.maker)
    scale.name = "old bench scale"
    registers.save(by=crew.maker, entry=scale)
    supplier = make.supplier(crew.maker)
    supplier.name = "Fenwick & Daughter"
    registers.save(by=crew.maker, entry=supplier)
    assert list(signing.faults()) == []
    words = json.loads(Signature.objects.get().record)["words"]
    assert "Fenwick Lye and Oil" in str(words)  # as it was on the day


@pytest.mark.django_db
def test_a_later_certificate_leaves_the_signature_whole(crew: make.Crew) -> None:
    potash = make.released_lot(crew, make.potash(crew.maker))
    make.released_paste(crew, sources={"potash": potash.stock})
    intake.record_certificate(
        by=crew.maker,
        lot=potash,
        values=make.certificate_values(potash.material, assay_percent=Decimal(87)),
        upload=None,
        reason="supplier corrected it",
    )
    assert list(signing.faults()) == []


@pytest.mark.django_db
@pytest.mark.parametrize("new", ["on_hold", "rejected"])
def test_a_batch_with_a_lot_that_went_bad_meanwhile_is_not_released(
    crew: make.Crew, new: str
) -> None:
    potash = make.released_lot(crew, make.potash(crew.maker))
    batch = make.cooked_batch(crew, sources={"potash": potash.stock})
    intake.decide_lot(by=crew.reviewer, lot=potash, new="on_hold", reason="damp")
    if new == "rejected":
        intake.decide_lot(by=crew.reviewer, lot=potash, new="rejected", reason="damp")
    with pytest.raises(Refusal, match=f"{potash.code}.*is in it and is"):
        make.sign(crew.reviewer, batch)


@pytest.mark.django_db
def test_no_line_is_taken_back_after_finishing_and_none_may_be_missing(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    water = make.line_of(batch, "distilled water")
    charge = Charge.objects.get(batch=batch, line=water)
    with pytest.raises(Refusal, match="is finished"):
        cooking.amend_charge(
            by=crew.maker, charge=charge, void=True, reason="went into another pot"
        )
    assert reviewing.review_of(batch, by=crew.reviewer).obstacles == []
    with without_triggers():  # should it ever happen, the review sees it
        run("UPDATE batches_charge SET line_id = NULL WHERE id = %s", charge.pk)
    with pytest.raises(Refusal, match="distilled water"):
        make.sign(crew.reviewer, batch)


@pytest.mark.django_db
def test_hold_takes_the_bottles_along_and_lifting_it_frees_them(
    crew: make.Crew,
) -> None:
    lot = make.filled(crew)
    make.sign(crew.reviewer, lot.batch, "hold")
    assert set(Bottle.objects.values_list("status", flat=True)) == {"on_hold"}
    make.sign(crew.reviewer, lot.batch, "unhold")
    assert set(Bottle.objects.values_list("status", flat=True)) == {"filled"}
    assert make.fresh(lot.batch).status == "released"


@pytest.mark.django_db
def test_disposal_empties_the_stock(crew: make.Crew) -> None:
    batch = make.failed_paste(crew, "dispose")
    assert batch.status == "disposed"
    assert Stock.objects.get(pk=batch.pk).on_hand_mg == 0


@pytest.mark.django_db(transaction=True)
def test_of_two_opposite_decisions_at_once_one_counts(
    crew: make.Crew, owner: User
) -> None:
    other = make.account(by=owner, name="Tove Berg", rights=["reviewer"])
    batch = make.cooked_batch(crew)
    results = while_uncommitted(
        functools.partial(make.sign, crew.reviewer, batch, "reject"),
        functools.partial(make.sign, other, batch, "release"),
    )
    assert isinstance(results[0], Signature)
    assert isinstance(results[1], Conflict)
    assert make.fresh(batch).status == "rejected"
    assert Signature.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_a_correction_during_signing_does_not_slip_under_the_signature(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    charge = Charge.objects.filter(batch=batch).earliest("pk")
    results = while_uncommitted(
        functools.partial(make.sign, crew.reviewer, batch),
        functools.partial(
            cooking.amend_charge,
            by=crew.maker,
            charge=charge,
            void=True,
            reason="afterthought",
        ),
    )
    assert isinstance(results[0], Signature)
    assert isinstance(results[1], Refusal)
    assert list(signing.faults()) == []
