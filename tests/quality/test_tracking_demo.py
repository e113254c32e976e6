"""The demo's whole history, written as EPCIS events, read back into the same graph."""

from __future__ import annotations

import datetime
import json
from collections import Counter
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from pytest_django import DjangoDbBlocker, Settings

from batches import trace
from batches.models import Batch, Charge, FillingLot
from producer.models import (
    Consignee,
    Person,
    Premises,
    RawLot,
    Stock,
    StockMovement,
    Supplier,
)
from quality.epcis.reading import Graph, Unreadable, read
from quality.services import tracking_events
from tests.quality import tracked
from tests.quality.told import told

NAMES = tracked.NAMES
EVER = tracking_events.Scope()


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


def text_of(scope: tracking_events.Scope) -> str:
    return "".join(tracking_events.document(scope))


def events_of(scope: tracking_events.Scope) -> list[dict[str, Any]]:
    events: list[dict[str, Any]] = json.loads(text_of(scope))["epcisBody"]["eventList"]
    return events


def test_the_whole_history_comes_back_as_the_same_graph() -> None:
    graph = read(text_of(EVER))
    assert len(graph.edges) > 50
    assert graph.edges == {**tracked.edges_of(), **tracked.fillings_of()}
    assert graph.bottles == tracked.bottles_of()
    assert graph.made == tracked.made_of()
    assert graph.received == tracked.moved(StockMovement.Kind.RECEIPT)
    assert graph.destroyed == tracked.moved(StockMovement.Kind.DISPOSAL)


def test_every_lot_and_batch_leads_to_what_the_trace_finds() -> None:
    graph = read(text_of(EVER))
    names = tracked.stock_names()
    lots = {
        NAMES.filling_lot(lot.code): lot.batch_id for lot in FillingLot.objects.all()
    }
    for pk, name in names.items():
        back = {names[one] for one in trace.upstream_ids(pk)}
        on = {names[one] for one in trace.downstream_ids(pk)}
        assert graph.back(name) == back
        reached = graph.on(name)
        assert reached & set(names.values()) == on
        found = {
            code for code, one in graph.bottles.items() if one.filling_lot in reached
        }
        assert found == {NAMES.bottle(b.code) for b in trace.bottles_from(pk)}
        assert {lots[one] for one in reached & lots.keys()} == {
            batch for batch in lots.values() if names[batch] in on
        }


def test_a_bottle_leads_back_to_all_that_is_in_it() -> None:
    graph = read(text_of(EVER))
    names = tracked.stock_names()
    for lot in FillingLot.objects.all():
        bottle = lot.bottles.first()
        assert bottle
        back = {names[pk] for pk in trace.upstream_of_bottle(bottle.code)}
        assert graph.back(NAMES.bottle(bottle.code)) == back | {
            NAMES.filling_lot(lot.code)
        }


def of_scope(root: Stock) -> Graph:
    return read(text_of(tracking_events.of_stock(root)))


def test_the_file_of_a_lot_or_batch_is_its_trace_both_ways() -> None:
    names = tracked.stock_names()
    told = 0
    for root in Stock.objects.all():
        back, on = trace.trace(root), trace.track(root)
        graph = of_scope(root)
        stocks = {
            one.pk for found in (back, on) for one in (*found.lots, *found.batches)
        }
        batches = {*back.batch_ids, *on.batch_ids}
        wanted = {
            (names[source], names[into]): mass_mg
            for source, into, mass_mg in (*back.edges, *on.edges)
        }
        assert wanted.items() <= graph.edges.items()
        # Of each batch in it all that went in, so that no transformation is halved.
        assert graph.edges == {
            **tracked.edges_of(batches),
            **tracked.fillings_of(on.batch_ids),
        }
        assert graph.bottles == tracked.bottles_of(on.batch_ids)
        assert graph.received == tracked.moved(StockMovement.Kind.RECEIPT, stocks)
        assert graph.made == tracked.made_of(batches)
        told += len(wanted)
    assert told > 200


def test_the_days_of_the_history_together_are_the_history() -> None:
    """Every event is in the file of its day; a declaration also in that of its own."""
    zone = Premises.objects.get().zone
    everything = events_of(EVER)
    days = sorted(
        {
            datetime.datetime.fromisoformat(event["eventTime"]).astimezone(zone).date()
            for event in everything
        }
    )
    first, middle, last = days[0], days[len(days) // 2], days[-1]
    after = middle + datetime.timedelta(days=1)
    halves = events_of(tracking_events.between(first, middle)) + events_of(
        tracking_events.between(after, last)
    )
    whole = Counter(map(json.dumps, everything))
    found = Counter(map(json.dumps, halves))
    assert set(found) == set(whole)
    twice = [json.loads(text) for text, count in (found - whole).items()]
    names = {event["eventID"] for event in everything if "errorDeclaration" in event}
    assert {event["eventID"] for event in twice} <= names


def test_a_day_has_what_happened_on_it_by_the_clock_there() -> None:
    zone = Premises.objects.get().zone
    for event in events_of(EVER)[::25]:
        at = datetime.datetime.fromisoformat(event["eventTime"])
        day = at.astimezone(zone).date()
        assert event in events_of(tracking_events.between(day, day))
        assert event["eventTimeZoneOffset"] == event["eventTime"][-6:]


def test_the_same_file_twice_is_the_same_bytes() -> None:
    assert text_of(EVER) == text_of(EVER)
    root = RawLot.objects.order_by("pk")[0].stock
    scope = tracking_events.of_stock(root)
    assert text_of(scope) == text_of(scope)


def test_an_event_is_the_same_in_every_file_that_has_it() -> None:
    known = {(e["eventID"], "errorDeclaration" in e): e for e in events_of(EVER)}
    assert len(known) == len(events_of(EVER))
    seen = 0
    for root in Stock.objects.all():
        for event in events_of(tracking_events.of_stock(root)):
            assert known[event["eventID"], "errorDeclaration" in event] == event
            seen += 1
    assert seen > len(known)


def test_a_file_names_nobody() -> None:
    text = text_of(EVER)
    names = [
        *Consignee.objects.values_list("name", flat=True),
        *Consignee.objects.exclude(phone="").values_list("phone", flat=True),
        *Consignee.objects.exclude(email="").values_list("email", flat=True),
        *Supplier.objects.values_list("name", flat=True),
        *Person.objects.values_list("name", flat=True),
    ]
    assert len(names) > 10
    assert [name for name in names if name in text] == []


def test_a_corrected_charge_is_declared_wrong_and_names_what_stands_for_it() -> None:
    events = events_of(EVER)
    corrected = Charge.objects.filter(superseded_by__isnull=False, is_void=False)
    assert corrected.exists()
    for charge in corrected.select_related("superseded_by"):
        name = NAMES.event("charge", charge.pk)
        original, declaration = (one for one in events if one["eventID"] == name)
        said = declaration.pop("errorDeclaration")
        new = charge.superseded_by
        if new.is_void:
            assert said["reason"] == "did_not_occur"
            assert "correctiveEventIDs" not in said
        else:
            assert said["reason"] == "incorrect_data"
            assert said["correctiveEventIDs"] == [NAMES.event("charge", new.pk)]
        assert declaration.pop("recordTime") == said["declarationTime"]
        del original["recordTime"]
        assert original == declaration


def test_the_time_recorded_is_the_newest_of_its_file() -> None:
    document = json.loads(text_of(EVER))
    times = [one["recordTime"] for one in document["epcisBody"]["eventList"]]
    assert document["creationDate"] == max(times, key=datetime.datetime.fromisoformat)


def test_a_batch_in_the_pot_has_what_is_in_it_so_far() -> None:
    names = tracked.stock_names()
    open_ones = Batch.objects.filter(bulk_weighings__isnull=True, inputs__mass_mg__gt=0)
    assert open_ones.exists()
    for batch in open_ones.distinct():
        graph = of_scope(batch.stock)
        name = names[batch.pk]
        assert {into for _, into in graph.edges} >= {name}
        assert name not in graph.made


def test_control_a_bottle_that_moves_late_or_an_edge_too_many_is_seen() -> None:
    document = json.loads(text_of(EVER))
    events = document["epcisBody"]["eventList"]
    sent = next(e for e in reversed(events) if e["bizStep"] == "shipping")
    events.append({**sent, "eventID": "urn:x:late", "destinationList": []})
    assert read(json.dumps(document)).bottles != tracked.bottles_of()
    charge = next(e for e in events if "inputQuantityList" in e)
    events.append({**charge, "eventID": "urn:x:more"})
    assert read(json.dumps(document)).edges != {
        **tracked.edges_of(),
        **tracked.fillings_of(),
    }
    events.append(charge)
    with pytest.raises(Unreadable, match="two events"):
        read(json.dumps(document))


def test_the_events_of_one_bottle_stand_in_the_order_they_were_recorded() -> None:
    recorded: dict[str, list[str]] = {}
    for event in events_of(EVER):
        if "errorDeclaration" in event:
            continue
        for bottle in (*event.get("outputEPCList", ()), *event.get("epcList", ())):
            recorded.setdefault(bottle, []).append(event["recordTime"])
    assert max(map(len, recorded.values())) > 2
    for times in recorded.values():
        assert all(earlier <= later for earlier, later in pairwise(times))
