"""What the acts of a small premises make is valid by the published schema, too."""

from __future__ import annotations

import json
from typing import Any

import jsonschema
import pytest

from batches.models import Batch
from producer.published import epcis_schema
from quality.services import tracking_events
from tests import make
from tests.batches.test_discrepancies import emptied_lot, kept
from tests.quality import eventful
from tests.quality.test_tracking_books import Drawn
from tests.quality.test_tracking_events import many

pytestmark = [pytest.mark.django_db, pytest.mark.published]


def complaints() -> list[str]:
    validator = jsonschema.Draft7Validator(
        json.loads(epcis_schema().read_text("utf-8")),
        format_checker=jsonschema.Draft7Validator.FORMAT_CHECKER,
    )
    document = json.loads("".join(tracking_events.document(tracking_events.Scope())))
    return [error.message[:200] for error in validator.iter_errors(document)]


def kinds() -> set[tuple[str, str, str]]:
    return {
        (event["type"], event["bizStep"], event["disposition"])
        for event in tracking_events.events(tracking_events.Scope())
    }


def test_everything_that_can_become_of_a_bottle_is_valid(crew: make.Crew) -> None:
    eventful.premises(crew)
    kept(crew, Batch.objects.order_by("pk")[0], emptied_lot(crew))
    moved: Any = {step[1:] for step in kinds() if step[0] == "ObjectEvent"}
    assert moved >= {
        ("shipping", "in_transit"),
        ("receiving", "returned"),
        ("receiving", "recalled"),
        ("holding", "recalled"),
        ("holding", "non_sellable_other"),
        ("storing", "active"),
        ("destroying", "destroyed"),
    }
    assert complaints() == []


@pytest.mark.parametrize("seed", range(3))
def test_small_books_are_valid(crew: make.Crew, seed: int) -> None:
    Drawn(crew, seed)
    assert complaints() == []


def test_a_filling_in_several_events_is_valid(crew: make.Crew) -> None:
    many(crew, 1005)
    assert complaints() == []
