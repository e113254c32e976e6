"""By difference: one container before and after, and what its book then says."""

from __future__ import annotations

import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from batches.models import Batch, Charge
from batches.services import cooking, planning
from batches.services.cooking.drawing import doubt_mg
from batches.services.cooking.how import How
from producer.errors import NotEnough, Refusal
from producer.models import (
    Container,
    JournalEntry,
    RawLot,
    Stock,
    StockMovement,
    Vessel,
)
from producer.services import containers
from producer.services.container_books import book_of
from tests import make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db

KG = make.KG


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def oil_in_tins(
    crew: make.Crew, count: int, *, each_mg: int = KG
) -> tuple[RawLot, list[Container]]:
    """Return a lot of oil that sits in so many tins, all of it."""
    lot = make.released_lot(
        crew, make.sunflower(crew.maker), quantity_mg=count * each_mg
    )
    tins = containers.register(
        by=crew.maker, lot=lot, fillings=containers.alike(count=count, each_mg=each_mg)
    )
    return lot, tins


def pot(crew: make.Crew) -> Batch:
    batch = make.open_batch(crew)
    make.go_through(crew, batch)
    return batch


def weighed(
    crew: make.Crew, batch: Batch, lot: RawLot, before: int, after: int, **how: Any
) -> Charge:
    return cooking.charge(
        by=crew.maker,
        batch=batch,
        line=make.line_of(batch, lot.material.name),
        source=lot.stock,
        scale=make.scale(crew.maker),
        gross_mg=before,
        tare_mg=after,
        how=How(**{"by_difference": True, **how}),
        unusual=make.SCENE,
    )


def test_what_left_the_container_is_the_charge_and_opens_it(crew: make.Crew) -> None:
    lot, (tin,) = oil_in_tins(crew, 1)
    assert tin.opened_at is None
    row = weighed(crew, pot(crew), lot, 1_090_000, 290_000)
    assert (row.net_mg, row.by_difference, row.container) == (800_000, True, tin)
    assert book_of(tin) == 200_000 == Stock.objects.get(pk=lot.pk).on_hand_mg
    movement = StockMovement.objects.get(kind="draw")
    assert (movement.container, movement.amount_mg) == (tin, -800_000)
    tin.refresh_from_db()
    assert tin.opened_at == row.observed_at
    second = weighed(crew, row.batch, lot, 290_000, 280_000)
    tin.refresh_from_db()
    assert tin.opened_at == row.observed_at != second.observed_at


def test_by_difference_needs_to_know_what_stood_on_the_scale(crew: make.Crew) -> None:
    batch = pot(crew)
    lot = make.released_lot(crew, make.sunflower(crew.maker))
    with pytest.raises(Refusal, match="choose the container, or the vessel") as stop:
        weighed(crew, batch, lot, 1_090_000, 290_000)
    assert stop.value.field == "container"
    jug = make.registered(crew.maker, Vessel(name="oil jug", tare_mg=420_000))
    row = weighed(crew, batch, lot, 1_090_000, 290_000, vessel=jug)
    assert (row.vessel, row.container, row.by_difference) == (jug, None, True)


@pytest.mark.parametrize("by_difference", [True, False])
def test_of_several_containers_somebody_says_which(
    crew: make.Crew, *, by_difference: bool
) -> None:
    lot, tins = oil_in_tins(crew, 2)
    batch = pot(crew)
    how = {"by_difference": by_difference}
    with pytest.raises(Refusal, match="Say which one it came from") as stop:
        weighed(crew, batch, lot, 900_000, 100_000, **how)
    assert stop.value.field == "container"
    assert all(f"{tin.code} (1 kg)" in stop.value.message for tin in tins)
    row = weighed(crew, batch, lot, 900_000, 100_000, container=tins[1], **how)
    assert row.container == tins[1]
    assert [book_of(tin) for tin in tins] == [KG, 200_000]
    # With one left that holds something, it is that one.
    weighed(crew, batch, lot, 300_000, 100_000, container=tins[1], **how)
    assert weighed(crew, batch, lot, 300_000, 200_000, **how).container == tins[0]


def test_a_container_of_another_lot_is_refused(crew: make.Crew) -> None:
    lot, _ = oil_in_tins(crew, 1)
    _, (other,) = oil_in_tins(crew, 1)
    with pytest.raises(Refusal, match=f"{other.code} is no container of {lot.code}"):
        weighed(crew, pot(crew), lot, 900_000, 100_000, container=other)


def test_the_last_of_a_container_may_differ_by_what_the_scale_cannot_tell(
    crew: make.Crew,
) -> None:
    """A scale with steps of 1 g: u of a reading 1/√12 g, GUM F.2.2.1.

    Two readings, k = 2: U = 2 × √2 × 0.288675 g = 0.816 g (GUM 5.1.2).
    """
    scale = make.scale(crew.maker)
    assert doubt_mg(scale) == 816
    lot, tins = oil_in_tins(crew, 2)
    batch = pot(crew)
    book = KG
    with pytest.raises(NotEnough, match=f"{tins[0].code} holds 1 kg by the book"):
        weighed(crew, batch, lot, book + 817, 0, container=tins[0])
    row = weighed(crew, batch, lot, book + 816, 0, container=tins[0])
    assert row.net_mg == 1_000_816
    assert book_of(tins[0]) == 0
    assert Stock.objects.get(pk=lot.pk).on_hand_mg == KG  # that of the other tin
    found = StockMovement.objects.get(kind="adjustment")
    assert (found.amount_mg, found.container) == (816, tins[0])
    assert "816 mg more than its book" in found.reason


def test_more_than_its_book_is_refused_with_a_trace(crew: make.Crew) -> None:
    lot, tins = oil_in_tins(crew, 2)
    batch = pot(crew)
    written = JournalEntry.objects.count()
    with pytest.raises(NotEnough):
        weighed(crew, batch, lot, 1_400_000, 100_000, container=tins[0])
    (entry,) = JournalEntry.objects.filter(sequence__gt=written)
    assert (entry.act, entry.subject_label) == ("draw refused", batch.number)
    assert entry.after_values["wanted_mg"] == 1_300_000
    assert not Charge.objects.exists()


def test_an_amendment_draws_back_into_its_container(crew: make.Crew) -> None:
    lot, tins = oil_in_tins(crew, 2)
    batch = pot(crew)
    row = weighed(crew, batch, lot, 900_000, 100_000, container=tins[0])
    less = cooking.amend_charge(
        by=crew.maker, charge=row, gross_mg=900_000, tare_mg=150_000, reason="misread"
    )
    assert (less.container, less.by_difference) == (tins[0], True)
    assert [book_of(tin) for tin in tins] == [250_000, KG]
    other = cooking.amend_charge(
        by=crew.maker,
        charge=less,
        gross_mg=900_000,
        tare_mg=150_000,
        container=tins[1],
        reason="it was the other tin",
    )
    assert [book_of(tin) for tin in tins] == [KG, 250_000]
    void = cooking.amend_charge(
        by=crew.maker, charge=other, void=True, reason="not in it"
    )
    assert void.container == tins[1]
    assert [book_of(tin) for tin in tins] == [KG, KG]
    assert Stock.objects.get(pk=lot.pk).on_hand_mg == 2 * KG


def test_an_amendment_to_another_lot_names_a_container_of_that(
    crew: make.Crew,
) -> None:
    lot, (tin,) = oil_in_tins(crew, 1)
    other, tins = oil_in_tins(crew, 2)
    row = weighed(crew, pot(crew), lot, 900_000, 100_000)
    facts = {
        "by": crew.maker,
        "charge": row,
        "gross_mg": 900_000,
        "tare_mg": 100_000,
        "source": other.stock,
        "reason": "mistyped",
    }
    with pytest.raises(Refusal, match="Say which one"):
        cooking.amend_charge(**facts)  # type: ignore[arg-type]
    again = cooking.amend_charge(**facts, container=tins[0])  # type: ignore[arg-type]
    assert (again.container, again.by_difference) == (tins[0], True)
    assert [book_of(one) for one in (tin, *tins)] == [KG, 200_000, KG]


@pytest.mark.parametrize("slip_mg", [208, 2_080_000])
def test_scenario_04_wrong_unit_by_difference_is_stopped_too(
    crew: make.Crew, slip_mg: int
) -> None:
    """0.208 g and 2.08 kg for 208 g: the line asks for some hundred grams."""
    lot, _ = oil_in_tins(crew, 1, each_mg=5 * KG)
    batch = pot(crew)
    facts: dict[str, Any] = {
        "by": crew.maker,
        "batch": batch,
        "line": make.line_of(batch, "sunflower oil"),
        "source": lot.stock,
        "scale": make.scale(crew.maker),
        "tare_mg": 400_000,
        "how": How(by_difference=True),
    }
    with pytest.raises(Refusal, match=r"far from the .* still to be weighed") as stop:
        cooking.charge(**facts, gross_mg=400_000 + slip_mg)
    assert stop.value.field == "unusual"
    assert cooking.charge(**facts, gross_mg=608_000).net_mg == 208_000  # control
    row = cooking.charge(
        **facts, gross_mg=400_000 + slip_mg, unusual="a trial in a cup"
    )
    assert row.reason == "a trial in a cup"


def test_potash_in_a_tin_is_asked_for_before_and_after(
    browser: Client, crew: make.Crew
) -> None:
    batch = make.open_batch(crew)
    for name in ("sunflower oil", "coconut oil", "distilled water"):
        line = make.line_of(batch, name)
        make.charge(crew, batch, make.stock_of(crew, line), 500_000, line=line)
    line = make.line_of(batch, "potash flakes")
    lot = make.released_lot(crew, make.potash(crew.maker))
    (tin,) = containers.register(
        by=crew.maker, lot=lot, fillings=containers.alike(count=1, each_mg=5 * KG)
    )
    planning.choose_lots(by=crew.maker, batch=batch, choices={line.pk: lot.stock})
    address = reverse("batches:charge", args=[batch.number, line.position])
    words = page_of(browser.get(address)).words
    assert "The container before" in words
    assert "The same container after" in words
    plain = page_of(browser.get(f"{address}?by=vessel")).words
    assert "The container before" not in plain
    form = {
        "submission": str(uuid.uuid4()),
        "by_difference": "True",
        "source": str(lot.pk),
        "scale": str(make.scale(crew.maker).pk),
        "gross_mg": "5300 g",
        "tare_mg": "5100 g",
        "unusual": make.SCENE,
    }
    assert browser.post(address, form).status_code == 302
    row = Charge.objects.get(source=lot.pk)
    assert (row.by_difference, row.container, row.net_mg) == (True, tin, 200_000)
    page = page_of(browser.get(reverse("batches:batch", args=[batch.number]))).words
    assert "by difference: gross is the container before" in page
    assert f"container {tin.code}" in page


def test_a_correction_names_its_container_too(browser: Client, crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    lot, tins = oil_in_tins(crew, 2)
    address = reverse("batches:correct", args=[batch.number, lot.code])
    form = {
        "submission": str(uuid.uuid4()),
        "scale": str(make.scale(crew.maker).pk),
        "gross_mg": "370 g",
        "tare_mg": "350 g",
        "reason": "alkali by titration",
    }
    assert "Say which one it came from" in page_of(browser.post(address, form)).words
    form["container"] = str(tins[1].pk)
    assert browser.post(address, form).status_code == 302
    assert book_of(tins[1]) == KG - 20_000


def test_several_lots_serve_one_line_each_as_a_charge_of_its_own(
    browser: Client, crew: make.Crew
) -> None:
    batch = pot(crew)
    line = make.line_of(batch, "sunflower oil")
    small = make.released_lot(crew, make.sunflower(crew.maker), quantity_mg=300_000)
    large = make.released_lot(crew, make.sunflower(crew.maker))
    make.charge(crew, batch, small.stock, 300_000, unusual="")
    address = reverse("batches:charge", args=[batch.number, line.position])
    words = page_of(browser.get(address)).words
    plan = next(one for one in planning.plan_of(batch).lines if one.line == line)
    assert plan.remaining_mg is not None
    left = Decimal(plan.remaining_mg) / 1000
    assert f"{left.normalize():f} g" in words
    assert "The rest may come from another lot" in words
    make.charge(crew, batch, large.stock, plan.remaining_mg, unusual="")
    plan = next(one for one in planning.plan_of(batch).lines if one.line == line)
    assert plan.remaining_mg == 0
    assert [row.source_id for row in batch.charges.order_by("pk")] == [
        small.pk,
        large.pk,
    ]
