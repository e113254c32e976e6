"""What a reviewer is told before signing."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest
from django.utils import timezone

from batches.models import Batch, Charge
from batches.services import cooking
from batches.services.results import excess_alkali_of
from producer.errors import Conflict, Refusal
from quality.services import reviewing
from tests import make


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
