"""The ledger: never below zero, never a gram lost, whoever draws at once."""

from __future__ import annotations

import datetime
import functools

import pytest
from django.db import DatabaseError, IntegrityError, models, transaction
from django.utils import timezone

from batches.models import Charge, Input
from producer import journal
from producer.errors import NotEnough, Refusal
from producer.models import JournalEntry, RawLot, Stock, StockMovement, User
from producer.services import stock
from tests import make
from tests.database import run, together, while_uncommitted


def balance_of(lot: RawLot) -> int:
    return Stock.objects.get(pk=lot.pk).on_hand_mg


def sum_of_movements(lot: RawLot) -> int:
    total: int = StockMovement.objects.filter(stock_id=lot.pk).aggregate(
        total=models.Sum("amount_mg")
    )["total"]
    return total


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("started", [together, while_uncommitted])
def test_scenario_01_last_forty_grams_drawn_twice(
    crew: make.Crew, owner: User, started: object
) -> None:
    rival = crew._replace(
        maker=make.account(by=owner, name="Tove Berg", rights=["maker"])
    )
    lot = make.released_lot(crew, make.water(crew.maker), quantity_mg=40_000)
    make.scale(crew.maker)
    batches = [make.open_batch(crew), make.open_batch(rival)]
    for batch in batches:
        make.go_through(crew, batch)
    written = JournalEntry.objects.count()

    results = started(  # type: ignore[operator]
        functools.partial(make.charge, crew, batches[0], lot.stock, 40_000),
        functools.partial(make.charge, rival, batches[1], lot.stock, 40_000),
    )

    won = [result for result in results if isinstance(result, Charge)]
    lost = [result for result in results if isinstance(result, NotEnough)]
    assert len(won) == len(lost) == 1
    assert f"{lot.code} holds 0 g, so 40 g cannot be taken" in lost[0].message
    winner = won[0].entered_by.person.name
    assert f"drawn into a batch, 40 g, by {winner}" in lost[0].message
    assert balance_of(lot) == 0 == sum_of_movements(lot)
    assert Charge.objects.count() == Input.objects.count() == 1
    # Both attempts are on record: one as a charge, the other as refused, with why.
    acts = JournalEntry.objects.filter(sequence__gt=written).order_by("sequence")
    drawn, refused = acts
    assert (drawn.act, refused.act) == ("charge weighed", "draw refused")
    assert {drawn.actor_name, refused.actor_name} == {"Mirja Aalto", "Tove Berg"}
    assert drawn.actor_name == winner
    assert refused.after_values == {
        "source": lot.code,
        "wanted_mg": 40_000,
        "refused": lost[0].message,
    }
    assert {drawn.subject_label, refused.subject_label} == {
        batch.number for batch in batches
    }
    assert list(journal.faults()) == []


@pytest.mark.django_db(transaction=True)
def test_control_reading_first_and_writing_later_draws_the_same_grams_twice(
    crew: make.Crew,
) -> None:
    lot = make.held_lot(crew, make.water(crew.maker), quantity_mg=40_000)
    seen = balance_of(lot)  # both look before either writes

    def naive_draw() -> str:
        if seen >= 40_000:
            Stock.objects.filter(pk=lot.pk).update(on_hand_mg=seen - 40_000)
            return "drawn"
        return "refused"

    assert together(naive_draw, naive_draw) == ["drawn", "drawn"]


@pytest.mark.django_db(transaction=True)
def test_many_hands_at_once_take_exactly_what_there_is(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.water(crew.maker), quantity_mg=100_000)

    def dispose() -> StockMovement:
        return stock.dispose(by=crew.maker, lot=lot, amount_mg=30_000, reason="spilt")

    results = together(*[dispose] * 6)
    assert sum(isinstance(result, StockMovement) for result in results) == 3
    assert sum(isinstance(result, NotEnough) for result in results) == 3
    assert balance_of(lot) == 10_000 == sum_of_movements(lot)


@pytest.mark.django_db
def test_raw_sql_cannot_take_stock_below_zero(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.water(crew.maker), quantity_mg=40_000)
    sql = "UPDATE producer_stock SET on_hand_mg = %s WHERE id = %s"
    with pytest.raises(IntegrityError), transaction.atomic():
        run(sql, -1, lot.pk)
    assert balance_of(lot) == 40_000
    assert run(sql, 0, lot.pk) == 1  # control: zero itself is allowed


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("kind", "amount_mg", "reason", "balance_mg"),
    [
        ("draw", 5, "", 5),
        ("receipt", -5, "", 5),
        ("adjustment", 0, "counted", 5),
        ("adjustment", 5, "", 5),
        ("disposal", -5, "", 5),
        ("draw", -5, "", -1),
    ],
)
def test_the_database_refuses_a_movement_that_makes_no_sense(
    crew: make.Crew, kind: str, amount_mg: int, reason: str, balance_mg: int
) -> None:
    lot = make.held_lot(crew, make.water(crew.maker))
    with pytest.raises(IntegrityError):
        StockMovement.objects.create(
            stock=lot.stock,
            kind=kind,
            amount_mg=amount_mg,
            balance_mg=balance_mg,
            reason=reason,
            observed_at=timezone.now(),
            entered_by=crew.maker,
        )


@pytest.mark.django_db
def test_a_count_sets_the_book_and_keeps_the_reason(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.water(crew.maker), quantity_mg=1000)
    movement = stock.adjust(by=crew.maker, lot=lot, counted_mg=970, reason="dried out")
    assert (movement.amount_mg, movement.balance_mg) == (-30, 970)
    assert balance_of(lot) == 970 == sum_of_movements(lot)
    entry = JournalEntry.objects.get(act="stock adjusted")
    assert entry.before_values == {"on_hand_mg": 1000}
    assert entry.after_values == {"on_hand_mg": 970}
    assert entry.reason == "dried out"


@pytest.mark.django_db
@pytest.mark.parametrize(("counted", "reason"), [(1000, "x"), (-1, "x"), (900, " ")])
def test_a_count_that_agrees_is_impossible_or_unexplained_is_refused(
    crew: make.Crew, counted: int, reason: str
) -> None:
    lot = make.held_lot(crew, make.water(crew.maker), quantity_mg=1000)
    with pytest.raises(Refusal):
        stock.adjust(by=crew.maker, lot=lot, counted_mg=counted, reason=reason)
    assert balance_of(lot) == 1000


@pytest.mark.django_db
@pytest.mark.parametrize("amount_mg", [0, -5, 1001])
def test_nothing_or_more_than_there_is_cannot_be_disposed_of(
    crew: make.Crew, amount_mg: int
) -> None:
    lot = make.held_lot(crew, make.water(crew.maker), quantity_mg=1000)
    with pytest.raises(Refusal):
        stock.dispose(by=crew.maker, lot=lot, amount_mg=amount_mg, reason="spilt")
    assert balance_of(lot) == 1000


@pytest.mark.django_db
def test_a_time_in_next_year_is_refused_and_a_fast_clock_is_flagged(
    crew: make.Crew,
) -> None:
    lot = make.held_lot(crew, make.water(crew.maker), quantity_mg=1000)
    now = timezone.now()
    with pytest.raises(Refusal, match="future"):
        stock.dispose(
            by=crew.maker,
            lot=lot,
            amount_mg=1,
            reason="spilt",
            observed_at=now + datetime.timedelta(days=2),
        )
    movement = stock.dispose(
        by=crew.maker,
        lot=lot,
        amount_mg=1,
        reason="spilt",
        observed_at=now + datetime.timedelta(hours=20),
    )
    assert movement.observed_later_than_entered


@pytest.mark.django_db
@pytest.mark.parametrize("verb", ["UPDATE", "DELETE"])
def test_a_movement_cannot_be_changed_or_deleted(crew: make.Crew, verb: str) -> None:
    make.held_lot(crew, make.water(crew.maker), quantity_mg=1000)
    sql = {
        "UPDATE": "UPDATE producer_stockmovement SET amount_mg = 2000",
        "DELETE": "DELETE FROM producer_stockmovement",
    }
    with pytest.raises(DatabaseError, match="never changed or deleted"):
        run(sql[verb])
