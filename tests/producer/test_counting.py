"""Stock-takes: everything in one act, also what agrees, and the book set to it."""

from __future__ import annotations

import datetime
from collections.abc import Callable

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError
from django.utils import timezone

from batches.chemistry.ageing import MOST_UPTAKE
from producer.errors import Conflict, Refusal
from producer.models import (
    JournalEntry,
    RawLot,
    Stock,
    StockCount,
    StockMovement,
    StockTake,
    User,
)
from producer.services import containers, counting, lot_holds, stock
from producer.services.counting import Counted
from quality.services.verification import masses, store
from quality.services.verification.checks import quiet
from tests import make
from tests.database import row_counts, run, together, without_triggers

pytestmark = pytest.mark.django_db

KG = make.KG


@pytest.fixture
def oil(crew: make.Crew) -> RawLot:
    return make.released_lot(crew, make.sunflower(crew.maker), quantity_mg=3 * KG)


@pytest.fixture
def potash(crew: make.Crew) -> RawLot:
    return make.released_lot(crew, make.potash(crew.maker), quantity_mg=KG)


def on_hand(lot: RawLot) -> int:
    return Stock.objects.get(pk=lot.pk).on_hand_mg


def test_one_act_keeps_every_count_and_adjusts_what_differs(
    crew: make.Crew, oil: RawLot, potash: RawLot
) -> None:
    first, second = containers.register(
        by=crew.maker, lot=oil, fillings=containers.alike(count=2, each_mg=KG)
    )
    before = JournalEntry.objects.count()
    take = counting.take_stock(
        by=crew.maker,
        counts=[
            Counted(lot=potash, counted_mg=KG),
            Counted(lot=oil, container=first, counted_mg=KG),
            Counted(lot=oil, container=second, counted_mg=980_000, reason="drips"),
            Counted(lot=oil, counted_mg=KG + 5000, reason="the rest of the drum"),
        ],
        note="winter",
    )
    found = take.counts.values_list("book_mg", "counted_mg", "movement__amount_mg")
    assert list(found) == [
        (KG, KG, None),
        (KG, KG, None),
        (KG, 980_000, -20_000),
        (KG, KG + 5000, 5000),
    ]
    assert on_hand(oil) == 3 * KG - 15_000
    assert [one.book_mg for one in containers.containers_of(oil)] == [KG, 980_000]
    assert JournalEntry.objects.count() == before + 1
    entry = JournalEntry.objects.get(act="stock taken")
    assert entry.after_values["counts"][f"{oil.code}/2"] == {
        "book_mg": KG,
        "counted_mg": 980_000,
        "reason": "drips",
    }
    faults = [*store.container_faults(), *store.count_faults()]
    assert faults + list(masses.ledger_faults(quiet)) == []


def test_a_count_of_nothing_empties_the_lot(crew: make.Crew, oil: RawLot) -> None:
    counting.take_stock(
        by=crew.maker, counts=[Counted(lot=oil, counted_mg=0, reason="tipped over")]
    )
    assert on_hand(oil) == 0
    places = counting.to_count()
    assert oil.pk not in {one.lot.pk for one in places}
    assert oil.pk in {one.lot.pk for one in counting.to_count(with_empty=True)}


def refused_counts(oil: RawLot, potash: RawLot) -> dict[str, list[Counted]]:
    return {
        "Nothing was counted": [],
        "Say why they differ": [
            Counted(lot=potash, counted_mg=KG),
            Counted(lot=oil, counted_mg=5, reason=" "),
        ],
        "cannot be below zero": [Counted(lot=oil, counted_mg=-1, reason="?")],
        "counted twice": [Counted(lot=oil, counted_mg=3 * KG)] * 2,
    }


def test_what_cannot_be_is_refused_and_nothing_of_it_is_kept(
    crew: make.Crew, oil: RawLot, potash: RawLot
) -> None:
    before = row_counts()
    for words, counts in refused_counts(oil, potash).items():
        with pytest.raises(Refusal, match=words):
            counting.take_stock(by=crew.maker, counts=counts)
    assert row_counts() == before


def test_a_container_of_another_lot_cannot_be_counted_under_this_one(
    crew: make.Crew, oil: RawLot, potash: RawLot
) -> None:
    first, *_ = containers.register(
        by=crew.maker, lot=oil, fillings=containers.alike(count=1, each_mg=KG)
    )
    with pytest.raises(Refusal, match="is no container of"):
        counting.take_stock(
            by=crew.maker, counts=[Counted(lot=potash, container=first, counted_mg=KG)]
        )


def test_only_makers_count(auditor: User, oil: RawLot) -> None:
    with pytest.raises(PermissionDenied):
        counting.take_stock(by=auditor, counts=[Counted(lot=oil, counted_mg=3 * KG)])


def test_what_moved_since_it_was_counted_is_counted_again(
    crew: make.Crew, oil: RawLot, potash: RawLot
) -> None:
    began = stock.last_movement()
    at = timezone.now()
    stock.dispose(by=crew.maker, lot=oil, amount_mg=1000, reason="spilt")
    stale = [Counted(lot=oil, counted_mg=3 * KG, reason="counted")]
    with pytest.raises(Conflict, match=r"disposed of, 1 g, by Mirja Aalto"):
        counting.take_stock(by=crew.maker, counts=stale, after_movement=began)
    with pytest.raises(Conflict, match="has moved since it was counted"):
        counting.take_stock(by=crew.maker, counts=stale, observed_at=at)
    other = [Counted(lot=potash, counted_mg=KG)]
    counting.take_stock(by=crew.maker, counts=other, after_movement=began)
    assert StockCount.objects.get().stock_id == potash.pk


def test_two_counts_of_one_lot_at_once_do_not_both_adjust(
    transactional_db: None, crew: make.Crew
) -> None:
    lot = make.held_lot(crew, make.sunflower(crew.maker), quantity_mg=KG)
    began = stock.last_movement()

    def count() -> StockTake:
        return counting.take_stock(
            by=crew.maker,
            counts=[Counted(lot=lot, counted_mg=900_000, reason="spilt")],
            after_movement=began,
        )

    results = together(count, count)
    assert sorted(type(one).__name__ for one in results) == ["Conflict", "StockTake"]
    assert on_hand(lot) == 900_000


def test_potash_of_which_there_is_more_goes_on_hold_and_oil_does_not(
    crew: make.Crew, oil: RawLot, potash: RawLot
) -> None:
    counting.take_stock(
        by=crew.maker,
        counts=[
            Counted(lot=potash, counted_mg=KG + 10_000, reason="on the scale"),
            Counted(lot=oil, counted_mg=4 * KG, reason="on the scale"),
        ],
    )
    potash.refresh_from_db()
    oil.refresh_from_db()
    assert potash.status == RawLot.Status.ON_HOLD
    assert oil.status == RawLot.Status.RELEASED
    entry = JournalEntry.objects.get(act="stock taken")
    assert entry.after_values["on hold"] == [potash.code]


def test_a_count_holds_potash_from_the_same_gain_on_as_a_weighing() -> None:
    assert lot_holds.MOST_GAIN == MOST_UPTAKE


@pytest.mark.parametrize(
    ("gain_mg", "status"), [(3_000, "released"), (3_001, "on_hold")]
)
@pytest.mark.parametrize("way", ["stock-take", "one lot"])
def test_more_than_three_grams_in_a_kilogram_of_potash_hold_it(
    crew: make.Crew, potash: RawLot, gain_mg: int, status: str, way: str
) -> None:
    counted_mg, reason = KG + gain_mg, "on the scale"
    if way == "one lot":
        stock.adjust(by=crew.maker, lot=potash, counted_mg=counted_mg, reason=reason)
    else:
        counts = [Counted(lot=potash, counted_mg=counted_mg, reason=reason)]
        counting.take_stock(by=crew.maker, counts=counts)
    assert RawLot.objects.get(pk=potash.pk).status == status


def test_the_list_has_lots_containers_and_what_is_outside_them(
    crew: make.Crew, oil: RawLot, potash: RawLot
) -> None:
    containers.register(
        by=crew.maker,
        lot=oil,
        fillings=containers.alike(count=2, each_mg=KG, place="cellar"),
    )
    found = [
        (one.code, one.book_mg, one.place, one.is_outside)
        for one in counting.to_count()
    ]
    assert found == [
        (potash.code, KG, "", False),
        (f"{oil.code}/1", KG, "cellar", False),
        (f"{oil.code}/2", KG, "cellar", False),
        (oil.code, KG, "", True),
    ]
    assert [one.code for one in counting.to_count(of=potash.code)] == [potash.code]


def test_the_list_takes_no_more_queries_for_more_lots(
    crew: make.Crew,
    oil: RawLot,
    django_assert_num_queries: Callable[..., object],
) -> None:
    for _ in range(3):
        lot = make.held_lot(crew, make.sunflower(crew.maker))
        containers.register(
            by=crew.maker, lot=lot, fillings=containers.alike(count=3, each_mg=KG)
        )
    with django_assert_num_queries(2):  # type: ignore[attr-defined]
        assert len(counting.to_count()) == 1 + 3 * 4


def test_the_database_keeps_no_difference_without_movement_and_reason(
    crew: make.Crew, oil: RawLot
) -> None:
    take = counting.take_stock(
        by=crew.maker, counts=[Counted(lot=oil, counted_mg=3 * KG)]
    )
    with pytest.raises(IntegrityError, match="count_that_differs"):
        StockCount.objects.create(
            take=take,
            stock=oil.stock,
            book_mg=5,
            counted_mg=6,
            observed_at=timezone.now() - datetime.timedelta(days=1),
            entered_by=crew.maker,
        )


def test_verify_finds_a_count_that_was_changed_behind_the_program(
    crew: make.Crew, oil: RawLot
) -> None:
    counting.take_stock(
        by=crew.maker, counts=[Counted(lot=oil, counted_mg=2 * KG, reason="spilt")]
    )
    assert list(store.count_faults()) == []
    with without_triggers():
        run("UPDATE producer_stockcount SET counted_mg = counted_mg + 1")
    assert "counted 2.000001 kg of" in "".join(store.count_faults())
    with without_triggers():
        run("UPDATE producer_stockcount SET counted_mg = counted_mg - 1")
    movement = StockMovement.objects.get(kind="adjustment")
    other = make.held_lot(crew, make.sunflower(crew.maker))
    with without_triggers():
        StockMovement.objects.filter(pk=movement.pk).update(stock=other.stock)
    assert "or somewhere else" in "".join(store.count_faults())
