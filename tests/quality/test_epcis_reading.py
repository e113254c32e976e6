"""The reader of events: exact to the milligram, and what it refuses."""

from __future__ import annotations

import datetime
import json
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.lifecycle import BOTTLE_CORRECTIONS, BOTTLE_MOVES
from quality.epcis.names import Names
from quality.epcis.reading import Unreadable, read
from quality.epcis.shapes import MOST_MG, STATES, amount, happened, step_to
from quality.epcis.writing import written

pytestmark = pytest.mark.any_engine

NAMES = Names("https://kettle.example")
AT = datetime.datetime(2026, 3, 1, 12, tzinfo=datetime.UTC)
Event = dict[str, Any]


def event(number: int = 1, **more: Any) -> Event:
    times = happened(AT, AT, ZoneInfo("Europe/Berlin"))
    return {"eventID": NAMES.event("charge", number), **times, **more}


def charge(mass_mg: int = 5, number: int = 1, **more: Any) -> Event:
    return event(
        number,
        type="TransformationEvent",
        transformationID=f"{NAMES.batch('B1')}#making",
        inputQuantityList=[amount(NAMES.lot("L1"), mass_mg)],
        **more,
    )


def filled(number: int = 2, **more: Any) -> Event:
    return event(
        number,
        type="TransformationEvent",
        transformationID=f"{NAMES.filling_lot('F1')}#making",
        outputEPCList=[NAMES.bottle("ABCDEFGHJKMN")],
        **{"bizStep": "commissioning", "disposition": "active", **more},
    )


def moved(**more: Any) -> Event:
    facts = {"type": "ObjectEvent", "action": "OBSERVE", "bizStep": "storing"}
    return event(3, **facts, **more)


def of(*events: Event) -> str:
    return "".join(written(NAMES, events))


@given(st.integers(1, MOST_MG))
def test_every_mass_comes_back_to_the_milligram(mass_mg: int) -> None:
    assert read(of(charge(mass_mg))).edges == {
        (NAMES.lot("L1"), NAMES.batch("B1")): mass_mg
    }


@pytest.mark.parametrize("mass_mg", [0, -1, MOST_MG + 1])
def test_a_mass_that_cannot_be_written_is_refused(mass_mg: int) -> None:
    with pytest.raises(ValueError, match="to the milligram"):
        amount(NAMES.lot("L1"), mass_mg)


@given(
    st.datetimes(
        min_value=datetime.datetime(2000, 1, 1),  # noqa: DTZ001 - hypothesis wants it so
        max_value=datetime.datetime(2100, 1, 1),  # noqa: DTZ001
        timezones=st.just(datetime.UTC),
    ),
    st.sampled_from(["Europe/Berlin", "Asia/Kathmandu", "America/St_Johns", "UTC"]),
)
def test_the_time_and_its_offset_name_the_same_moment(
    at: datetime.datetime, zone: str
) -> None:
    found = happened(at, at, ZoneInfo(zone))
    assert datetime.datetime.fromisoformat(found["eventTime"]) == at
    assert datetime.datetime.fromisoformat(found["recordTime"]) == at
    assert found["eventTime"].endswith(found["eventTimeZoneOffset"])


def test_the_hour_that_comes_twice_is_told_apart() -> None:
    """Berlin, 25 October 2026: 02:30 by the clock at 00:30 and 01:30 UTC."""
    first, second = (
        happened(at, at, ZoneInfo("Europe/Berlin"))
        for at in (
            datetime.datetime(2026, 10, 25, 0, 30, tzinfo=datetime.UTC),
            datetime.datetime(2026, 10, 25, 1, 30, tzinfo=datetime.UTC),
        )
    )
    assert first["eventTime"] == "2026-10-25T02:30:00+02:00"
    assert second["eventTime"] == "2026-10-25T02:30:00+01:00"


def test_every_move_of_a_bottle_has_a_step_that_leads_to_its_state() -> None:
    for move in (*BOTTLE_MOVES, *BOTTLE_CORRECTIONS):
        assert STATES[step_to(move.start, move.end)] == move.end
    with pytest.raises(KeyError):
        step_to("filled", "sold")


def test_a_charge_declared_wrong_counts_for_nothing_wherever_it_stands() -> None:
    wrong = charge(7, errorDeclaration={"declarationTime": "2026-03-02T12:00:00Z"})
    right = charge(8, number=4)
    for events in ([charge(7), wrong, right], [wrong, right, charge(7)]):
        (mass_mg,) = read(of(*events)).edges.values()
        assert mass_mg == 8


REFUSED: dict[str, tuple[str, str]] = {
    "no JSON": ("no JSON", "no EPCIS document"),
    "no document": ("[]", "no EPCIS document"),
    "no list": ('{"epcisBody": {}}', "no EPCIS document"),
    "two of one name": (of(charge(), charge()), "two events"),
    "a declaration of nothing": (
        of(charge(errorDeclaration={"declarationTime": "2026-03-02T12:00:00Z"})),
        "is not there",
    ),
    "an event of another kind": (of(event(type="AggregationEvent")), "has no place"),
    "a step of no state": (
        of(moved(disposition="stolen", epcList=["urn:x:1"])),
        "has no place",
    ),
    "a bottle filled twice": (of(filled(), filled(5)), "is filled twice"),
    "a bottle made without a word": (of(filled(disposition="expired")), "says so"),
    "another batch than said": (
        of(charge(outputQuantityList=[amount(NAMES.batch("B2"), 5)])),
        "not https://kettle.example/batches/B1/",
    ),
    "grams": (
        of(charge() | {"inputQuantityList": [amount("urn:x:1", 5) | {"uom": "GRM"}]}),
        "no whole number of milligrams",
    ),
    "half a milligram": (
        of(
            charge()
            | {"inputQuantityList": [amount("urn:x:1", 5) | {"quantity": 5e-7}]}
        ),
        "no whole number of milligrams",
    ),
}


@pytest.mark.parametrize(("text", "says"), REFUSED.values(), ids=REFUSED.keys())
def test_what_has_no_place_is_refused_with_a_sentence(text: str, says: str) -> None:
    with pytest.raises(Unreadable, match=says):
        read(text)


def test_control_the_pieces_are_read_when_they_are_right() -> None:
    graph = read(of(charge(), filled(), moved(disposition="active", epcList=[])))
    (bottle,) = graph.bottles.values()
    assert bottle == (NAMES.filling_lot("F1"), "filled", "", "")
    assert json.loads(of(charge()))["type"] == "EPCISDocument"
