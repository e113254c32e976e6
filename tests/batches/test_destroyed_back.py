"""A bottle recorded as destroyed by mistake is here again, and looked at first."""

from __future__ import annotations

import uuid
from collections.abc import Callable

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import (
    Bottle,
    BottleDiscrepancy,
    BottleDiscrepancyEnd,
    BottleEvent,
    DestructionTakenBack,
)
from batches.services import bottle_doubts, samples
from producer.errors import Refusal
from producer.models import JournalEntry, User
from quality.services.export_tables import TABLES
from quality.services.recall_holders import holders_of
from quality.services.verification import states, taken_back
from tests import hands, leaving, make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db
Kind = BottleDiscrepancy.Kind
WHY = "the crate beside it was emptied, this one was overlooked"


def destroyed(crew: make.Crew) -> Bottle:
    """Record the first of two bottles as destroyed."""
    (first, *_) = leaving.bottles(crew)
    return hands.moved(crew.maker, first, "destroyed", "leaks")


def found(
    crew: make.Crew, bottle: Bottle, kind: str = Kind.SHOULD_NOT_EXIST
) -> BottleDiscrepancy:
    return bottle_doubts.report(
        by=crew.maker, bottle=bottle, kind=kind, found="behind the shelf, full"
    )


def back(by: User, doubt: BottleDiscrepancy) -> BottleDiscrepancyEnd:
    return bottle_doubts.settle(by=by, doubt=doubt, reason=WHY, never_destroyed=True)


def status(bottle: Bottle) -> str:
    return Bottle.objects.get(pk=bottle.pk).status


def faults() -> list[str]:
    return [*taken_back.faults(), *states.status_faults()]


def test_it_is_on_hold_and_its_history_keeps_both(crew: make.Crew) -> None:
    bottle = destroyed(crew)
    gone = BottleEvent.objects.latest("pk")
    back(crew.reviewer, found(crew, bottle))
    assert status(bottle) == "on_hold"
    event = BottleEvent.objects.latest("pk")
    assert (event.old, event.new) == ("destroyed", "on_hold")
    assert event.reason == f"Found, never destroyed: {WHY}"
    assert DestructionTakenBack.objects.get().event == gone
    entry = JournalEntry.objects.latest("sequence")
    assert entry.act == "doubt about a bottle settled"
    assert entry.after_values["status"] == "on_hold"
    assert faults() == []


def test_a_reviewer_then_puts_it_back_to_stock_and_it_may_leave(
    crew: make.Crew,
) -> None:
    bottle = destroyed(crew)
    back(crew.reviewer, found(crew, bottle))
    with pytest.raises((Refusal, PermissionDenied)):
        hands.moved(crew.maker, bottle, "filled", "it is whole")
    hands.moved(crew.reviewer, bottle, "filled", "it is whole")
    hands.dispatched(crew, [bottle], make.consignee(crew.maker))
    assert status(bottle) == "dispatched"
    assert faults() == []


def test_destroyed_again_and_found_again_is_two_rows(crew: make.Crew) -> None:
    bottle = destroyed(crew)
    back(crew.reviewer, found(crew, bottle))
    hands.moved(crew.reviewer, bottle, "destroyed", "leaks after all")
    back(crew.reviewer, found(crew, bottle))
    assert status(bottle) == "on_hold"
    assert DestructionTakenBack.objects.count() == 2
    assert faults() == []


def test_settled_without_it_the_bottle_stays_destroyed(crew: make.Crew) -> None:
    bottle = destroyed(crew)
    bottle_doubts.settle(
        by=crew.reviewer, doubt=found(crew, bottle), reason="an old label"
    )
    assert status(bottle) == "destroyed"
    assert not DestructionTakenBack.objects.exists()
    assert "status" not in JournalEntry.objects.latest("sequence").after_values


def test_only_a_reviewer_takes_it_back_and_only_with_a_reason(
    crew: make.Crew,
) -> None:
    doubt = found(crew, destroyed(crew))
    with pytest.raises(PermissionDenied):
        back(crew.maker, doubt)
    with pytest.raises(Refusal, match="Say why"):
        bottle_doubts.settle(
            by=crew.reviewer, doubt=doubt, reason=" ", never_destroyed=True
        )
    with pytest.raises(IntegrityError), transaction.atomic():
        DestructionTakenBack.objects.create(
            event=BottleEvent.objects.latest("pk"),
            reason="",
            observed_at=timezone.now(),
            entered_by=crew.reviewer,
        )
    assert status(doubt.bottle) == "destroyed"


def test_another_doubt_brings_no_bottle_back(crew: make.Crew) -> None:
    doubt = found(crew, destroyed(crew), Kind.ELSEWHERE)
    with pytest.raises(Refusal, match="another kind: not where the records") as why:
        back(crew.reviewer, doubt)
    assert why.value.field == "never_destroyed"
    assert status(doubt.bottle) == "destroyed"
    assert list(bottle_doubts.still_open()) == [doubt]


def test_of_two_reports_of_one_bottle_the_second_is_settled_without_it(
    crew: make.Crew,
) -> None:
    bottle = destroyed(crew)
    first, second = found(crew, bottle), found(crew, bottle)
    back(crew.reviewer, first)
    with pytest.raises(Refusal, match="is on hold by now, not destroyed"):
        back(crew.reviewer, second)
    assert DestructionTakenBack.objects.count() == 1


def test_a_kept_sample_is_a_sample_again_and_never_leaves(crew: make.Crew) -> None:
    (first, *_) = leaving.bottles(crew)
    samples.retain(
        by=crew.maker,
        filling_lot=first.filling_lot,
        bottle=first,
        place=hands.place(crew),
    )
    hands.moved(crew.maker, first, "destroyed", "broke")
    back(crew.reviewer, found(crew, first))
    assert status(first) == "retained"
    with pytest.raises(Refusal, match="cannot become filled"):
        hands.moved(crew.reviewer, first, "filled", "x")
    assert faults() == []


def test_what_a_recall_fetched_is_fetched_again_and_never_leaves(
    crew: make.Crew,
) -> None:
    (first, *_) = leaving.bottles(crew)
    hands.dispatched(crew, [first], make.consignee(crew.maker))
    hands.recall(crew, first.filling_lot.batch.stock)
    hands.moved(crew.maker, first, "recovered", "asked back")
    hands.moved(crew.maker, first, "destroyed", "poured away")
    back(crew.reviewer, found(crew, first))
    assert status(first) == "recovered"
    with pytest.raises(Refusal, match="cannot become filled"):
        hands.moved(crew.reviewer, first, "filled", "x", inspection="whole")
    assert faults() == []


def test_one_that_was_out_is_looked_at_before_it_goes_to_stock(
    crew: make.Crew,
) -> None:
    (first, *_) = leaving.bottles(crew)
    shop = make.consignee(crew.maker)
    hands.dispatched(crew, [first], shop)
    recall = hands.recall(crew, first.filling_lot.batch.stock)
    hands.moved(crew.maker, first, "destroyed", "they say it broke")
    (holder,) = holders_of(recall)
    assert (holder.destroyed, holder.back) == (1, 0)
    back(crew.reviewer, found(crew, first))
    assert Bottle.objects.get(pk=first.pk).consignee == shop
    (holder,) = holders_of(recall)
    assert (holder.destroyed, holder.back) == (0, 1)
    with pytest.raises(Refusal, match="Look at it"):
        hands.moved(crew.reviewer, first, "filled", "x")
    assert faults() == []


def test_the_page_asks_whether_it_was_a_mistake_and_the_bottle_says_so(
    crew: make.Crew, client: Client
) -> None:
    bottle = destroyed(crew)
    home = reverse("quality:bottle", args=[bottle.code])
    client.force_login(crew.maker)
    assert "can take back that it was destroyed" in page_of(client.get(home)).words
    doubt = found(crew, bottle)
    client.force_login(crew.reviewer)
    page = reverse("quality:bottle_doubt_settle", args=[doubt.pk])
    assert page in str(client.get(home).content)
    assert "It was never destroyed" in page_of(client.get(page)).words
    given = {"submission": str(uuid.uuid4()), "reason": WHY, "never_destroyed": "on"}
    shown = page_of(client.post(page, given, follow=True)).words
    assert status(bottle) == "on_hold"
    assert f"by mistake; taken back by {crew.reviewer.person.name}" in shown
    assert f"Found, never destroyed: {WHY}" in shown


def test_of_another_doubt_the_page_does_not_ask_it(
    crew: make.Crew, client: Client
) -> None:
    (first, *_) = leaving.bottles(crew)
    doubt = found(crew, first, Kind.DUPLICATE)
    client.force_login(crew.reviewer)
    page = reverse("quality:bottle_doubt_settle", args=[doubt.pk])
    assert "never destroyed" not in page_of(client.get(page)).words


def test_the_export_has_it(crew: make.Crew) -> None:
    bottle = destroyed(crew)
    back(crew.reviewer, found(crew, bottle))
    (table,) = (one for one in TABLES if one.name == "destructions_taken_back")
    (cells,) = table.rows(bottle.filling_lot.batch)
    row = dict(zip(table.head, cells, strict=True))
    assert row["bottle"] == bottle.code
    assert row["destroyed_because"] == "leaks"
    assert row["taken_back_because"] == WHY
    assert row["destroyed_by"] == crew.maker.person.name
    assert row["entered_by"] == crew.reviewer.person.name


def here_by_hand(crew: make.Crew, bottle: Bottle) -> str:
    BottleEvent.objects.create(
        bottle=bottle,
        old="destroyed",
        new="on_hold",
        observed_at=timezone.now(),
        entered_by=crew.reviewer,
    )
    return f"Bottle {bottle.code} is on hold after it was destroyed, and that was not"


def said_by_hand(crew: make.Crew, bottle: Bottle) -> str:
    DestructionTakenBack.objects.create(
        event=BottleEvent.objects.filter(bottle=bottle).latest("pk"),
        reason="x",
        observed_at=timezone.now(),
        entered_by=crew.reviewer,
    )
    return f"Bottle {bottle.code} was recorded as found, never destroyed, and no move"


@pytest.mark.parametrize("hand", [here_by_hand, said_by_hand])
def test_verify_finds_what_came_back_in_another_way(
    crew: make.Crew, hand: Callable[[make.Crew, Bottle], str]
) -> None:
    bottle = destroyed(crew)
    assert list(taken_back.faults()) == []
    expected = hand(crew, bottle)
    (fault,) = taken_back.faults()
    assert expected in fault
