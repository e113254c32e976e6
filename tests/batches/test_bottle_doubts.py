"""A bottle found where the records say it cannot be."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction

from batches.lifecycle import BottleStatus
from batches.models import Bottle, BottleDiscrepancy
from batches.services import bottle_doubts, filling
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, User
from tests import make

pytestmark = pytest.mark.django_db
Kind = BottleDiscrepancy.Kind


def reported(crew: make.Crew, bottle: Bottle, **changes: Any) -> BottleDiscrepancy:
    facts: dict[str, Any] = {
        "kind": Kind.DUPLICATE,
        "found": "one here, one at the market stall",
    }
    return bottle_doubts.report(by=crew.maker, bottle=bottle, **{**facts, **changes})


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
    filling.move_bottle(
        by=crew.maker, bottle=first, new=BottleStatus.DESTROYED, reason="it leaked"
    )
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


def test_whoever_only_reads_reports_nothing(crew: make.Crew) -> None:
    (first, *_) = make.bottles_of(make.filled(crew))
    auditor = make.account(by=User.objects.get(pk=1), name="Aune", rights=["auditor"])
    with pytest.raises(PermissionDenied):
        bottle_doubts.report(
            by=auditor, bottle=first, kind=Kind.DUPLICATE, found="twice"
        )
