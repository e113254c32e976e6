"""What a reviewer is told before signing."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from batches.models import Batch, Charge
from batches.services import cooking
from batches.services.discounting import set_lye_discount
from batches.services.results import excess_alkali_of
from producer.errors import Conflict, Refusal
from producer.models import User
from quality.services import reviewing
from tests import lab, make


def overdosed(crew: make.Crew) -> Batch:
    """Return a finished cook with a third more potash than its oils take up."""
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    row = batch.charges.get(line__material__kind="potash")
    make.charge(crew, batch, row.source, row.net_mg // 3, line=row.line)
    make.complete(crew, batch)
    return make.fresh(batch)


@pytest.mark.django_db
def test_free_alkali_by_weighing_stops_the_release_whatever_the_strip_says(
    crew: make.Crew,
) -> None:
    batch = overdosed(crew)
    with pytest.raises(Refusal, match="it is caustic"):
        make.sign(crew.reviewer, batch)
    make.sign(crew.reviewer, batch, "reject")


@pytest.mark.django_db
def test_the_excess_is_potash_by_its_purity_less_what_the_oils_need(
    crew: make.Crew,
) -> None:
    batch = overdosed(crew)
    need = Decimal(0)
    potash = Decimal(0)
    for row in batch.charges.exclude(figure=None):
        if row.source.lot.material.kind == "oil":
            need += Decimal(row.net_mg) / 1000 * row.figure / 1000  # type: ignore[operator]
        else:
            potash += Decimal(row.net_mg) / 1000 * row.figure  # type: ignore[operator]
    assert excess_alkali_of(batch) == potash - need
    assert excess_alkali_of(make.cooked_batch(crew)) == pytest.approx(0, abs=0.1)


@pytest.mark.django_db
def test_results_from_before_the_last_charge_do_not_count(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch)
    make.read_clarity(crew, batch)
    lot = make.released_lot(crew, make.water(crew.maker))
    make.charge(crew, batch, lot.stock, 5000)
    make.weigh_bulk(crew, batch)
    cooking.finish(by=crew.maker, batch=batch)
    batch = make.fresh(batch)
    with pytest.raises(Refusal, match="before the last charge") as refusal:
        make.sign(crew.reviewer, batch)
    assert refusal.value.message.count("before the last charge") == 2
    make.read_ph(crew, batch)
    make.read_clarity(crew, batch)
    make.sign(crew.reviewer, batch)  # control


@pytest.mark.django_db
def test_a_result_dated_ahead_does_not_cover_a_later_charge(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    ahead = timezone.now() + datetime.timedelta(hours=23)
    make.read_ph(crew, batch, observed_at=ahead)
    lot = make.released_lot(crew, make.water(crew.maker))
    make.charge(crew, batch, lot.stock, 5000)
    make.read_clarity(crew, batch)
    make.weigh_bulk(crew, batch)
    cooking.finish(by=crew.maker, batch=batch)
    with pytest.raises(Refusal, match="pH was taken before the last charge"):
        make.sign(crew.reviewer, make.fresh(batch))


@pytest.mark.django_db
def test_a_corrected_charge_does_not_outdate_the_results(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    row = Charge.objects.filter(batch=batch).earliest("pk")
    cooking.amend_charge(
        by=crew.maker,
        charge=row,
        gross_mg=row.gross_mg + 100,
        tare_mg=row.tare_mg,
        reason="misread",
    )
    make.sign(crew.reviewer, make.fresh(batch))


@pytest.mark.django_db
def test_a_result_dated_ahead_does_not_hide_a_later_one(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    ahead = timezone.now() + datetime.timedelta(hours=23)
    make.read_ph(crew, batch, "9.2", observed_at=ahead)
    make.read_ph(crew, batch, "12.9")
    with pytest.raises(Refusal, match=r"pH 12\.9"):
        make.sign(crew.reviewer, batch)


@pytest.mark.django_db
def test_scenario_22_earlier_results_are_named_beside_the_last(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch, "11")
    make.complete(crew, batch)
    findings = reviewing.review_of(make.fresh(batch), by=crew.reviewer).findings
    ph = next(one for one in findings if one.characteristic == "ph")
    assert "Before it: 11." in ph.sentence


@pytest.mark.django_db
def test_nobody_signs_what_has_changed_since_it_was_read(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    seen = reviewing.review_of(batch, by=crew.reviewer).digest
    make.read_ph(crew, batch, "9.3")
    with pytest.raises(Conflict, match="changed since you read it"):
        make.sign(crew.reviewer, batch, seen=seen)
    again = reviewing.review_of(make.fresh(batch), by=crew.reviewer).digest
    make.sign(crew.reviewer, batch, seen=again)  # control


@pytest.mark.django_db
def test_a_batch_with_a_rejected_paste_in_it_is_not_released(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    liquid = make.diluted_batch(crew, paste=paste)
    make.signed(crew.reviewer, paste, "hold", "reject")
    with pytest.raises(Refusal, match=f"Batch {paste.number} is in it"):
        make.sign(crew.reviewer, liquid)


@pytest.mark.django_db
def test_amending_a_charge_does_not_hide_why_it_was_unusual(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch, unusual="so the scene wants it")
    row = batch.charges.get(line__material__kind="water")
    lot = make.released_lot(crew, make.sunflower(crew.maker))
    corrected = cooking.correct(
        by=crew.maker,
        batch=batch,
        source=lot.stock,
        scale=make.scale(crew.maker),
        gross_mg=20_000,
        tare_mg=0,
        reason="too much alkali",
    )
    make.complete(crew, batch)

    def notes() -> list[str]:
        return reviewing.review_of(make.fresh(batch), by=crew.reviewer).notes

    def amend(charge: Charge, reason: str) -> Charge:
        return cooking.amend_charge(
            by=crew.maker,
            charge=charge,
            gross_mg=charge.gross_mg + 1000,
            tare_mg=charge.tare_mg,
            reason=reason,
        )

    unusual = f"Unusual charge of {row.source.code}: so the scene wants it"
    assert unusual in notes()
    amend(amend(row, "misread"), "misread again")
    amend(corrected, "wrong tare")
    assert f"{unusual} Amended: misread Amended: misread again" in notes()
    assert f"Correction with {lot.code}: too much alkali Amended: wrong tare" in notes()


@pytest.mark.django_db
def test_who_set_the_lye_discount_had_a_hand_in_the_batch(
    crew: make.Crew, owner: User
) -> None:
    both = make.account(by=owner, name="Ebba Storm", rights=["maker", "reviewer"])
    other = make.open_batch(crew)
    batch = make.open_batch(crew)
    for one, discount in ((batch, "0.02"), (batch, "0")):
        set_lye_discount(
            by=both, batch=one, discount=Decimal(discount), reason="range only"
        )
    make.charge_all(crew, batch)
    make.complete(crew, batch)
    assert both.person_id in reviewing.hands_in(batch)
    assert both.person_id not in reviewing.hands_in(other)
    assert reviewing.review_of(make.fresh(batch), by=both).is_own_work
    with pytest.raises(Refusal, match="somebody else must"):
        make.sign(both, make.fresh(batch))


@pytest.mark.django_db
@pytest.mark.parametrize("of", ["cook", "dilution"])
def test_the_page_of_a_review_asks_for_each_thing_once(
    crew: make.Crew, client: Client, of: str
) -> None:
    batch = make.cooked_batch(crew) if of == "cook" else make.diluted_batch(crew)
    if of == "cook":
        lab.free_alkali(crew, batch, "0.2", "0.3")
    client.force_login(crew.reviewer)
    address = reverse("quality:review", args=[batch.number])

    def asked() -> list[str]:
        with CaptureQueriesContext(connection) as questions:
            assert client.get(address).status_code == 200
        return [one["sql"] for one in questions]

    asked()  # what is kept between requests is kept now
    questions = asked()
    assert len(questions) < 65
    of_table = [sql for sql in questions if 'FROM "batches_bulkweighing"' in sql]
    assert len(of_table) <= 2  # of the batch, and of all above it
    row = Charge.objects.filter(batch=batch).earliest("pk")
    for _ in range(4):  # however much was entered and amended
        row = cooking.amend_charge(
            by=crew.maker,
            charge=row,
            gross_mg=row.gross_mg + 100,
            tare_mg=row.tare_mg,
            reason="misread",
        )
    assert len(asked()) == len(questions)
