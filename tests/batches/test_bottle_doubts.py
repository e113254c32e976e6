"""A bottle found where the records say it cannot be."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from batches.lifecycle import BottleStatus
from batches.models import Bottle, BottleDiscrepancy, BottleEvent, FillingLot
from batches.services import bottle_doubts, label_counts
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, User
from tests import bottling, hands, leaving, make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db
Kind = BottleDiscrepancy.Kind


def reported(crew: make.Crew, bottle: Bottle, **changes: Any) -> BottleDiscrepancy:
    facts: dict[str, Any] = {
        "kind": Kind.DUPLICATE,
        "found": "one here, one at the market stall",
    }
    return bottle_doubts.report(by=crew.maker, bottle=bottle, **{**facts, **changes})


def spoiled(crew: make.Crew, lot: FillingLot) -> None:
    """Count the label that came off as spoiled."""
    label_counts.count_labels(by=crew.maker, filling_lot=lot, kind="spoiled", count=1)


def test_scenario_10_two_bottles_with_one_code_are_held_and_their_lot_stays(
    crew: make.Crew,
) -> None:
    first, second = make.bottles_of(make.filled(crew))
    doubt = reported(crew, first)
    first.refresh_from_db()
    assert first.status == BottleStatus.ON_HOLD
    assert bottle_doubts.open_doubts([second]) == [doubt]  # its sister has no code
    entry = JournalEntry.objects.latest("sequence")
    assert entry.subject_label == first.code
    assert '"bottles_held":1' in entry.after.replace(" ", "")


def test_scenario_10_the_database_cannot_hold_two(crew: make.Crew) -> None:
    lot = make.filled(crew)
    (first, *_) = make.bottles_of(lot)
    with pytest.raises(IntegrityError), transaction.atomic():
        Bottle.objects.create(filling_lot=lot, number=99, code=first.code)


@pytest.mark.parametrize("kind", [Kind.DUPLICATE, Kind.ELSEWHERE])
def test_what_came_back_and_is_in_doubt_is_held(crew: make.Crew, kind: str) -> None:
    (first, *_) = leaving.bottles(crew)
    hands.dispatched(crew, [first], make.consignee(crew.maker))
    hands.moved(crew.maker, first, "returned", "the shop closes")
    doubt = reported(crew, first, kind=kind)
    first.refresh_from_db()
    assert first.status == BottleStatus.ON_HOLD
    event = BottleEvent.objects.latest("pk")
    assert (event.old, event.new) == ("returned", "on_hold")
    assert event.reason == doubt.get_kind_display()
    assert JournalEntry.objects.latest("sequence").after_values["bottles_held"] == 1


def test_what_is_out_or_fetched_by_a_recall_is_not_held_by_a_doubt(
    crew: make.Crew,
) -> None:
    out, fetched = leaving.bottles(crew)
    hands.dispatched(crew, [out, fetched], make.consignee(crew.maker))
    hands.moved(crew.maker, fetched, "recovered", "asked back")
    for bottle, status in ((out, "dispatched"), (fetched, "recovered")):
        reported(crew, bottle)
        bottle.refresh_from_db()
        assert bottle.status == status
        written = JournalEntry.objects.latest("sequence").after_values
        assert written["bottles_held"] == 0


def test_a_double_is_settled_once_each_label_of_its_lot_is_accounted_for(
    crew: make.Crew,
) -> None:
    lot = leaving.filled(crew)
    first, second, *_ = make.bottles_of(lot)
    doubt = reported(crew, first)
    bottling.labels_issued(crew, lot, numbers=[second.number], reason="had its code")
    with pytest.raises(Refusal, match=f"labels of {lot.code} do not add up") as why:
        bottle_doubts.settle(by=crew.reviewer, doubt=doubt, reason="a misprint")
    assert "count it on the page of" in why.value.message
    assert list(bottle_doubts.still_open()) == [doubt]
    spoiled(crew, lot)
    bottle_doubts.settle(by=crew.reviewer, doubt=doubt, reason="a misprint")
    assert list(bottle_doubts.still_open()) == []


def test_what_concerns_one_bottle_is_settled_whatever_the_labels_of_its_lot(
    crew: make.Crew,
) -> None:
    lot = leaving.filled(crew)
    first, second, *_ = make.bottles_of(lot)
    doubt = reported(crew, first, kind=Kind.ELSEWHERE, found="in the barn")
    bottling.labels_issued(crew, lot, numbers=[second.number], reason="smeared")
    bottle_doubts.settle(by=crew.reviewer, doubt=doubt, reason="carried there")
    assert list(bottle_doubts.still_open()) == []


def test_where_no_bottle_can_leave_any_more_a_lost_label_keeps_no_doubt_open(
    crew: make.Crew,
) -> None:
    lot = leaving.filled(crew)
    first, second, *_ = make.bottles_of(lot)
    bottling.labels_issued(crew, lot, numbers=[second.number], reason="smeared")
    doubt = reported(crew, first)
    hands.moved(crew.reviewer, first, "destroyed", "a misprint")
    with pytest.raises(Refusal, match="do not add up"):
        bottle_doubts.settle(by=crew.reviewer, doubt=doubt, reason="destroyed")
    for bottle in lot.bottles.filter(status="filled"):
        hands.moved(crew.maker, bottle, "destroyed", "nobody knows which is which")
    bottle_doubts.settle(by=crew.reviewer, doubt=doubt, reason="all are destroyed")
    assert list(bottle_doubts.still_open()) == []


def test_the_page_that_settles_a_double_says_how_its_labels_stand(
    crew: make.Crew, client: Client
) -> None:
    lot = leaving.filled(crew)
    first, second, *_ = make.bottles_of(lot)
    client.force_login(crew.reviewer)
    double = reported(crew, first)
    bottling.labels_issued(crew, lot, numbers=[second.number], reason="had its code")
    page = reverse("quality:bottle_doubt_settle", args=[double.pk])
    shown = page_of(client.get(page)).words
    assert "labels is not accounted for" in shown
    given = {"submission": uuid.uuid4(), "reason": "a misprint"}
    told = page_of(client.post(page, given)).words
    assert f"The labels of {lot.code} do not add up" in told
    elsewhere = reported(crew, second, kind=Kind.ELSEWHERE, found="in the barn")
    page = reverse("quality:bottle_doubt_settle", args=[elsewhere.pk])
    shown = page_of(client.get(page)).words
    assert "accounted for" not in shown
    assert "what was done about it" in shown


def test_what_is_elsewhere_concerns_that_bottle_alone(crew: make.Crew) -> None:
    first, second = make.bottles_of(make.filled(crew))
    doubt = reported(crew, first, kind=Kind.ELSEWHERE, found="in the neighbour's barn")
    assert bottle_doubts.open_doubts([first]) == [doubt]
    assert bottle_doubts.open_doubts([second]) == []


def test_another_filling_lot_is_not_touched(crew: make.Crew) -> None:
    batch = make.released_liquid(crew)
    (first, *_) = make.bottles_of(make.filled(crew, batch, count=1))
    (other, *_) = make.bottles_of(make.filled(crew, batch, count=1))
    reported(crew, first)
    assert bottle_doubts.open_doubts([other]) == []


def test_a_bottle_that_is_not_destroyed_may_well_exist(crew: make.Crew) -> None:
    (first, *_) = make.bottles_of(make.filled(crew))
    with pytest.raises(Refusal, match="not destroyed"):
        reported(crew, first, kind=Kind.SHOULD_NOT_EXIST)
    assert not BottleDiscrepancy.objects.exists()


def test_a_destroyed_bottle_that_turns_up_is_reported(crew: make.Crew) -> None:
    (first, *_) = make.bottles_of(make.filled(crew))
    hands.moved(crew.maker, first, BottleStatus.DESTROYED, "it leaked")
    doubt = reported(crew, first, kind=Kind.SHOULD_NOT_EXIST, found="on a shelf")
    assert list(bottle_doubts.still_open()) == [doubt]


def test_only_a_reviewer_settles_it_and_the_bottle_stays_held(crew: make.Crew) -> None:
    (first, *_) = make.bottles_of(make.filled(crew))
    doubt = reported(crew, first)
    with pytest.raises(PermissionDenied):
        bottle_doubts.settle(by=crew.maker, doubt=doubt, reason="a copied label")
    bottle_doubts.settle(by=crew.reviewer, doubt=doubt, reason="a copied label")
    first.refresh_from_db()
    assert first.status == BottleStatus.ON_HOLD
    assert bottle_doubts.open_doubts([first]) == []
    with pytest.raises(Conflict, match="settled"):
        bottle_doubts.settle(by=crew.reviewer, doubt=doubt, reason="once more")


def test_whoever_only_reads_reports_nothing(crew: make.Crew, auditor: User) -> None:
    (first, *_) = make.bottles_of(make.filled(crew))
    with pytest.raises(PermissionDenied):
        bottle_doubts.report(
            by=auditor, bottle=first, kind=Kind.DUPLICATE, found="twice"
        )
