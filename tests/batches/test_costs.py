"""Prices of lots, costs of a batch, and what a bottle costs: records and page."""

from __future__ import annotations

from fractions import Fraction

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from batches.models import Batch, Cost
from batches.services.costing import cost_of
from batches.services.costs import amend_cost, record_cost
from producer.errors import Conflict, Refusal
from producer.models import (
    JournalEntry,
    Premises,
    RawLot,
    Stock,
    StockMovement,
    User,
)
from producer.services import stock
from producer.services.prices import set_price
from tests import hands, make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db
KG = make.KG


def priced(crew: make.Crew, **prices: int) -> None:
    """Make a lot of 10 kg of each material, with its price; 0 where none is given."""
    for material in (make.sunflower, make.coconut, make.water, make.potash):
        make.released_lot(
            crew,
            material(crew.maker),
            quantity_mg=10 * KG,
            paid_hundredths=prices.get(material.__name__, 0),
        )


def lot_of(name: str) -> RawLot:
    return RawLot.objects.listed().get(material__name=name)


def test_a_price_is_set_and_changed_only_with_a_reason(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.water(crew.maker))
    set_price(by=crew.maker, lot=lot, paid_hundredths=350)
    with pytest.raises(Refusal, match="Say why"):
        set_price(by=crew.maker, lot=lot, paid_hundredths=450)
    with pytest.raises(Refusal, match="stands there already"):
        set_price(by=crew.maker, lot=lot, paid_hundredths=350, reason="again")
    with pytest.raises(ValidationError, match="not below zero"):
        set_price(by=crew.maker, lot=lot, paid_hundredths=-1, reason="x")
    with pytest.raises(PermissionDenied):
        set_price(by=crew.reviewer, lot=lot, paid_hundredths=450, reason="x")
    set_price(by=crew.maker, lot=lot, paid_hundredths=450, reason="with carriage")
    assert RawLot.objects.get(pk=lot.pk).paid_hundredths == 450
    entry = JournalEntry.objects.first()
    assert entry is not None
    assert entry.reason == "with carriage"
    assert '"paid_hundredths":350' in entry.before.replace(" ", "")


def test_a_cost_is_corrected_by_a_new_row_and_taken_back_by_another(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    row = record_cost(by=crew.maker, batch=batch, kind="hours", amount_hundredths=1200)
    better = amend_cost(
        by=crew.maker, cost=row, amount_hundredths=1500, reason="two and a half hours"
    )
    with pytest.raises(Conflict, match="corrected already"):
        amend_cost(by=crew.maker, cost=row, amount_hundredths=1, reason="x")
    assert list(Cost.objects.current()) == [better]
    assert cost_of(batch).hundredths == 1500
    with pytest.raises(Refusal, match="Say why"):
        amend_cost(by=crew.maker, cost=better, void=True, reason=" ")
    amend_cost(by=crew.maker, cost=better, void=True, reason="of another batch")
    assert cost_of(batch).hundredths == 0
    assert Cost.objects.count() == 3
    with pytest.raises(ValidationError, match="above zero"):
        record_cost(by=crew.maker, batch=batch, kind="hours", amount_hundredths=0)
    with pytest.raises(PermissionDenied):
        record_cost(by=crew.reviewer, batch=batch, kind="hours", amount_hundredths=9)


def test_a_bottle_costs_what_went_into_it_through_paste_and_dilution(
    crew: make.Crew,
) -> None:
    """Each step again from the masses on the scale, with fractions by hand."""
    priced(crew, sunflower=2400, coconut=5000, water=0, potash=6000)
    cook = make.cooked_batch(crew)
    record_cost(by=crew.maker, batch=cook, kind="energy", amount_hundredths=90)
    make.sign(crew.reviewer, cook)
    thin = make.released_liquid(crew, paste=make.fresh(cook), basis_mg=KG)
    lot = make.filled(crew, thin, count=3)
    record_cost(by=crew.maker, batch=thin, kind="bottles", amount_hundredths=150)
    record_cost(by=crew.maker, batch=thin, kind="hours", amount_hundredths=600)

    per_mg = {"sunflower oil": 2400, "coconut oil": 5000, "potash flakes": 6000}
    drawn = {
        row.source.lot.material.name: row.net_mg
        for row in cook.charges.select_related("source__lot__material")
    }
    paste: Fraction | int = sum(
        Fraction(per_mg.get(name, 0) * mass, 10 * KG) for name, mass in drawn.items()
    )
    paste += 90
    paste_out = cook.bulk_weighings.get().net_mg
    product = paste * Fraction(KG, paste_out) + 600
    filled = product * Fraction(lot.filled_mg, thin.bulk_weighings.get().net_mg)

    found = cost_of(make.fresh(thin))
    assert found.product.amount == product
    assert found.whole.amount == product + 150
    assert found.unknown == []
    (one,) = found.fillings
    assert one.whole.amount == filled + 150
    assert one.each is not None
    assert one.each.amount == (filled + 150) / 3

    broken = make.bottles_of(lot)[0]
    hands.moved(crew.maker, broken, "destroyed", "dropped")
    (one,) = cost_of(thin).fillings
    assert one.good == 2
    assert one.each is not None
    assert one.each.amount == (filled + 150) / 2


@pytest.mark.parametrize("kind", ["bottles", "labels"])
def test_what_is_spent_on_bottles_and_labels_is_no_part_of_what_is_in_them(
    crew: make.Crew, kind: str
) -> None:
    """1.80 for three bottles is 0.60 each, and nothing of it is in what is left."""
    priced(crew, sunflower=2400)
    thin = make.released_liquid(crew, paste=make.released_paste(crew), basis_mg=KG)
    make.filled(crew, thin, count=3)
    before = cost_of(make.fresh(thin))
    record_cost(by=crew.maker, batch=thin, kind=kind, amount_hundredths=180)
    after = cost_of(make.fresh(thin))
    assert after.product.amount == before.product.amount
    assert after.with_bottles == 180
    ((old,), (new,)) = before.fillings, after.fillings
    assert old.each is not None
    assert new.each is not None
    assert new.each.amount == old.each.amount + 60


def test_the_parts_that_are_shown_add_up_to_the_sum_that_is_shown(
    crew: make.Crew,
) -> None:
    priced(crew, sunflower=1999, coconut=3333, water=77, potash=5555)
    cook = make.released_paste(crew)
    make.released_liquid(crew, paste=cook, basis_mg=333_333)
    make.released_liquid(crew, paste=cook, basis_mg=111_111)
    found = cost_of(cook)
    assert len(found.sources) == 4
    assert sum(part.hundredths for part in found.sources) == found.product_hundredths
    assert [part.name for part in found.went] == ["drawn into a batch"] * 2 + [
        "still here"
    ]
    assert sum(part.hundredths for part in found.went) == found.product_hundredths
    assert sum(part.mass_mg for part in found.went) == found.came_out_mg


def test_what_is_lost_in_a_filling_is_in_its_bottles_and_what_is_lost_since_is_not(
    crew: make.Crew, client: Client
) -> None:
    """Sunflower oil for 24.00 a 10 kg; shares by the masses on the scale."""
    priced(crew, sunflower=2400)
    thin = make.released_liquid(crew, paste=make.released_paste(crew), basis_mg=KG)
    lot = make.filled(crew, thin, count=3, loss_mg=30_000)
    left = Stock.objects.get(pk=thin.pk).on_hand_mg
    came_out = thin.bulk_weighings.get().net_mg
    assert came_out == lot.filled_mg + 30_000 + left
    with transaction.atomic():
        stock.move(
            by=crew.maker,
            stock=Stock.objects.get(pk=thin.pk),
            kind=StockMovement.Kind.DISPOSAL,
            amount_mg=-100_000,
            observed_at=timezone.now(),
            reason="went rancid",
        )
    found = cost_of(make.fresh(thin))
    assert [(part.name, part.mass_mg) for part in found.went] == [
        (
            "filled into bottles, with what was lost or kept as a sample",
            lot.filled_mg + 30_000,
        ),
        ("still here", left - 100_000),
        ("lost or disposed of since the yield was weighed", 100_000),
    ]
    assert sum(part.cost.amount for part in found.went) == found.product.amount
    assert sum(part.hundredths for part in found.went) == found.product_hundredths
    (one,) = found.fillings
    assert one.each is not None
    assert one.each.amount * 3 == found.product.amount * Fraction(
        lot.filled_mg + 30_000, came_out
    )
    client.force_login(crew.maker)
    words = page_of(client.get(reverse("batches:costs", args=[thin.number]))).words
    assert "lost or disposed of since the yield was weighed" in words
    assert "carried by no bottle" in words


def test_a_rework_carries_what_the_rejected_batch_cost(crew: make.Crew) -> None:
    priced(crew, sunflower=2400, coconut=5000, potash=6000)
    bad = make.failed_paste(crew, "rework")
    again = make.open_batch(crew, is_rework=True)
    make.charge(crew, again, bad.stock, bad.stock.on_hand_mg, is_rework=True)
    assert cost_of(again).product == cost_of(bad).product
    assert cost_of(bad).product.amount > 0


def test_a_lot_without_a_price_is_named_and_the_figure_is_the_least(
    crew: make.Crew, client: Client
) -> None:
    batch = make.cooked_batch(crew)
    set_price(by=crew.maker, lot=lot_of("sunflower oil"), paid_hundredths=1000)
    page = reverse("batches:costs", args=[batch.number])
    client.force_login(crew.maker)
    words = page_of(client.get(page)).words
    potash = lot_of("potash flakes")
    assert "At least" in words
    assert "No price for" in words
    assert potash.code in words
    assert reverse("producer:lot_price", args=[potash.code]) in client.get(page).text
    for name in ("coconut oil", "distilled water", "potash flakes"):
        set_price(by=crew.maker, lot=lot_of(name), paid_hundredths=1)
    words = page_of(client.get(page)).words
    assert "At least" not in words
    assert "In all" in words


def test_the_currency_and_the_decimal_mark_of_the_premises_are_shown(
    crew: make.Crew, client: Client
) -> None:
    Premises.objects.update(currency="EUR", decimal_mark=",")
    batch = make.open_batch(crew)
    client.force_login(crew.maker)
    page = reverse("batches:cost_add", args=[batch.number])
    form = {
        "submission": "6e1c1f0e-3d4a-4f5c-9a41-000000000009",
        "kind": "hours",
        "amount_hundredths": "36,50",
    }
    assert client.post(page, form).status_code == 302
    assert Cost.objects.get().amount_hundredths == 3650
    answer = client.get(reverse("batches:costs", args=[batch.number]))
    assert "36,50\u202fEUR" in answer.text


def test_nobody_outside_sees_what_a_bottle_cost(crew: make.Crew) -> None:
    priced(crew, sunflower=98765)
    lot = make.filled(crew)
    record_cost(by=crew.maker, batch=lot.batch, kind="bottles", amount_hundredths=4321)
    code = make.bottles_of(lot)[0].code
    answer = Client().get(reverse("quality:bottle", args=[code]))
    assert answer.status_code == 200
    for amount in ("987.65", "43.21", "cost"):
        assert amount not in answer.text.lower()


def test_the_page_asks_as_often_for_many_charges_as_for_few(
    crew: make.Crew, client: Client, auditor: User
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    client.force_login(auditor)
    page = reverse("batches:costs", args=[batch.number])
    few = asked(client, page)
    for _ in range(12):
        make.charge(
            crew,
            batch,
            make.released_lot(crew, make.sunflower(crew.maker)).stock,
            10_000,
        )
        record_cost(by=crew.maker, batch=batch, kind="other", amount_hundredths=5)
    assert len(cost_of(Batch.objects.get(pk=batch.pk)).sources) == 16
    assert asked(client, page) == few


def asked(client: Client, page: str) -> int:
    client.get(page)
    with CaptureQueriesContext(connection) as queries:
        assert client.get(page).status_code == 200
    return len(queries)
