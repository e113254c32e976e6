"""Corrections at the pot: small, traced, and only of a pot that is complete."""

from __future__ import annotations

import datetime
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied

from batches.models import Batch, Charge, Input
from batches.services import cooking
from batches.services.results import excess_alkali_of, yield_of
from producer.errors import Refusal
from producer.models import Material, RawLot, Stock
from producer.services import registers
from quality.services.judging import findings
from tests import make

pytestmark = pytest.mark.django_db

G = 1_000  # milligrams


def citric(crew: make.Crew) -> Material:
    """Return citric acid, registered as what takes up alkali."""
    known = Material.objects.filter(name="citric acid").first()
    entry = Material(name="citric acid", kind="addition", acid="citric_anhydrous")
    return known or registers.save(by=crew.maker, entry=entry)


def pot(crew: make.Crew) -> Batch:
    """Return a cook with everything in it."""
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    return make.fresh(batch)


def correct(
    crew: make.Crew, batch: Batch, source: Stock, net_mg: int, **changes: Any
) -> Charge:
    return cooking.correct(
        **{
            "by": crew.maker,
            "batch": batch,
            "source": source,
            "scale": make.scale(crew.maker),
            "gross_mg": net_mg + make.TARE_MG,
            "tare_mg": make.TARE_MG,
            "reason": "free alkali by titration 0.3 %",
            **changes,
        }
    )


@pytest.mark.parametrize("kind", ["acid", "oil", "potash"])
def test_a_correction_is_drawn_traced_and_counted_like_every_charge(
    crew: make.Crew, kind: str
) -> None:
    material = {
        "acid": citric(crew),
        "oil": make.coconut(crew.maker),
        "potash": make.potash(crew.maker),
    }[kind]
    batch = pot(crew)
    lot = make.released_lot(crew, material, quantity_mg=100 * G)
    before = excess_alkali_of(batch)
    went_in = yield_of(batch).theoretical_mg
    row = correct(crew, batch, lot.stock, 10 * G)
    assert row.line is None
    assert row.figure is not None
    assert Stock.objects.get(pk=lot.pk).on_hand_mg == 90 * G
    assert Input.objects.get(batch=batch, source=lot.stock).mass_mg == 10 * G
    assert yield_of(batch).theoretical_mg == went_in + 10 * G
    after = excess_alkali_of(batch)
    assert before is not None
    assert after is not None
    assert (after > before) == (kind == "potash")


def test_a_correction_can_be_corrected_moved_to_another_lot_and_taken_back(
    crew: make.Crew,
) -> None:
    batch = pot(crew)
    first, other = (make.released_lot(crew, citric(crew)) for _ in range(2))
    water = make.released_lot(crew, make.water(crew.maker))
    row = correct(crew, batch, first.stock, 3 * G)
    row = cooking.amend_charge(
        by=crew.maker,
        charge=row,
        source=other.stock,
        gross_mg=4 * G,
        tare_mg=0,
        reason="the other bag",
    )
    assert row.figure is not None
    assert Input.objects.get(batch=batch, source=other.stock).mass_mg == 4 * G
    assert Input.objects.get(batch=batch, source=first.stock).mass_mg == 0
    with pytest.raises(Refusal, match="neither takes up alkali"):
        cooking.amend_charge(
            by=crew.maker,
            charge=row,
            source=water.stock,
            gross_mg=4 * G,
            tare_mg=0,
            reason="it was water",
        )
    cooking.amend_charge(by=crew.maker, charge=row, void=True, reason="not in it")
    assert Input.objects.get(batch=batch, source=other.stock).mass_mg == 0


def stale(batch: Batch) -> set[str]:
    """Return which readings are not acceptable."""
    found = {str(one.characteristic) for one in findings(batch) if not one.acceptable}
    return found & {"ph", "clarity"}


def test_a_reading_from_before_the_correction_does_not_count(crew: make.Crew) -> None:
    batch = pot(crew)
    make.read_ph(crew, batch)
    make.read_clarity(crew, batch)
    assert not stale(batch)
    lot = make.released_lot(crew, citric(crew))
    correct(crew, batch, lot.stock, 3 * G)
    assert stale(batch) == {"ph", "clarity"}


def test_nothing_is_corrected_before_oils_and_potash_are_in(crew: make.Crew) -> None:
    lot = make.released_lot(crew, citric(crew))
    batch = make.open_batch(crew)
    make.go_through(crew, batch)
    with pytest.raises(Refusal, match="Nothing is in the pot"):
        correct(crew, batch, lot.stock, 3 * G)
    oil = make.released_lot(crew, make.sunflower(crew.maker))
    make.charge(crew, batch, oil.stock, 800 * G)
    with pytest.raises(Refusal, match="coconut oil, potash flakes first"):
        correct(crew, batch, lot.stock, 3 * G)


def test_nothing_goes_in_after_the_yield_was_weighed(crew: make.Crew) -> None:
    lot = make.released_lot(crew, citric(crew))
    batch = pot(crew)
    make.weigh_bulk(crew, batch)
    with pytest.raises(Refusal, match="weighed already"):
        correct(crew, batch, lot.stock, 3 * G)


@pytest.mark.parametrize(
    ("status", "said"),
    [("held", "not released"), ("expired", "expired on"), ("retest", "retest")],
)
def test_a_lot_is_held_to_the_same_rules_as_for_any_charge(
    crew: make.Crew, status: str, said: str
) -> None:
    batch = pot(crew)
    if status == "held":
        lot = make.held_lot(crew, citric(crew))
    else:
        lot = make.released_lot(crew, citric(crew))
        field = {"expired": "expires_on", "retest": "retest_on"}[status]
        yesterday = make.TODAY - datetime.timedelta(days=1)
        RawLot.objects.filter(pk=lot.pk).update(
            **{field: yesterday, "received_on": yesterday}
        )
    with pytest.raises(Refusal, match=said):
        correct(crew, batch, lot.stock, 3 * G)


def test_water_and_batches_correct_nothing(crew: make.Crew) -> None:
    batch = pot(crew)
    water = make.released_lot(crew, make.water(crew.maker))
    with pytest.raises(Refusal, match="neither takes up alkali"):
        correct(crew, batch, water.stock, 3 * G)
    with pytest.raises(Refusal, match="not of a batch"):
        correct(crew, batch, make.released_paste(crew).stock, 3 * G)


def test_more_than_a_twentieth_of_the_pot_is_no_correction(crew: make.Crew) -> None:
    batch = pot(crew)
    lot = make.released_lot(crew, make.sunflower(crew.maker))
    most = yield_of(batch).theoretical_mg // 20
    with pytest.raises(Refusal, match="more than 5 %") as refusal:
        correct(crew, batch, lot.stock, most + 1)
    assert refusal.value.field == "gross_mg"
    correct(crew, batch, lot.stock, most)


def test_amending_a_correction_is_no_way_around_its_bounds(crew: make.Crew) -> None:
    batch = pot(crew)
    lot = make.released_lot(crew, make.sunflower(crew.maker))
    most = yield_of(batch).theoretical_mg // 20
    row = correct(crew, batch, lot.stock, 10 * G)

    def amend(net_mg: int) -> Charge:
        return cooking.amend_charge(
            by=crew.maker, charge=row, gross_mg=net_mg, tare_mg=0, reason="misread"
        )

    with pytest.raises(Refusal, match="more than 5 %") as refusal:
        amend(most + 1)
    assert refusal.value.field == "gross_mg"
    assert Stock.objects.get(pk=lot.pk).on_hand_mg == 5_000_000 - 10 * G
    assert amend(most).net_mg == most


def test_a_correction_needs_a_reason_and_a_maker(crew: make.Crew) -> None:
    batch = pot(crew)
    lot = make.released_lot(crew, citric(crew))
    with pytest.raises(Refusal, match="Say why"):
        correct(crew, batch, lot.stock, 3 * G, reason="  ")
    with pytest.raises(PermissionDenied):
        correct(crew, batch, lot.stock, 3 * G, by=crew.reviewer)
    assert not Charge.objects.filter(batch=batch, line=None).exists()


def test_a_rework_may_be_nothing_but_paste_and_its_correction(crew: make.Crew) -> None:
    bad = make.failed_paste(crew, "rework")
    rework = make.open_batch(crew, is_rework=True)
    make.charge(crew, rework, bad.stock, 500 * G, is_rework=True)
    lot = make.released_lot(crew, citric(crew))
    assert correct(crew, make.fresh(rework), lot.stock, 3 * G).net_mg == 3 * G
