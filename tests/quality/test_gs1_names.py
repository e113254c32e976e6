"""Events of bottles that have a GTIN: GS1 keys, and the same graph as without."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.conf import settings

from batches.models import FillingLot
from batches.services import item_numbers
from quality.epcis.reading import Graph, read
from quality.services import recalling, tracking_events
from tests import items, leaving, make
from tests.quality import tracked

pytestmark = pytest.mark.django_db

EVER = tracking_events.Scope()
GTIN = items.number(11111)
BOTTLE = f"https://id.gs1.org/01/{GTIN}/21/"
LOT = f"https://id.gs1.org/01/{GTIN}/10/"


def text() -> str:
    return "".join(tracking_events.document(EVER))


def graph() -> Graph:
    return read(text())


def named(lot: FillingLot, gtin: str = GTIN) -> set[str]:
    return {
        f"https://id.gs1.org/01/{gtin}/21/{bottle.code}"
        for bottle in make.bottles_of(lot)
    }


@pytest.fixture
def lot(crew: make.Crew) -> FillingLot:
    """Return bottles filled after their product had a number."""
    items.with_prefix(items.owner(), location_number=items.LOCATION)
    batch = make.released_liquid(crew)
    items.given(crew, batch.formula_version.formula)
    return leaving.filled(crew, batch)


def test_bottles_and_their_lot_have_gs1_keys_and_the_premises_too(
    crew: make.Crew, lot: FillingLot
) -> None:
    leaving.sent(crew, make.bottles_of(lot)[:1])
    found = graph()
    assert set(found.bottles) == named(lot)
    assert {one.filling_lot for one in found.bottles.values()} == {f"{LOT}{lot.code}"}
    assert sorted(one.state for one in found.bottles.values()) == [
        "dispatched",
        *["filled"] * (lot.count - 1),
    ]
    events: list[dict[str, Any]] = json.loads(text())["epcisBody"]["eventList"]
    assert {event["readPoint"]["id"] for event in events} == {
        f"https://id.gs1.org/414/{items.LOCATION}"
    }


def test_an_act_has_a_name_of_ours_even_then(lot: FillingLot) -> None:
    """Under a GTIN there is room for what GS1 says alone."""
    told: list[dict[str, Any]] = json.loads(text())["epcisBody"]["eventList"]
    (filling,) = [event for event in told if "outputEPCList" in event]
    ours = tracked.NAMES.filling_lot(lot.code)
    assert filling["transformationID"] == f"{ours}#making"


def places() -> list[str]:
    """Return what the premises is called, event by event in the order recorded."""
    told: list[dict[str, Any]] = json.loads(text())["epcisBody"]["eventList"]
    told.sort(key=lambda event: str(event["recordTime"]))
    return [event["readPoint"]["id"] for event in told]


def test_an_event_keeps_the_place_as_it_was_called_when_it_was_recorded(
    crew: make.Crew,
) -> None:
    """Files that were handed out call it so."""
    ours, keyed = f"{settings.PUBLIC_URL}/", f"https://id.gs1.org/414/{items.LOCATION}"
    oil = make.sunflower(crew.maker)
    make.held_lot(crew, oil)
    assert places() == [ours]
    items.with_prefix(items.owner(), location_number=items.LOCATION)
    make.held_lot(crew, oil)
    items.with_prefix(items.owner(), name="Birch Yard Soap")  # another change of it
    assert places() == [ours, keyed]
    items.with_prefix(items.owner(), location_number="")
    make.held_lot(crew, oil)
    assert places() == [ours, keyed, ours]


def test_the_graph_is_that_of_our_own_addresses(lot: FillingLot) -> None:
    keyed, names = text(), tracked.NAMES
    for bottle in make.bottles_of(lot):
        keyed = keyed.replace(f"{BOTTLE}{bottle.code}", names.bottle(bottle.code))
    ours = read(keyed.replace(f"{LOT}{lot.code}", names.filling_lot(lot.code)))
    assert ours.bottles == tracked.bottles_of()
    assert ours.edges == tracked.edges_of() | tracked.fillings_of()


def test_what_was_filled_before_keeps_its_name(crew: make.Crew) -> None:
    """Files that were handed out name it so."""
    items.with_prefix(items.owner())
    before = leaving.filled(crew)
    ours = set(graph().bottles)
    items.given(crew, before.batch.formula_version.formula)
    assert set(graph().bottles) == ours
    after = make.filled(crew, make.released_liquid(crew, before.batch.formula_version))
    assert set(graph().bottles) == ours | named(after)


def test_another_size_keeps_its_address(crew: make.Crew, lot: FillingLot) -> None:
    small = make.filled(crew, lot.batch, count=1, nominal_ul=200_000)
    names = {tracked.NAMES.bottle(one.code) for one in make.bottles_of(small)}
    assert set(graph().bottles) == named(lot) | names


def test_what_is_filled_keeps_its_name_whatever_becomes_of_the_number(
    crew: make.Crew, lot: FillingLot
) -> None:
    """Files that were handed out name it so."""
    formula = lot.batch.formula_version.formula
    row = item_numbers.standing_of(formula).get()
    new = item_numbers.amend(
        by=crew.maker, number=row, gtin=items.number(7), reason="mistyped"
    )
    assert set(graph().bottles) == named(lot)
    second = make.filled(crew, lot.batch, count=1, nominal_ul=200_000)
    third = make.filled(crew, make.released_liquid(crew, lot.batch.formula_version))
    ours = {tracked.NAMES.bottle(one.code) for one in make.bottles_of(second)}
    expected = named(lot) | ours | named(third, items.number(7))
    assert set(graph().bottles) == expected
    item_numbers.amend(by=crew.maker, number=new, void=True, reason="never allotted")
    items.with_prefix(items.owner(), gs1_company_prefix="4012346", location_number="")
    assert set(graph().bottles) == expected


def test_a_recall_of_the_lot_names_it_alike(crew: make.Crew, lot: FillingLot) -> None:
    recalling.open_recall(
        by=crew.reviewer,
        root=lot,
        hazard_class="2",
        reason="too sharp",
        public_notice="Do not use it.",
    )
    assert graph().lots[f"{LOT}{lot.code}"] == ("holding", "recalled")


@pytest.mark.published
def test_a_document_with_keys_is_valid(lot: FillingLot) -> None:
    from tests.quality.test_epcis_schema import schema_validator  # noqa: PLC0415

    document = json.loads(text())
    assert [one.message for one in schema_validator().iter_errors(document)] == []
