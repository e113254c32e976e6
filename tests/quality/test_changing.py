"""A signed record changed: the signature is void, the bottles are held, all in one."""

from __future__ import annotations

import functools
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone

from batches.models import Batch, Bottle, BulkWeighing, Charge, Loss, Reading
from batches.services import cooking, losses
from batches.services.results import yield_of
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, Stock, User
from quality.models import SignatureMark
from quality.services import changing, marks, reviewing, signing
from tests import lab, leaving, make
from tests.database import row_counts, run, while_uncommitted, without_triggers


def ph_of(batch: Batch) -> Reading:
    return Reading.objects.current().get(batch=batch, characteristic="ph")


def change_ph(by: User, batch: Batch, value: str = "9.9", **changes: Any) -> Reading:
    facts = {
        "reason": "meter read wrongly",
        "value": Decimal(value),
        "method": batch.formula_version.ph_method,
        **changes,
    }
    return changing.change_reading(by=by, reading=ph_of(batch), **facts)


def water_of(batch: Batch) -> Charge:
    rows = Charge.objects.current().filter(batch=batch)
    return rows.get(line__material__name="distilled water")


def last_entry() -> JournalEntry:
    return JournalEntry.objects.order_by("-sequence")[0]


@pytest.mark.django_db
def test_scenario_21_change_after_signature(crew: make.Crew) -> None:
    lot = make.filled(crew)
    batch = lot.batch
    _, sent = make.bottles_of(lot)
    leaving.sent(crew, [sent], consignee=make.consignee(crew.maker))
    (signature,) = batch.signatures.all()
    written = JournalEntry.objects.count()

    change_ph(crew.maker, batch)

    (mark,) = signature.marks.all()
    assert mark.kind == "void"
    assert mark.sentence == "pH changed from 9.2 to 9.9."
    assert mark.reason == "meter read wrongly"
    assert marks.is_void(marks.judging(batch)[-1])
    assert make.fresh(batch).status == "on_hold"
    states = Bottle.objects.order_by("number").values_list("status", flat=True)
    assert list(states) == ["on_hold", "dispatched"]
    old = Reading.objects.get(batch=batch, value=Decimal("9.2"))
    assert ph_of(batch).supersedes == old  # the old value stays
    assert JournalEntry.objects.count() == written + 1
    entry = last_entry()
    assert entry.act == "pH corrected after signature"
    assert entry.before_values["value"] == "9.200"
    assert entry.after_values["value"] == "9.9"
    assert entry.after_values["signatures_void"] == [signature.pk]
    assert entry.after_values["status"] == "on_hold"
    assert entry.after_values["bottles_held"] == 1
    assert entry.after_values["bottles_out"] == 1
    assert list(signing.faults()) == []


@pytest.mark.django_db
def test_scenario_21_reviewed_again_the_new_signature_counts(crew: make.Crew) -> None:
    batch = make.filled(crew).batch
    change_ph(crew.maker, batch)
    make.sign(crew.reviewer, batch, "unhold", reason="read again, well within")

    assert make.fresh(batch).status == "released"
    assert set(Bottle.objects.values_list("status", flat=True)) == {"filled"}
    first, again = marks.judging(batch)
    assert marks.is_void(first)
    assert not marks.is_void(again)
    assert list(signing.faults()) == []
    change_ph(crew.maker, batch, "9.5")
    assert [mark.signature_id for mark in SignatureMark.objects.all()] == [
        first.pk,
        again.pk,
    ]
    assert marks.is_void(marks.judging(batch)[-1])
    assert list(signing.faults()) == []


@pytest.mark.django_db
def test_scenario_21_a_value_that_now_fails_is_not_released_again(
    crew: make.Crew,
) -> None:
    batch = make.released_paste(crew)
    change_ph(crew.maker, batch, "11")
    with pytest.raises(Refusal, match="11"):
        make.sign(crew.reviewer, batch, "unhold")
    make.sign(crew.reviewer, batch, "reject")
    assert make.fresh(batch).status == "rejected"


@pytest.mark.django_db
def test_who_corrects_it_does_not_review_it_again(crew: make.Crew, owner: User) -> None:
    other = make.account(by=owner, name="Tove Berg", rights=["reviewer"])
    batch = make.released_paste(crew)
    change_ph(crew.reviewer, batch)  # a reviewer may correct as well
    with pytest.raises(Refusal, match="somebody else"):
        make.sign(crew.reviewer, batch, "unhold")
    make.sign(other, batch, "unhold")


@pytest.mark.django_db
def test_a_maker_without_the_right_to_hold_holds_by_correcting(
    crew: make.Crew,
) -> None:
    batch = make.released_paste(crew)
    with pytest.raises(PermissionDenied):
        make.sign(crew.maker, batch, "hold")
    change_ph(crew.maker, batch)
    assert make.fresh(batch).status == "on_hold"


@pytest.mark.django_db
@pytest.mark.parametrize("person", ["owner", "auditor"])
def test_without_a_right_over_it_nobody_changes_it(
    crew: make.Crew, request: pytest.FixtureRequest, person: str
) -> None:
    batch, by = make.released_paste(crew), request.getfixturevalue(person)
    before = row_counts()
    with pytest.raises(PermissionDenied):
        change_ph(by, batch)
    assert row_counts() == before


@pytest.mark.django_db
@pytest.mark.parametrize("reason", ["", "  "])
def test_a_change_needs_a_reason(crew: make.Crew, reason: str) -> None:
    batch = make.released_paste(crew)
    before = row_counts()
    with pytest.raises(Refusal, match="Say why"), transaction.atomic():
        change_ph(crew.maker, batch, reason=reason)
    assert row_counts() == before


@pytest.mark.django_db
def test_what_stands_already_is_no_change_and_voids_nothing(crew: make.Crew) -> None:
    batch = make.released_paste(crew)
    before = row_counts()
    with pytest.raises(Refusal, match="stands already"), transaction.atomic():
        change_ph(crew.maker, batch, "9.20")
    assert row_counts() == before
    assert make.fresh(batch).status == "released"


@pytest.mark.django_db
def test_an_unsigned_batch_is_not_changed_this_way(crew: make.Crew) -> None:
    waiting = make.cooked_batch(crew)
    with pytest.raises(Refusal, match="is not signed"):
        change_ph(crew.maker, waiting)
    given_up = make.open_batch(crew)
    make.charge_all(crew, given_up)
    make.read_ph(crew, given_up)
    cooking.abandon(by=crew.maker, batch=given_up, reason="no gas")
    with pytest.raises(Refusal, match="is not signed"):
        change_ph(crew.maker, given_up)


@pytest.mark.django_db
def test_a_row_is_changed_once_and_then_its_newest(crew: make.Crew) -> None:
    batch = make.released_paste(crew)
    stale = ph_of(batch)
    change_ph(crew.maker, batch)
    with pytest.raises(Conflict, match="corrected already"), transaction.atomic():
        changing.change_reading(
            by=crew.maker, reading=stale, reason="again", value=Decimal("9.4")
        )
    change_ph(crew.maker, batch, "9.6")  # while it waits to be reviewed again
    assert SignatureMark.objects.count() == 1  # void is void
    assert last_entry().after_values["signatures_void"] == []
    assert list(signing.faults()) == []


@pytest.mark.django_db
def test_masses_are_corrected_with_the_stock_and_the_genealogy(crew: make.Crew) -> None:
    batch = make.released_paste(crew)
    charge, weighing = water_of(batch), BulkWeighing.objects.get(batch=batch)
    on_hand = Stock.objects.get(pk=charge.source_id).on_hand_mg
    changing.change_charge(
        by=crew.maker,
        charge=charge,
        gross_mg=charge.gross_mg + 5_000,
        tare_mg=charge.tare_mg,
        reason="read the wrong line",
    )
    assert Stock.objects.get(pk=charge.source_id).on_hand_mg == on_hand - 5_000
    assert batch.inputs.get(source=charge.source).mass_mg == charge.net_mg + 5_000
    mark = SignatureMark.objects.get()
    assert mark.sentence.startswith(f"Charge of {charge.source.code} changed from")
    changing.change_weighing(
        by=crew.maker,
        weighing=weighing,
        gross_mg=weighing.gross_mg - 5_000,
        tare_mg=weighing.tare_mg,
        reason="tare of the other pot",
    )
    assert Stock.objects.get(pk=batch.pk).on_hand_mg == weighing.net_mg - 5_000
    assert yield_of(batch).actual_mg == weighing.net_mg - 5_000
    assert list(signing.faults()) == []


@pytest.mark.django_db
def test_a_charge_taken_back_after_the_signature_leaves_its_line_open(
    crew: make.Crew,
) -> None:
    batch = make.released_paste(crew)
    charge = water_of(batch)
    changing.change_charge(
        by=crew.maker, charge=charge, void=True, reason="was for another pot"
    )
    assert "was taken back" in SignatureMark.objects.get().sentence
    assert batch.inputs.get(source=charge.source).mass_mg == 0
    obstacles = " ".join(reviewing.review_of(batch, by=crew.reviewer).obstacles)
    assert "No distilled water is weighed in any more." in obstacles
    assert list(signing.faults()) == []


@pytest.mark.django_db
def test_losses_and_titrations_are_changed_too_and_the_state_stays_when_rejected(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    titration = lab.free_alkali(crew, batch)
    loss = losses.record_loss(by=crew.maker, batch=batch, kind="spill", mass_mg=9_000)
    make.signed(crew.reviewer, batch, "reject")
    changing.change_loss(by=crew.maker, loss=loss, mass_mg=8_000, reason="weighed it")
    assert SignatureMark.objects.get().sentence == (
        f"Loss ({loss.get_kind_display()}) changed from 9 g to 8 g."
    )
    changing.void_titration(by=crew.maker, titration=titration, reason="wrong acid")
    changing.change_loss(
        by=crew.maker,
        loss=Loss.objects.current().get(),
        void=True,
        reason="it was of another pot",
    )
    assert make.fresh(batch).status == "rejected"
    assert not Loss.objects.current().exists()
    assert list(signing.faults()) == []


@pytest.mark.django_db
def test_a_titration_of_a_lot_has_no_signature(crew: make.Crew) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker))
    titration = lab.titration(crew, lot.stock)
    with pytest.raises(Refusal, match="raw lot"):
        changing.void_titration(by=crew.maker, titration=titration, reason="no")


@pytest.mark.django_db
def test_what_was_made_from_it_is_named_and_waits_or_is_told_of_it(
    crew: make.Crew,
) -> None:
    paste = make.released_paste(crew)
    released = make.released_liquid(crew, paste=paste)
    waiting = make.diluted_batch(crew, paste=paste)
    change_ph(crew.maker, paste)

    assert last_entry().after_values["made_from_it"] == [
        released.number,
        waiting.number,
    ]
    assert make.fresh(released).status == "on_hold"
    assert make.fresh(waiting).status == "awaiting_review"
    for batch in (released, waiting):
        review = reviewing.review_of(batch, by=crew.reviewer)
        told = f"Batch {paste.number} is in it, and was changed after it was signed"
        assert any(note.startswith(told) for note in review.notes)
        assert review.needs_reason
    with pytest.raises(Refusal, match=f"{paste.number} is in it and is on hold"):
        make.sign(crew.reviewer, waiting)


@pytest.mark.django_db
def test_what_a_change_would_do_is_told_before_it_is_done(crew: make.Crew) -> None:
    lot = make.filled(crew)
    _, sent = make.bottles_of(lot)
    leaving.sent(crew, [sent], consignee=make.consignee(crew.maker))
    found = changing.foreseen(lot.batch)
    assert [one.printed_name for one in found.signatures] == ["Rasmus Lind"]
    assert found.holds_batch
    assert found.bottles_here == 1
    assert found.bottles_out == 1
    assert found.out == [marks.Out(holder="Corner Shop Lindqvist", count=1)]
    change_ph(crew.maker, lot.batch)
    again = changing.foreseen(make.fresh(lot.batch))
    assert (again.signatures, again.holds_batch, again.bottles_here) == ([], False, 0)


BEHIND_ITS_BACK = [
    ("UPDATE batches_reading SET value = 9.1 WHERE value < 9.5", "no longer what was"),
    ("DELETE FROM quality_signaturemark", "changed after it, and it is not marked"),
    ("UPDATE batches_charge SET reason = 'x'", "no longer what was signed"),
]


@pytest.mark.django_db
@pytest.mark.parametrize(("sql", "said"), BEHIND_ITS_BACK)
def test_a_dishonest_change_beside_an_honest_one_is_found(
    crew: make.Crew, sql: str, said: str
) -> None:
    batch = make.released_paste(crew)
    change_ph(crew.maker, batch)
    assert list(signing.faults()) == []
    with without_triggers():
        run(sql)
    (fault,) = signing.faults()
    assert batch.number in fault
    assert said in fault


@pytest.mark.django_db
def test_a_row_slipped_in_after_the_signature_without_a_mark_is_found(
    crew: make.Crew,
) -> None:
    batch = make.released_paste(crew)
    old = ph_of(batch)
    Reading.objects.create(
        batch=batch,
        characteristic="ph",
        value=Decimal("9.0"),
        standard_uncertainty=old.standard_uncertainty,
        method=old.method,
        instrument=old.instrument,
        supersedes=old,
        reason="nobody saw it",
        observed_at=old.observed_at,
        entered_by=crew.maker,
    )
    (fault,) = signing.faults()
    assert "changed after it, and it is not marked void" in fault


@pytest.mark.django_db
def test_a_mark_without_a_change_is_found(crew: make.Crew) -> None:
    batch = make.released_paste(crew)
    SignatureMark.objects.create(
        signature=batch.signatures.get(),
        kind="void",
        sentence="pH changed from 9.2 to 9.9.",
        reason="so it is reviewed again",
        observed_at=timezone.now(),
        entered_by=crew.maker,
    )
    (fault,) = signing.faults()
    assert "marked void, but nothing was changed" in fault


@pytest.mark.django_db(transaction=True)
def test_of_two_changes_at_once_the_second_is_told(crew: make.Crew) -> None:
    batch = make.released_paste(crew)
    results = while_uncommitted(
        functools.partial(change_ph, crew.maker, batch, "9.9"),
        functools.partial(change_ph, crew.reviewer, batch, "9.4"),
    )
    assert isinstance(results[0], Reading)
    assert isinstance(results[1], Conflict)
    assert SignatureMark.objects.count() == 1
    assert list(signing.faults()) == []


def wording(batch: Batch) -> list[tuple[Callable[[], object], str]]:
    """Return changes and how each is said."""
    ph, kwargs = ph_of(batch), {"reason": "x", "by": batch.maker}
    clarity = Reading.objects.get(batch=batch, characteristic="clarity")
    weighing = BulkWeighing.objects.get(batch=batch)
    change = changing.change_reading
    return [
        (
            lambda: change(reading=clarity, clarity="cloudy", **kwargs),  # type: ignore[arg-type]
            "Clarity changed from clear to cloudy.",
        ),
        (
            lambda: change(reading=clarity, void=True, **kwargs),  # type: ignore[arg-type]
            "Clarity, clear, was taken back.",
        ),
        (
            lambda: change(reading=ph, value=ph.value, method="2 % at 20 °C", **kwargs),  # type: ignore[arg-type]
            f"pH, 9.2: “{ph.method}” with meter changed to “2 % at 20 °C” with meter.",
        ),
        (
            lambda: changing.change_weighing(
                weighing=weighing,
                gross_mg=weighing.gross_mg + 1000,
                tare_mg=weighing.tare_mg + 1000,
                **kwargs,  # type: ignore[arg-type]
            ),
            "gross",
        ),
    ]


@pytest.mark.django_db
def test_every_kind_of_change_is_said_in_words(crew: make.Crew) -> None:
    batch = make.released_paste(crew)
    meter = make.meter(crew.maker).name
    for change, said in wording(batch):
        with transaction.atomic():
            change()
            sentence = SignatureMark.objects.get().sentence
            assert said.replace("with meter", f"with {meter}") in sentence
            transaction.set_rollback(True)
