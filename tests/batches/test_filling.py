"""Bottles: numbered, opaque, filled from what is released, and their lives."""

from __future__ import annotations

import datetime
import functools
import itertools
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, models, transaction
from django.utils import timezone

from batches.lifecycle import BOTTLE_MOVES, BottleStatus
from batches.models import Batch, Bottle, BottleEvent, FillingLot
from batches.services import bottle_moves, filling
from producer.codes import is_bottle_code
from producer.errors import Conflict, NotEnough, Refusal
from producer.models import Stock, StockMovement
from tests import hands, make
from tests.database import while_uncommitted


@pytest.mark.django_db
def test_filling_draws_count_times_volume_times_density_and_the_loss(
    crew: make.Crew,
) -> None:
    liquid = make.released_liquid(crew)
    before = Stock.objects.get(pk=liquid.pk).on_hand_mg
    lot = make.filled(crew, liquid, count=2, density=Decimal("1.0195"), loss_mg=1234)
    assert lot.filled_mg == 2 * 509_750
    after = Stock.objects.get(pk=liquid.pk).on_hand_mg
    assert before - after == 2 * 509_750 + 1234
    movement = StockMovement.objects.get(kind="filling")
    assert (movement.amount_mg, movement.purpose) == (after - before, lot.code)


@pytest.mark.django_db
def test_every_bottle_has_a_number_an_opaque_code_and_an_event(
    crew: make.Crew,
) -> None:
    lot = make.filled(crew, count=3, nominal_ul=100_000)
    bottles = make.bottles_of(lot)
    assert [bottle.number for bottle in bottles] == [1, 2, 3]
    assert len({bottle.code for bottle in bottles}) == 3
    assert all(is_bottle_code(bottle.code) for bottle in bottles)
    events = BottleEvent.objects.all()
    assert [(event.old, event.new) for event in events] == [("", "filled")] * 3


@pytest.mark.django_db
def test_the_database_cannot_hold_a_number_or_a_code_twice(crew: make.Crew) -> None:
    first, second = make.bottles_of(make.filled(crew))
    for change in ({"code": first.code}, {"number": first.number}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Bottle.objects.filter(pk=second.pk).update(**change)
    assert Bottle.objects.filter(pk=second.pk).update(number=3) == 1  # control


@pytest.mark.django_db
def test_a_bottle_is_good_from_the_day_of_making_for_as_long_as_the_formula_says(
    crew: make.Crew,
) -> None:
    lot = make.filled(crew)
    assert lot.use_by == make.TODAY + datetime.timedelta(days=180)


@pytest.mark.django_db
@pytest.mark.parametrize("status", ["awaiting_review", "on_hold", "rejected"])
def test_only_a_released_batch_is_filled(crew: make.Crew, status: str) -> None:
    batch = {
        "awaiting_review": lambda: make.diluted_batch(crew),
        "on_hold": lambda: make.signed(
            crew.reviewer, make.released_liquid(crew), "hold"
        ),
        "rejected": lambda: make.signed(
            crew.reviewer, make.diluted_batch(crew), "reject"
        ),
    }[status]()
    assert batch.status == status
    with pytest.raises(Refusal, match="Only a released batch"):
        make.filled(crew, batch)
    assert not FillingLot.objects.exists()


@pytest.mark.django_db
def test_paste_for_further_use_is_not_filled(crew: make.Crew) -> None:
    with pytest.raises(Refusal, match="Dilute it"):
        make.filled(crew, make.released_paste(crew))


IMPOSSIBLE: list[dict[str, Any]] = [
    {"count": 0},
    {"count": filling.MOST_BOTTLES + 1},
    {"count": 100},
    {"density": Decimal("10.2")},
    {"density": Decimal(0)},
    {"density": Decimal("-1.02")},
    {"nominal_ul": 0},
    {"nominal_ul": -500_000},
    {"loss_mg": -1},
]


@pytest.mark.django_db
def test_an_impossible_filling_is_refused_and_leaves_nothing(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew)
    before = Stock.objects.get(pk=liquid.pk).on_hand_mg
    for facts in IMPOSSIBLE:
        with pytest.raises((Refusal, ValidationError)), transaction.atomic():
            make.filled(crew, liquid, **{"count": 1, **facts})
        assert not Bottle.objects.exists(), facts
        assert Stock.objects.get(pk=liquid.pk).on_hand_mg == before
    make.filled(crew, liquid, count=1)  # control


@pytest.mark.django_db(transaction=True)
def test_two_fillings_at_once_do_not_fill_the_same_liquid(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew)  # about 1.2 kg, so two bottles
    fill = functools.partial(make.filled, crew, liquid, count=2)
    first, second = while_uncommitted(fill, fill)
    assert isinstance(first, FillingLot)
    assert isinstance(second, NotEnough)
    assert Bottle.objects.count() == 2


@pytest.mark.django_db(transaction=True)
def test_a_batch_put_on_hold_a_moment_ago_is_not_filled(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew)
    results = while_uncommitted(
        lambda: make.sign(crew.reviewer, liquid, "hold"),
        lambda: make.filled(crew, liquid),
    )
    assert isinstance(results[1], Refusal)
    assert not Bottle.objects.exists()


@pytest.mark.django_db
def test_a_bottle_moves_only_as_the_table_of_lives_says(crew: make.Crew) -> None:
    bottle = _any_bottle(crew)
    shop = make.consignee(crew.maker)
    table = {(move.start, move.end): move for move in BOTTLE_MOVES}
    by_right = {"maker": crew.maker, "reviewer": crew.reviewer}
    moved = 0
    for old, new, right in itertools.product(BottleStatus, BottleStatus, by_right):
        Bottle.objects.update(status=old, consignee=shop)
        move = table.get((old, new)) if new in bottle_moves.CHOICES else None
        told = (by_right[right], bottle, new, "looked at")
        if move is None or right not in move.rights:
            with pytest.raises((Refusal, PermissionDenied)):
                hands.moved(*told, inspection="whole")
            assert Bottle.objects.get().status == old
            continue
        assert hands.moved(*told, inspection="whole").status == new
        event = BottleEvent.objects.latest("pk")
        assert (event.old, event.new) == (old, new)
        assert event.reason == "looked at. Inspection: whole"
        moved += 1
    assert moved == BottleEvent.objects.count()
    assert moved == sum(
        len(move.rights) for move in BOTTLE_MOVES if move.end in bottle_moves.CHOICES
    )


def _any_bottle(crew: make.Crew) -> Bottle:
    """Return a bottle without the long way to it; its life is what is looked at."""
    batch = make.open_batch(crew, make.liquid_version(crew))
    Batch.objects.filter(pk=batch.pk).update(status="released")
    lot = FillingLot.objects.create(
        code="F26-0001-X",
        batch=batch,
        nominal_ul=500_000,
        density=Decimal(1),
        count=1,
        filled_mg=500_000,
        use_by=make.TODAY,
        observed_at=timezone.now(),
        entered_by=crew.maker,
    )
    return Bottle.objects.create(filling_lot=lot, number=1, code="222222222224")


@pytest.mark.django_db(transaction=True)
def test_a_bottle_two_people_move_at_once_moves_once(crew: make.Crew) -> None:
    bottle = _any_bottle(crew)
    results = while_uncommitted(
        lambda: hands.moved(crew.maker, Bottle.objects.get(), "destroyed", "broken"),
        lambda: hands.moved(crew.reviewer, bottle, "on_hold", "odd colour"),
    )
    assert isinstance(results[0], Bottle)
    assert isinstance(results[1], Refusal)
    assert Bottle.objects.get().status == "destroyed"
    assert BottleEvent.objects.count() == 1


@pytest.mark.django_db
def test_a_bottle_that_was_moved_meanwhile_is_not_moved_on(crew: make.Crew) -> None:
    bottle = _any_bottle(crew)
    hands.moved(crew.maker, bottle, "destroyed", "broken")
    with pytest.raises(Conflict, match="moved one of these bottles a moment ago"):
        filling.change_bottles(
            by=crew.reviewer,
            bottles=[bottle],  # as it was read before
            new=BottleStatus.ON_HOLD,
            reason="odd colour",
        )
    assert Bottle.objects.get().status == "destroyed"


@pytest.mark.django_db
def test_what_is_in_bottles_and_what_is_left_is_what_was_made(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew)
    made = StockMovement.objects.get(stock=liquid.stock, kind="production").amount_mg
    make.filled(crew, liquid, count=1, loss_mg=500)
    make.filled(crew, liquid, count=3, nominal_ul=100_000)
    in_bottles = FillingLot.objects.aggregate(
        mass=models.Sum(models.F("filled_mg") + models.F("loss_mg"))
    )["mass"]
    assert in_bottles + Stock.objects.get(pk=liquid.pk).on_hand_mg == made
