"""Every document is valid by the JSON schema that GS1 has published for EPCIS 2.0.

The schema comes from the npm package that ``producer/published.py`` names; it calls
itself https://gs1.github.io/EPCIS/EPCIS-JSON-Schema.json.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from pytest_django import DjangoDbBlocker, Settings

from producer.models import Stock
from producer.published import epcis_schema
from quality.services import tracking_events
from tests.quality.told import told

pytestmark = pytest.mark.published

Document = dict[str, Any]


@pytest.fixture(scope="module")
def validator() -> Any:
    return schema_validator()


def schema_validator() -> Any:
    schema = json.loads(epcis_schema().read_text("utf-8"))
    assert schema["$id"] == "https://gs1.github.io/EPCIS/EPCIS-JSON-Schema.json"
    jsonschema.Draft7Validator.check_schema(schema)
    return jsonschema.Draft7Validator(
        schema, format_checker=jsonschema.Draft7Validator.FORMAT_CHECKER
    )


@pytest.fixture(scope="module")
def directory(
    django_db_setup: None,
    django_db_blocker: DjangoDbBlocker,
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[Path]:
    directory = tmp_path_factory.mktemp("story")
    with told(django_db_blocker, directory):
        yield directory


@pytest.fixture(autouse=True)
def _its_files(directory: Path, settings: Settings) -> None:
    settings.MEDIA_ROOT = directory / "uploads"


def document_of(scope: tracking_events.Scope) -> Document:
    made: Document = json.loads("".join(tracking_events.document(scope)))
    return made


@pytest.fixture(scope="module")
def history(directory: Path) -> Document:
    return document_of(tracking_events.Scope())


def complaints(validator: Any, document: Document) -> list[str]:
    return [error.message[:200] for error in validator.iter_errors(document)]


def test_the_whole_history_is_valid(validator: Any, history: Document) -> None:
    events = history["epcisBody"]["eventList"]
    assert {event["type"] for event in events} == {"ObjectEvent", "TransformationEvent"}
    steps = {event["bizStep"] for event in events}
    assert steps >= {
        "receiving",
        "creating_class_instance",
        "commissioning",
        "inspecting",
        "holding",
        "storing",
        "shipping",
        "destroying",
    }
    assert any("errorDeclaration" in event for event in events)
    assert complaints(validator, history) == []


def test_the_file_of_each_lot_and_batch_is_valid(validator: Any) -> None:
    for root in Stock.objects.all():
        found = document_of(tracking_events.of_stock(root))
        assert complaints(validator, found) == []


def _first(document: Document, **wanted: object) -> Document:
    found: Document = next(
        event
        for event in document["epcisBody"]["eventList"]
        if all(event.get(name) == value for name, value in wanted.items())
    )
    return found


def _set(name: str, value: object, **wanted: object) -> Callable[[Document], None]:
    return lambda document: _first(document, **wanted).update({name: value})


def _without(name: str, **wanted: object) -> Callable[[Document], None]:
    def change(document: Document) -> None:
        del _first(document, **wanted)[name]

    return change


def _declaration(document: Document) -> Document:
    found: Document = next(
        event["errorDeclaration"]
        for event in document["epcisBody"]["eventList"]
        if "errorDeclaration" in event
    )
    return found


MADE = {"type": "TransformationEvent"}
SENT = {"bizStep": "shipping"}
BROKEN: dict[str, Callable[[Document], None]] = {
    "no context": lambda document: document.pop("@context"),
    "no creation date": lambda document: document.pop("creationDate"),
    "a creation date that is a day": lambda d: d.update(creationDate="2026-11-26"),
    "a word of nobody's in the document": lambda d: d.update(maker="Mirja"),
    "no list of events": lambda document: document["epcisBody"].pop("eventList"),
    "a time without an offset": _set("eventTime", "2026-03-01T12:00:00"),
    "a time that is no time": _set("eventTime", "2026-02-30T12:00:00+01:00"),
    "no time": _without("eventTime"),
    "no offset": _without("eventTimeZoneOffset"),
    "an offset in words": _set("eventTimeZoneOffset", "CET"),
    "an offset of 15 hours": _set("eventTimeZoneOffset", "+15:00"),
    "an event id that is no URI": _set("eventID", "charge 12"),
    "an action of our own": _set("action", "MOVE", **SENT),
    "no action": _without("action", **SENT),
    "a step that the vocabulary has not": _set("bizStep", "cooking", **MADE),
    "a state that the vocabulary has not": _set("disposition", "good", **MADE),
    "a mass as text": _set(
        "inputQuantityList",
        [{"epcClass": "urn:x:1", "quantity": "1.5 kg", "uom": "KGM"}],
        **MADE,
    ),
    "a unit in small letters": _set(
        "inputQuantityList",
        [{"epcClass": "urn:x:1", "quantity": 1.5, "uom": "kg"}],
        **MADE,
    ),
    "an input that is of nothing": _set("inputQuantityList", [{"quantity": 1}], **MADE),
    "an input alone, of no transformation": _without("transformationID", **MADE),
    "a bottle twice": _set("epcList", ["urn:x:1", "urn:x:1"], **SENT),
    "a bottle that is no URI": _set("epcList", ["ABCD EFGH"], **SENT),
    "no bottles": _without("epcList", **SENT),
    "a lot's data where nothing begins": _set(
        "ilmd", {"cbvmda:lotNumber": "1"}, **SENT
    ),
    "a word of ours without a prefix": _set("material", "oil", **SENT),
    "a party of no kind": _set(
        "destinationList", [{"type": "buyer", "destination": "urn:x:1"}], **SENT
    ),
    "a destination with a name": _set(
        "destinationList",
        [{"type": "possessing_party", "destination": "urn:x:1", "name": "Anna"}],
        **SENT,
    ),
    "a paper of no kind": _set(
        "bizTransactionList", [{"type": "note", "bizTransaction": "urn:x:1"}], **SENT
    ),
    "a declaration without a time": lambda d: _declaration(d).pop("declarationTime"),
    "a declaration for a reason of ours": lambda d: _declaration(d).update(
        reason="slip"
    ),
    "a declaration that names no event": lambda d: _declaration(d).update(
        correctiveEventIDs=["the other one"]
    ),
}


@pytest.mark.parametrize("change", BROKEN.values(), ids=BROKEN.keys())
def test_what_is_broken_is_refused(
    validator: Any, history: Document, change: Callable[[Document], None]
) -> None:
    broken = copy.deepcopy(history)
    change(broken)
    assert broken != history
    assert complaints(validator, broken) != []
