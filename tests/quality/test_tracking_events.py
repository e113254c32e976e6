"""What each act becomes as an event for others, and what it does not."""

from __future__ import annotations

import json
import tracemalloc
import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from django.db import connection
from django.utils import timezone

from batches.models import (
    Batch,
    Bottle,
    BottleEvent,
    Charge,
    DestructionTakenBack,
    Discrepancy,
    Dispatch,
    FillingLot,
)
from batches.services import cooking, discrepancies
from producer.errors import Refusal
from producer.models import Premises, RawLot, Stock, StockMovement
from producer.services import intake
from quality.epcis.reading import read
from quality.models import Recall
from quality.services import tracking_events
from quality.services.tracking_events.bottles import MOST_BOTTLES
from tests import hands, leaving, make
from tests.batches.test_discrepancies import TAKEN_MG, as_charge, emptied_lot, kept
from tests.database import run
from tests.quality import eventful, tracked

pytestmark = pytest.mark.django_db

NAMES = tracked.NAMES
EVER = tracking_events.Scope()
Event = dict[str, Any]


def events(**wanted: object) -> list[Event]:
    """Return the events that have these values."""
    return [
        event
        for event in tracking_events.events(EVER)
        if all(event.get(name) == value for name, value in wanted.items())
    ]


def the(**wanted: object) -> Event:
    (event,) = events(**wanted)
    return event


def named(name: str) -> list[Event]:
    return events(eventID=name)


def text_of(scope: tracking_events.Scope = EVER) -> str:
    return "".join(tracking_events.document(scope))


# -------------------------------------------------------------- goods


def test_a_delivery_is_received_from_a_number_with_its_mass_in_kilograms(
    crew: make.Crew,
) -> None:
    lot = make.held_lot(crew, make.sunflower(crew.maker))
    event = the(bizStep="receiving")
    row = StockMovement.objects.get()
    assert (event["type"], event["action"]) == ("ObjectEvent", "ADD")
    assert event["quantityList"] == [
        {
            "epcClass": NAMES.lot(lot.code),
            "quantity": row.amount_mg / 1_000_000,
            "uom": "KGM",
        }
    ]
    assert event["sourceList"] == [
        {"type": "possessing_party", "source": NAMES.supplier(lot.supplier_id)}
    ]
    assert event["ilmd"]["cbvmda:lotNumber"] == lot.supplier_lot
    assert event["ilmd"]["kettlebook:material"] == lot.material.name


def test_held_released_and_rejected_are_what_an_inspection_says(
    crew: make.Crew,
) -> None:
    lot = make.released_lot(crew, make.sunflower(crew.maker))
    for new in ("on_hold", "released", "on_hold", "rejected"):
        lot = intake.decide_lot(by=crew.reviewer, lot=lot, new=new, reason="looked")
    of_lot = [{"epcClass": NAMES.lot(lot.code)}]
    steps = [
        (event["bizStep"], event["disposition"])
        for event in events(action="OBSERVE", quantityList=of_lot)
    ]
    good, held = ("inspecting", "conformant"), ("holding", "non_sellable_other")
    assert steps == [good, held, good, held, ("inspecting", "non_conformant")]


# ----------------------------------------------------------- the pot


@pytest.fixture
def batch(crew: make.Crew) -> Batch:
    """Return a paste that was weighed out and is not finished."""
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch)
    make.read_clarity(crew, batch)
    make.weigh_bulk(crew, batch)
    return make.fresh(batch)


def test_a_batch_is_one_transformation_with_an_event_for_each_weighing(
    batch: Batch,
) -> None:
    making = f"{NAMES.batch(batch.number)}#making"
    found = events(transformationID=making)
    assert [len(event.get("inputQuantityList", ())) for event in found[:-1]] == [
        1
    ] * batch.charges.count()
    assert found[-1]["outputQuantityList"] == [
        {
            "epcClass": NAMES.batch(batch.number),
            "quantity": batch.bulk_weighings.get().net_mg / 1_000_000,
            "uom": "KGM",
        }
    ]


def test_a_charge_taken_back_did_not_occur_and_is_not_in_the_graph(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    charge = batch.charges.order_by("pk").last()
    assert charge
    cooking.amend_charge(by=crew.maker, charge=charge, void=True, reason="beside it")
    name = NAMES.event("charge", charge.pk)
    original, declaration = named(name)
    assert "errorDeclaration" not in original
    said = declaration["errorDeclaration"]
    assert said["reason"] == "did_not_occur"
    assert "correctiveEventIDs" not in said
    edge = (
        NAMES.stock(charge.source.kind, charge.source.code),
        NAMES.batch(batch.number),
    )
    assert edge not in read(text_of()).edges
    assert read(text_of()).edges == tracked.edges_of()


def test_an_entry_the_book_could_not_take_is_in_there_nobody_knows_how_much(
    crew: make.Crew, batch: Batch
) -> None:
    stock = emptied_lot(crew)
    row = kept(crew, batch, stock)
    (event,) = named(NAMES.event("kept", row.pk))
    assert event["inputQuantityList"] == [{"epcClass": NAMES.lot(stock.code)}]
    edge = (NAMES.lot(stock.code), NAMES.batch(batch.number))
    assert read(text_of()).edges[edge] == 0
    discrepancies.explain(
        by=crew.reviewer, discrepancy=row, reason="spilled on the way", went_in=False
    )
    _, declaration = named(NAMES.event("kept", row.pk))
    assert declaration["errorDeclaration"]["reason"] == "did_not_occur"
    assert edge not in read(text_of()).edges
    assert read(text_of()).edges == tracked.edges_of()


def test_once_it_is_entered_its_charge_stands_for_it(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.go_through(crew, batch)
    mistaken = emptied_lot(crew)
    row = kept(crew, batch, mistaken)
    other = make.released_lot(crew, make.sunflower(crew.maker), certificate={}).stock
    discrepancies.enter(
        by=crew.maker,
        discrepancy=row,
        do=lambda _: make.charge(crew, batch, other, TAKEN_MG),
        **as_charge(other, reason="the other can stood there"),
    )
    _, declaration = named(NAMES.event("kept", row.pk))
    assert declaration["errorDeclaration"]["reason"] == "incorrect_data"
    graph = read(text_of())
    assert graph.edges == tracked.edges_of()
    assert (NAMES.lot(mistaken.code), NAMES.batch(batch.number)) not in graph.edges
    assert graph.edges[NAMES.lot(other.code), NAMES.batch(batch.number)] == TAKEN_MG


def test_an_entry_of_no_lot_is_no_event(crew: make.Crew, batch: Batch) -> None:
    row = kept(crew, batch)
    assert row.stock is None
    assert named(NAMES.event("kept", row.pk)) == []


# ----------------------------------------------------------- bottles


def test_everything_that_can_become_of_a_bottle_comes_back(crew: make.Crew) -> None:
    lot = eventful.premises(crew)
    graph = read(text_of())
    assert graph.bottles == tracked.bottles_of()
    assert graph.edges == {**tracked.edges_of(), **tracked.fillings_of()}
    assert graph.destroyed == tracked.moved(StockMovement.Kind.DISPOSAL)
    states = [
        graph.bottles[NAMES.bottle(bottle.code)].state
        for bottle in make.bottles_of(lot)
    ]
    assert states == [row.status for row in make.bottles_of(lot)]
    assert {"dispatched", "returned", "recovered", "on_hold", "destroyed"} <= {*states}
    assert graph.lots[NAMES.batch(lot.batch.number)] == ("holding", "recalled")


def test_a_dispatch_goes_to_a_number_and_names_its_paper(crew: make.Crew) -> None:
    bottles = leaving.bottles(crew, count=3, nominal_ul=100_000)
    shop = make.consignee(crew.maker)
    row = hands.dispatched(crew, bottles, shop)
    event = the(bizStep="shipping")
    assert event["epcList"] == [NAMES.bottle(bottle.code) for bottle in bottles]
    assert event["destinationList"] == [
        {"type": "possessing_party", "destination": NAMES.consignee(shop.pk)}
    ]
    assert event["bizTransactionList"] == [
        {"type": "desadv", "bizTransaction": NAMES.dispatch(row.code)}
    ]
    assert shop.name not in text_of()


def test_a_dispatch_taken_back_did_not_occur_and_makes_no_event_of_its_own(
    crew: make.Crew,
) -> None:
    eventful.premises(crew)
    moves = BottleEvent.objects.filter(dispatch__taken_back__isnull=False)
    (name,) = {NAMES.event("bottles", move.pk) for move in moves}
    original, declaration = named(name)
    assert original["bizStep"] == "shipping"
    assert declaration["errorDeclaration"]["reason"] == "did_not_occur"
    back = BottleEvent.objects.get(old="dispatched", new="filled")
    assert named(NAMES.event("bottles", back.pk)) == []


def test_bottles_destroyed_together_are_declared_found_one_by_one(
    crew: make.Crew,
) -> None:
    eventful.premises(crew)
    gone = [*events(bizStep="destroying", type="ObjectEvent")]
    of_bottles = [event for event in gone if "epcList" in event]
    assert {len(event["epcList"]) for event in of_bottles} == {1}
    assert {event["action"] for event in of_bottles} == {"DELETE"}
    (wrong,) = {e["eventID"] for e in of_bottles if "errorDeclaration" in e}
    back = DestructionTakenBack.objects.get()
    assert wrong == NAMES.event("bottles", back.event_id)


def test_a_mock_recall_is_no_event_and_an_open_one_is(crew: make.Crew) -> None:
    eventful.premises(crew)
    recall = the(disposition="recalled", bizStep="holding")
    assert [set(one) for one in recall["quantityList"]] == [{"epcClass"}]
    Recall.objects.update(is_mock=True)
    assert events(disposition="recalled", bizStep="holding") == []


def test_no_note_and_no_reason_is_in_the_file(crew: make.Crew) -> None:
    eventful.premises(crew)
    text = text_of()
    for words in ("rancid", "leaks", "the other shop", "behind the shelf", "too much"):
        assert words not in text


# ------------------------------------------------------ many bottles


def many(crew: make.Crew, count: int) -> FillingLot:
    """Return a filling of so many bottles, all sent, past the services."""
    batch = Batch.objects.order_by("pk").last() or make.released_paste(crew)
    hand = {"observed_at": timezone.now(), "entered_by": crew.maker}
    lot = FillingLot.objects.create(
        code=f"F-{count}",
        batch=batch,
        nominal_ul=500_000,
        density="1.02",
        count=count,
        filled_mg=count * 510_000,
        use_by=make.TODAY,
        **hand,
    )
    shop = make.consignee(crew.maker)
    sent = Dispatch.objects.create(code=f"D-{count}", consignee=shop, **hand)
    bottles = Bottle.objects.bulk_create(
        Bottle(
            filling_lot=lot,
            number=n,
            code=uuid.uuid4().hex[:12].upper(),
            status="dispatched",
            consignee=shop,
        )
        for n in range(1, count + 1)
    )
    for old, new, of in (("", "filled", None), ("filled", "dispatched", sent)):
        BottleEvent.objects.bulk_create(
            BottleEvent(bottle=bottle, old=old, new=new, dispatch=of, **hand)
            for bottle in bottles
        )
    if connection.vendor == "postgresql":
        run("ANALYZE")  # as its own housekeeper does, when so many rows are new
    return lot


def test_more_than_a_thousand_bottles_are_several_events_of_one_transformation(
    crew: make.Crew,
) -> None:
    lot = many(crew, 2 * MOST_BOTTLES + 5)
    made = events(transformationID=f"{NAMES.filling_lot(lot.code)}#making")
    sizes = [MOST_BOTTLES, MOST_BOTTLES, 5]
    assert [len(event["outputEPCList"]) for event in made] == sizes
    assert ["inputQuantityList" in event for event in made] == [True, False, False]
    assert [len(event["epcList"]) for event in events(bizStep="shipping")] == sizes
    graph = read(text_of())
    assert graph.bottles == tracked.bottles_of()
    edge = (NAMES.batch(lot.batch.number), NAMES.filling_lot(lot.code))
    assert graph.edges[edge] == lot.filled_mg


def test_memory_stays_the_same_however_many_bottles(crew: make.Crew) -> None:
    def peak(count: int) -> int:
        scope = tracking_events.of_stock(many(crew, count).batch.stock)
        tracemalloc.start()
        pieces = sum(1 for _ in tracking_events.document(scope))
        found = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert pieces > count / MOST_BOTTLES
        return found

    peak(10)  # what is imported and cached on the way
    few, lots = peak(4000), peak(24_000)
    assert lots < 1.3 * few


# ----------------------------------------------------------- refusals


def test_where_nothing_happened_there_is_no_file(crew: make.Crew) -> None:
    with pytest.raises(Refusal, match="Nothing was recorded there"):
        tracking_events.document(EVER)


def test_what_was_handed_out_says_so_before_the_first_piece(crew: make.Crew) -> None:
    make.held_lot(crew, make.sunflower(crew.maker))
    pieces: Iterator[str] = tracking_events.document(EVER)
    part = next(pieces) + next(pieces)
    assert part.startswith('{"@context":["https://ref.gs1.org/standards/epcis/')
    with pytest.raises(json.JSONDecodeError):
        json.loads(part)  # what breaks off is no document
    json.loads(part + "".join(pieces))


def test_the_clock_of_the_premises_is_in_each_event(crew: make.Crew) -> None:
    make.held_lot(crew, make.sunflower(crew.maker))
    Premises.objects.update(time_zone="Asia/Kathmandu")
    event = the(bizStep="receiving")
    assert event["eventTimeZoneOffset"] == "+05:45"
    assert event["eventTime"].endswith("+05:45")
    row = StockMovement.objects.get()
    assert event["eventTime"][:10] == (
        row.observed_at.astimezone(Premises.objects.get().zone).date().isoformat()
    )


def test_of_what_came_before_only_what_went_on_is_bottled(crew: make.Crew) -> None:
    """The file of a liquid has its paste, but not what else was filled of that."""
    liquid = make.released_liquid(crew)
    lot = make.filled(crew, liquid)
    paste = Stock.objects.get(used_in__batch=liquid, kind="batch")
    potash = RawLot.objects.get(material=make.potash(crew.maker)).stock
    for root in (liquid.stock, paste, potash):
        graph = read(text_of(tracking_events.of_stock(root)))
        assert graph.bottles == tracked.bottles_of([liquid.pk])
        assert NAMES.filling_lot(lot.code) in graph.on(NAMES.batch(paste.code))


def test_control_charges_and_entries_were_there(crew: make.Crew, batch: Batch) -> None:
    kept(crew, batch, emptied_lot(crew))
    assert Charge.objects.exists()
    assert Discrepancy.objects.exclude(stock=None).exists()
