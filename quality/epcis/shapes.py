"""The pieces that an event is put together from.

Masses are whole milligrams with us and kilograms in the document (UN/ECE unit KGM). A
JSON number is a float for most readers: 15 digits come through it unchanged, which is
a thousand tonnes to the milligram.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any, Final

from producer.wall_clock import offset_of

Event = dict[str, Any]

KILOGRAM: Final = "KGM"
MG_PER_KG: Final = 1_000_000
MOST_MG: Final = 10**15 - 1  # what 15 digits hold
# The part of the name of a transformation that says what is made: see names.py.
MAKING: Final = "#making"

DID_NOT_OCCUR: Final = "did_not_occur"
INCORRECT_DATA: Final = "incorrect_data"

# How a bottle is after a step: business step and disposition, a pair for each state and
# a state for each pair, so that a reader gets our state back.
COMMISSIONED: Final = ("commissioning", "active")
STATES: Final[Mapping[tuple[str, str], str]] = {
    COMMISSIONED: "filled",
    ("storing", "active"): "filled",
    ("inspecting", "conformant"): "filled",
    ("shipping", "in_transit"): "dispatched",
    ("receiving", "returned"): "returned",
    ("receiving", "recalled"): "recovered",
    ("holding", "non_sellable_other"): "on_hold",
    ("storing", "non_sellable_other"): "retained",
    ("destroying", "destroyed"): "destroyed",
}


def step_to(old: str, new: str) -> tuple[str, str]:
    """Return business step and disposition of a bottle that goes from state to state.

    ``old`` is empty for a bottle just filled. Raises ``KeyError`` for a state that no
    event is known for.

    >>> step_to("", "filled"), step_to("on_hold", "filled"), step_to("filled", "filled")
    (('commissioning', 'active'), ('inspecting', 'conformant'), ('storing', 'active'))
    >>> step_to("filled", "dispatched")
    ('shipping', 'in_transit')
    """
    if new == "filled":
        if not old:
            return COMMISSIONED
        moved = old == "filled"
        return ("storing", "active") if moved else ("inspecting", "conformant")
    return {state: step for step, state in STATES.items()}[new]


def happened(
    at: datetime.datetime, recorded: datetime.datetime, zone: datetime.tzinfo
) -> Event:
    """Return the times of an event: by the clock there, its offset, when recorded.

    >>> from zoneinfo import ZoneInfo
    >>> at = datetime.datetime(2026, 10, 25, 1, 30, tzinfo=datetime.UTC)
    >>> for line in happened(at, at, ZoneInfo("Europe/Berlin")).items(): print(*line)
    eventTime 2026-10-25T02:30:00+01:00
    eventTimeZoneOffset +01:00
    recordTime 2026-10-25T01:30:00.000000Z
    """
    shown = at.astimezone(zone)
    return {
        "eventTime": shown.isoformat(),
        "eventTimeZoneOffset": offset_of(shown),
        "recordTime": in_utc(recorded),
    }


def in_utc(at: datetime.datetime) -> str:
    """Return a moment as text, in UTC; as text they sort as they follow each other.

    >>> in_utc(datetime.datetime(2026, 3, 1, 12, tzinfo=datetime.UTC))
    '2026-03-01T12:00:00.000000Z'
    """
    text = at.astimezone(datetime.UTC).isoformat(timespec="microseconds")
    return text.replace("+00:00", "Z")


def amount(epc_class: str, mass_mg: int | None = None) -> Event:
    """Return so much of a lot; without a mass, it is not said how much.

    Raises ``ValueError`` for a mass that a JSON number would not bring over whole.

    >>> amount("https://kettle.example/lots/L1/", 1_250_000)["quantity"]
    1.25
    >>> amount("https://kettle.example/lots/L1/")
    {'epcClass': 'https://kettle.example/lots/L1/'}
    """
    if mass_mg is None:
        return {"epcClass": epc_class}
    if not 0 < mass_mg <= MOST_MG:
        raise ValueError(
            f"{mass_mg} mg cannot be written in kilograms to the milligram."
        )
    kilograms = mass_mg / MG_PER_KG
    return {"epcClass": epc_class, "quantity": kilograms, "uom": KILOGRAM}


def declared(event: Event, at: datetime.datetime, reason: str, *correct: str) -> Event:
    """Return the event that declares ``event`` to be in error since ``at``.

    EPCIS has the wrong event repeated, its name the same, with the declaration in it;
    the wrong one stays. ``correct`` are the names of the events that stand for it.

    >>> at = datetime.datetime(2026, 3, 1, 12, tzinfo=datetime.UTC)
    >>> wrong = {"eventID": "urn:x:1", "recordTime": "2026-02-01T12:00:00Z"}
    >>> found = declared(wrong, at, INCORRECT_DATA, "urn:x:2")
    >>> found["eventID"], found["errorDeclaration"]["correctiveEventIDs"]
    ('urn:x:1', ['urn:x:2'])
    >>> "errorDeclaration" in wrong
    False
    """
    said: Event = {"declarationTime": in_utc(at), "reason": reason}
    if correct:
        said["correctiveEventIDs"] = list(correct)
    return {**event, "recordTime": in_utc(at), "errorDeclaration": said}
