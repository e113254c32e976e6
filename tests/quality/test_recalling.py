"""From a lot to every bottle and who has it; a recall freezes what it finds at once."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from batches.models import Batch, Bottle, Charge
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, LotStatusChange, RawLot, Stock
from producer.services import intake
from quality.models import Recall, RecallEvent, RecallItem
from quality.services import recall_affected, recall_closing, recalling, reviewing
from quality.services.recall_spans import in_words, spans
from tests import hands, leaving, make
from tests.database import while_uncommitted


def open_recall(
    crew: make.Crew, root: Stock, *, is_mock: bool = False, notice: str = "Bring it."
) -> Recall:
    return recalling.open_recall(
        by=crew.reviewer,
        root=root,
        hazard_class="2",
        reason="the supplier found soda in it",
        public_notice=notice,
        is_mock=is_mock,
    )


def dispatched(crew: make.Crew) -> tuple[RawLot, list[Bottle]]:
    """Return a potash lot and four bottles: two at a shop, two on the premises."""
    potash = make.released_lot(crew, make.potash(crew.maker))
    paste = make.released_paste(crew, sources={"potash": potash.stock})
    liquid = make.released_liquid(crew, paste=paste)
    lot = make.filled(crew, liquid, count=4, nominal_ul=250_000)
    bottles = make.bottles_of(lot)
    leaving.sent(crew, bottles[:2], consignee=make.consignee(crew.maker))
    return potash, make.bottles_of(lot)


def states() -> list[list[tuple[int, str]]]:
    """Return where everything stands."""
    return [
        list(model._default_manager.order_by("pk").values_list("pk", "status"))
        for model in (RawLot, Batch, Bottle)
    ]


@pytest.mark.django_db
def test_a_recall_says_how_many_bottles_are_where(crew: make.Crew) -> None:
    potash, bottles = dispatched(crew)
    hands.moved(crew.maker, bottles[3], "destroyed", "leaked")
    affected = recall_affected.affected_by(potash.stock)
    assert affected.bottle_count == 4
    assert [(h.place, h.phone, h.ranges, h.count) for h in affected.holders] == [
        ("Corner Shop Lindqvist", "555 0120", "1–2", 2),
        ("destroyed", "", "4", 1),
        ("on the premises", "", "3", 1),
    ]
    assert len(affected.batches) == 2


@pytest.mark.django_db
def test_a_bottle_that_came_back_is_on_the_premises(crew: make.Crew) -> None:
    potash, bottles = dispatched(crew)
    hands.moved(crew.maker, bottles[0], "returned", "unsold")
    places = {
        holder.place: holder.numbers
        for holder in recall_affected.affected_by(potash.stock).holders
        if 1 in holder.numbers or 2 in holder.numbers
    }
    assert places == {"on the premises": [1], "Corner Shop Lindqvist": [2]}


@pytest.mark.django_db
def test_opening_a_recall_freezes_lot_batches_and_bottles_at_once(
    crew: make.Crew,
) -> None:
    potash, bottles = dispatched(crew)
    recall = open_recall(crew, potash.stock)
    assert RawLot.objects.get(pk=potash.pk).status == "on_hold"
    assert set(Batch.objects.values_list("status", flat=True)) == {"on_hold"}
    assert [bottle.status for bottle in Bottle.objects.order_by("number")] == [
        "dispatched",  # what has left cannot be held, only asked back
        "dispatched",
        "on_hold",
        "on_hold",
    ]
    for bottle in bottles:
        assert recalling.recalls_of_bottle(bottle) == [recall]
    assert LotStatusChange.objects.filter(new="on_hold").count() == 1
    assert set(RecallItem.objects.values_list("stock", flat=True)) == {
        potash.pk,
        *Batch.objects.values_list("pk", flat=True),
    }
    entry = JournalEntry.objects.get(act="recall opened")
    assert entry.after_values["affected"] == 3
    assert entry.after_values["bottles_held"] == 2
    assert entry.after_values["lots_held"] == 1


@pytest.mark.django_db
def test_scenario_33_mock_recall_freezes_nothing(crew: make.Crew) -> None:
    potash, bottles = dispatched(crew)
    before = states()
    recall = open_recall(crew, potash.stock, is_mock=True, notice="")
    assert states() == before
    for bottle in bottles:
        assert recalling.recalls_of_bottle(bottle) == []
    # it finds the same as a real one
    assert RecallItem.objects.filter(recall=recall).count() == 3
    assert JournalEntry.objects.filter(act="mock recall opened").count() == 1
    # and stands in the way of nothing
    make.filled(crew, bottles[0].filling_lot.batch, count=1, nominal_ul=50_000)
    real = open_recall(crew, potash.stock)  # control
    assert states() != before
    assert recalling.recalls_of_bottle(bottles[0]) == [real]


@pytest.mark.django_db
def test_a_recall_from_a_batch_leaves_its_lots_and_other_batches_alone(
    crew: make.Crew,
) -> None:
    potash, bottles = dispatched(crew)
    other = make.released_paste(crew, sources={"potash": potash.stock})
    open_recall(crew, bottles[0].filling_lot.batch.stock)
    assert make.fresh(other).status == "released"
    assert RawLot.objects.get(pk=potash.pk).status == "released"
    assert Bottle.objects.filter(status="on_hold").count() == 2


@pytest.mark.django_db
def test_while_a_recall_is_open_nothing_it_reaches_is_freed(crew: make.Crew) -> None:
    potash, bottles = dispatched(crew)
    recall = open_recall(crew, potash.stock)
    batch = bottles[0].filling_lot.batch
    with pytest.raises(Refusal, match=f"open recall {recall.code}"):
        make.sign(crew.reviewer, batch, "unhold")
    with pytest.raises(Refusal):
        intake.decide_lot(
            by=crew.reviewer,
            lot=RawLot.objects.get(pk=potash.pk),
            new="released",
            reason="looks fine",
        )
    with pytest.raises(Refusal):
        hands.moved(
            crew.reviewer, Bottle.objects.get(pk=bottles[2].pk), "filled", "looks fine"
        )
    close(crew, recall)
    with pytest.raises(Refusal, match=f"{potash.code}.* is on hold"):
        make.sign(crew.reviewer, batch, "unhold")  # its lot comes first
    free(crew, potash)  # control
    assert set(Batch.objects.values_list("status", flat=True)) == {"released"}
    assert Bottle.objects.filter(status="filled").count() == 2


def close(crew: make.Crew, recall: Recall) -> None:
    """Tell everybody, then close."""
    hands.closed(crew, recall, "a false alarm")


def free(crew: make.Crew, lot: RawLot) -> None:
    """Free a lot after a recall, then what was made of it, in order of making."""
    intake.decide_lot(
        by=crew.reviewer,
        lot=RawLot.objects.get(pk=lot.pk),
        new="released",
        reason="a false alarm",
    )
    for batch in Batch.objects.filter(status="on_hold").order_by("pk"):
        make.sign(crew.reviewer, batch, "unhold")


@pytest.mark.django_db
def test_a_batch_that_awaits_review_is_not_released_under_an_open_recall(
    crew: make.Crew,
) -> None:
    potash = make.released_lot(crew, make.potash(crew.maker))
    batch = make.cooked_batch(crew, sources={"potash": potash.stock})
    recall = open_recall(crew, potash.stock)
    review = reviewing.review_of(batch, by=crew.reviewer)
    assert any(recall.code in sentence for sentence in review.obstacles)
    with pytest.raises(Refusal, match=f"open recall {recall.code}"):
        make.sign(crew.reviewer, batch)


@pytest.mark.django_db
def test_a_bottle_filled_after_the_recall_was_opened_is_warned_of_too(
    crew: make.Crew,
) -> None:
    potash, bottles = dispatched(crew)
    recall = open_recall(crew, potash.stock)
    close(crew, recall)
    free(crew, potash)
    batch = bottles[0].filling_lot.batch
    late = make.filled(crew, batch, count=1, nominal_ul=50_000)
    assert recalling.recalls_of_bottle(make.bottles_of(late)[0]) == [recall]


@pytest.mark.django_db
def test_a_recall_goes_on_step_by_step_with_what_was_done(crew: make.Crew) -> None:
    potash, _ = dispatched(crew)
    recall = open_recall(crew, potash.stock)
    with pytest.raises(Refusal) as refusal:
        recalling.advance(by=crew.reviewer, recall=recall, note=" ")
    assert refusal.value.field == "note"
    with pytest.raises(PermissionDenied):
        recalling.advance(by=crew.maker, recall=recall, note="told")
    recalling.advance(by=crew.reviewer, recall=recall, note="told the shop")
    assert Recall.objects.get().status == "notified"
    with pytest.raises(Refusal, match="with your password"):
        recalling.advance(by=crew.reviewer, recall=recall, note="all back")
    recall_closing.close(
        by=crew.reviewer,
        recall=recall,
        note="all back",
        password=make.PASSWORD,
        why_not="the shop has shut down",
    )
    closed = Recall.objects.get()
    assert closed.status == "closed"
    assert closed.closed_at is not None
    with pytest.raises(Conflict):
        recalling.advance(by=crew.reviewer, recall=closed, note="once more")
    assert [event.new for event in RecallEvent.objects.all()] == [
        "open",
        "notified",
        "closed",
    ]


@pytest.mark.django_db
@pytest.mark.parametrize("person", ["owner", "maker", "auditor"])
def test_only_a_reviewer_opens_a_recall(
    crew: make.Crew, request: pytest.FixtureRequest, person: str
) -> None:
    lot = make.held_lot(crew, make.water(crew.maker))
    by = request.getfixturevalue(person)
    with pytest.raises(PermissionDenied):
        open_recall(crew._replace(reviewer=by), lot.stock)
    assert not Recall.objects.exists()
    assert open_recall(crew, lot.stock)


@pytest.mark.django_db
@pytest.mark.parametrize(
    "facts", [{"reason": " "}, {"public_notice": ""}, {"hazard_class": "9"}]
)
def test_a_recall_says_why_how_bad_and_what_to_do(
    crew: make.Crew, facts: dict[str, Any]
) -> None:
    lot = make.held_lot(crew, make.water(crew.maker))
    usual: dict[str, Any] = {
        "reason": "soda",
        "public_notice": "Bring it.",
        "hazard_class": "2",
    }
    with pytest.raises((Refusal, ValidationError)):
        recalling.open_recall(by=crew.reviewer, root=lot.stock, **{**usual, **facts})
    assert not Recall.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_a_recall_two_people_move_on_at_once_moves_one_step(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.water(crew.maker))
    recall = open_recall(crew, lot.stock)
    results = while_uncommitted(
        *(
            functools.partial(
                recalling.advance, by=crew.reviewer, recall=seen, note="told"
            )
            for seen in (recall, Recall.objects.get())
        )
    )
    assert isinstance(results[0], Recall)
    assert isinstance(results[1], Conflict)
    assert Recall.objects.get().status == "notified"


def lot_and_batch(crew: make.Crew) -> tuple[Stock, Batch]:
    """Return a released lot and an open batch that wants it."""
    lot = make.released_lot(crew, make.water(crew.maker))
    return lot.stock, make.open_batch(crew)


def paste_and_dilution(crew: make.Crew) -> tuple[Stock, Batch]:
    """Return a released paste and an open dilution that wants it."""
    version = make.liquid_version(crew)
    return make.released_paste(crew).stock, make.open_batch(crew, version)


def reworkable_and_rework(crew: make.Crew) -> tuple[Stock, Batch]:
    """Return a rejected paste to be reworked and the batch opened for it."""
    paste = make.failed_paste(crew, "rework")
    return paste.stock, make.open_batch(crew, is_rework=True)


DRAWS = [lot_and_batch, paste_and_dilution, reworkable_and_rework]


def draw(crew: make.Crew, source: Stock, batch: Batch) -> Charge:
    return make.charge(crew, batch, source, 1000, is_rework=batch.is_rework)


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("stand", DRAWS[:2])
def test_what_a_recall_freezes_is_not_drawn_at_the_same_moment(
    crew: make.Crew, stand: Callable[[make.Crew], tuple[Stock, Batch]]
) -> None:
    source, batch = stand(crew)
    make.scale(crew.maker)
    results = while_uncommitted(
        lambda: open_recall(crew, source),
        lambda: draw(crew, source, batch),
    )
    assert isinstance(results[0], Recall)
    assert isinstance(results[1], Refusal)


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("stand", DRAWS)
def test_a_draw_that_was_under_way_is_found_by_the_recall(
    crew: make.Crew, stand: Callable[[make.Crew], tuple[Stock, Batch]]
) -> None:
    source, batch = stand(crew)
    make.scale(crew.maker)
    results = while_uncommitted(
        lambda: draw(crew, source, batch),
        lambda: open_recall(crew, source),
    )
    assert isinstance(results[0], Charge)
    assert isinstance(results[1], Recall)
    assert set(RecallItem.objects.values_list("stock", flat=True)) == {
        source.pk,
        batch.pk,
    }


@pytest.mark.django_db(transaction=True)
def test_a_lot_rejected_while_a_recall_opens_stays_rejected(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.water(crew.maker))
    intake.decide_lot(by=crew.reviewer, lot=lot, new="released", reason="fine")
    intake.decide_lot(by=crew.reviewer, lot=lot, new="on_hold", reason="damp")
    seen = RawLot.objects.get(pk=lot.pk)
    while_uncommitted(
        lambda: intake.decide_lot(
            by=crew.reviewer, lot=seen, new="rejected", reason="mould"
        ),
        lambda: open_recall(crew, lot.stock),
    )
    assert RawLot.objects.get(pk=lot.pk).status == "rejected"
    history = list(LotStatusChange.objects.values_list("old", "new"))
    assert history == [
        ("quarantine", "released"),
        ("released", "on_hold"),
        ("on_hold", "rejected"),
    ]


@pytest.mark.django_db
def test_the_list_takes_as_many_queries_for_two_bottles_as_for_forty(
    crew: make.Crew,
) -> None:
    counts = []
    for number in (2, 40):
        liquid = make.released_liquid(crew)
        make.filled(crew, liquid, count=number, nominal_ul=10_000)
        with CaptureQueriesContext(connection) as queries:
            assert recall_affected.affected_by(liquid.stock).bottle_count == number
        counts.append(len(queries))
    assert counts[0] == counts[1] <= 7


def test_numbers_are_told_as_ranges() -> None:
    assert in_words(spans([])) == ""
    assert in_words(spans([4])) == "4"
    assert in_words(spans([1, 2, 3, 7, 9, 10])) == "1–3, 7, 9–10"
