"""A recall as events: found, cleared by a later look, found again."""

from __future__ import annotations

import datetime
import json

import jsonschema
import pytest
from django.utils import timezone

from producer.published import epcis_schema
from quality.epcis.reading import read
from quality.epcis.shapes import Event
from quality.models import Recall, RecallChange, RecallRevision, RecallRoot
from quality.services import recall_revising, tracking_events
from quality.services.tracking_events import Scope
from tests import hands, make
from tests.quality import tracked
from tests.quality.test_recall_revising import look, look_away

pytestmark = pytest.mark.django_db

RECALLED = ("holding", "recalled")
NAMES = tracked.NAMES
EVER = Scope()


@pytest.fixture
def recall(crew: make.Crew) -> Recall:
    """Return a recall of what was filled in a time, of one filling lot."""
    make.filled(crew, make.released_liquid(crew), count=2, nominal_ul=100_000)
    return hands.of_a_time(crew, during="filled")


def root_of(recall: Recall) -> RecallRoot:
    return RecallRoot.objects.get(recall=recall)


def told_of(root: RecallRoot, scope: Scope = EVER) -> list[Event]:
    """Return what is told of a filling lot's recall, in turn."""
    assert root.filling_lot is not None
    name = NAMES.filling_lot(root.filling_lot.code)
    return [
        event
        for event in tracking_events.events(scope)
        if event.get("disposition") == "recalled"
        and [one["epcClass"] for one in event.get("quantityList", ())] == [name]
    ]


def is_recalled(root: RecallRoot) -> bool:
    """Say whether a reader of the document takes it for recalled."""
    assert root.filling_lot is not None
    graph = read("".join(tracking_events.document(EVER)))
    return graph.lots.get(NAMES.filling_lot(root.filling_lot.code)) == RECALLED


def test_what_a_look_found_first_is_one_event(crew: make.Crew, recall: Recall) -> None:
    root = root_of(recall)
    (found,) = told_of(root)
    revision = RecallRevision.objects.create(
        recall=recall,
        note="found by it",
        facts={},
        observed_at=timezone.now(),
        entered_by=crew.reviewer,
    )
    RecallChange.objects.create(revision=revision, root=root, is_affected=True)
    assert told_of(root) == [found]
    assert is_recalled(root)


def test_what_a_later_look_cleared_is_declared_wrong_since_then(
    recall: Recall,
) -> None:
    root = root_of(recall)
    (found,) = told_of(root)
    look_away(recall, root)
    again, wrong = told_of(root)
    assert again == found  # an event for others never changes
    revision = RecallRevision.objects.get()
    at = revision.observed_at.astimezone(datetime.UTC)
    assert wrong["eventID"] == found["eventID"]
    said = wrong["errorDeclaration"]
    assert said["reason"] == "incorrect_data"
    assert datetime.datetime.fromisoformat(said["declarationTime"]) == at
    assert not is_recalled(root)


def test_found_again_it_has_an_event_of_its_own_and_may_be_cleared_again(
    crew: make.Crew, recall: Recall
) -> None:
    root = root_of(recall)
    look_away(recall, root)
    assert recall_revising.drift_of(recall).new_roots
    look(crew, recall, "it was filled in that time after all")
    first, wrong, anew = told_of(root)
    assert "errorDeclaration" not in anew
    assert anew["eventID"] not in {first["eventID"], wrong["eventID"]}
    assert anew["bizTransactionList"] == first["bizTransactionList"]
    assert is_recalled(root)
    look_away(recall, root)
    *three, wrong_again = told_of(root)
    assert three == [first, wrong, anew]
    assert wrong_again["eventID"] == anew["eventID"]
    assert not is_recalled(root)


def test_of_the_day_on_which_it_was_cleared_both_are_told_once(
    crew: make.Crew, recall: Recall
) -> None:
    root = root_of(recall)
    day = timezone.now() + datetime.timedelta(days=9)
    for affected in (False, True, False):
        revision = RecallRevision.objects.create(
            recall=recall,
            note="looked at again",
            facts={},
            observed_at=day,
            entered_by=crew.reviewer,
        )
        RecallChange.objects.create(revision=revision, root=root, is_affected=affected)
    hours = datetime.timedelta(hours=1)
    scope = Scope(start=day - hours, end=day + hours)
    assert len(told_of(root, scope)) == 4
    scope = Scope(start=day + hours, end=day + 2 * hours)
    assert told_of(root, scope) == []


@pytest.mark.published
def test_cleared_and_found_again_is_valid(crew: make.Crew, recall: Recall) -> None:
    root = root_of(recall)
    look_away(recall, root)
    look(crew, recall, "after all")
    look_away(recall, root)
    assert len(told_of(root)) == 4
    validator = jsonschema.Draft7Validator(
        json.loads(epcis_schema().read_text("utf-8")),
        format_checker=jsonschema.Draft7Validator.FORMAT_CHECKER,
    )
    document = json.loads("".join(tracking_events.document(EVER)))
    assert [error.message[:200] for error in validator.iter_errors(document)] == []
