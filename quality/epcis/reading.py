"""A document read back: what went into what, and where each bottle is.

Written from what a document says, not from the tables it came from: it is how a test
knows that nothing was lost on the way.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterable
from decimal import Decimal
from typing import Any, NamedTuple
from urllib.parse import urldefrag

from quality.epcis.names import GS1, SERIAL, keyed_lot
from quality.epcis.shapes import COMMISSIONED, KILOGRAM, MG_PER_KG, STATES, Event


class Unreadable(ValueError):
    """The document says something that has no place in the graph."""


class Whereabouts(NamedTuple):
    """How a bottle is and where, all by its name in the document.

    ``filling_lot`` is empty where its filling is not in the document, ``holder`` where
    it was not sent to anybody, ``place`` where no shelf was ever named.
    """

    filling_lot: str
    state: str
    holder: str
    place: str


@dataclasses.dataclass
class Graph:
    """What the events that stand come to, by names.

    ``edges`` is what went into what, in milligrams: lots and batches into batches,
    batches into filling lots. Nought where it is not said how much. ``received`` and
    ``made`` are what there was of each lot and batch, ``destroyed`` what was thrown
    away of it, ``lots`` the last business step and disposition told of all of it.
    """

    edges: dict[tuple[str, str], int] = dataclasses.field(default_factory=dict)
    received: dict[str, int] = dataclasses.field(default_factory=dict)
    made: dict[str, int] = dataclasses.field(default_factory=dict)
    destroyed: dict[str, int] = dataclasses.field(default_factory=dict)
    bottles: dict[str, Whereabouts] = dataclasses.field(default_factory=dict)
    lots: dict[str, tuple[str, str]] = dataclasses.field(default_factory=dict)

    def back(self, name: str) -> set[str]:
        """Return the names of all that went into a lot, batch or bottle, and itself."""
        start = self.bottles[name].filling_lot if name in self.bottles else name
        return self._reached(start, 1, 0)

    def on(self, name: str) -> set[str]:
        """Return the names of all that a lot or batch went into, and itself."""
        return self._reached(name, 0, 1)

    def _reached(self, start: str, near: int, far: int) -> set[str]:
        reached, waiting = {start}, [start]
        beside: dict[str, list[str]] = {}
        for edge in self.edges:
            beside.setdefault(edge[near], []).append(edge[far])
        while waiting:
            more = set(beside.get(waiting.pop(), ())) - reached
            reached |= more
            waiting += more
        return reached


def read(text: str) -> Graph:
    """Return the graph of a document; raise :class:`Unreadable` for what has no place.

    Events of one bottle count in the order in which they stand. An event that an error
    declaration names counts for nothing, nor does the declaration.

    >>> read('''{"type": "EPCISDocument", "epcisBody": {"eventList": [{
    ...   "type": "TransformationEvent", "eventID": "urn:x:1",
    ...   "transformationID": "https://kettle.example/batches/B1/#making",
    ...   "inputQuantityList": [{"epcClass": "urn:x:oil", "quantity": 0.000001,
    ...                          "uom": "KGM"}]}]}}''').edges
    {('urn:x:oil', 'https://kettle.example/batches/B1/'): 1}
    """
    try:
        document = json.loads(text, parse_float=Decimal, parse_int=Decimal)
        events: list[Event] = document["epcisBody"]["eventList"]
    except (ValueError, KeyError, TypeError) as error:
        raise Unreadable("This is no EPCIS document in JSON.") from error
    graph = Graph()
    for event in _standing(events):
        try:
            _PLACES[event["type"]](graph, event)
        except KeyError as error:
            raise Unreadable(
                f"{event.get('eventID')}: {error} has no place."
            ) from error
    return graph


def _standing(events: list[Event]) -> Iterable[Event]:
    wrong = {event["eventID"] for event in events if "errorDeclaration" in event}
    known: set[str] = set()
    for event in events:
        name = event["eventID"]
        if "errorDeclaration" in event:
            continue
        if name in known:
            raise Unreadable(f"There are two events {name}.")
        known.add(name)
        if name not in wrong:
            yield event
    if missing := wrong - known:
        raise Unreadable(f"{min(missing)} is declared wrong and is not there.")


def _transformation(graph: Graph, event: Event) -> None:
    made = _made(event)
    for one in event.get("inputQuantityList", ()):
        edge = (one["epcClass"], made)
        graph.edges[edge] = graph.edges.get(edge, 0) + _milligrams(one)
    for one in event.get("outputQuantityList", ()):
        if one["epcClass"] != made:
            raise Unreadable(f"{event['eventID']} makes {one['epcClass']}, not {made}.")
        graph.made[made] = graph.made.get(made, 0) + _milligrams(one)
    if bottles := event.get("outputEPCList"):
        if (event["bizStep"], event["disposition"]) != COMMISSIONED:
            raise Unreadable(f"{event['eventID']} makes bottles and says so nowhere.")
        _move(graph, event, bottles, filling_lot=made)


def _made(event: Event) -> str:
    """Return the name of what is made, which is that of the transformation without #.

    But bottles with a GS1 key are a lot of that key, with the number the event tells.
    """
    made, _ = urldefrag(event["transformationID"])
    for bottle in event.get("outputEPCList", ()):
        key, serial, _ = bottle.partition(SERIAL)
        if serial and bottle.startswith(GS1):
            return keyed_lot(key, event["ilmd"]["cbvmda:lotNumber"])
    return str(made)


def _object(graph: Graph, event: Event) -> None:
    _move(graph, event, event.get("epcList", ()))
    for one in event.get("quantityList", ()):
        name = one["epcClass"]
        graph.lots[name] = (event["bizStep"], event["disposition"])
        if event["action"] == "OBSERVE":
            continue
        sums = graph.received if event["action"] == "ADD" else graph.destroyed
        sums[name] = sums.get(name, 0) + _milligrams(one)


_PLACES = {"TransformationEvent": _transformation, "ObjectEvent": _object}


def _move(
    graph: Graph, event: Event, bottles: Iterable[str], *, filling_lot: str = ""
) -> None:
    for name in bottles:
        step = (event["bizStep"], event["disposition"])
        was = graph.bottles.get(name, Whereabouts("", "", "", ""))
        if filling_lot and was.state:
            raise Unreadable(f"{name} is filled twice.")
        graph.bottles[name] = Whereabouts(
            filling_lot=filling_lot or was.filling_lot,
            state=STATES[step],
            holder=_holder(event),
            place=_place(event) or was.place,
        )


def _holder(event: Event) -> str:
    for one in event.get("destinationList", ()):
        return str(one["destination"])
    return ""


def _place(event: Event) -> str:
    named: dict[str, Any] = event.get("bizLocation", {})
    return str(named.get("id", ""))


def _milligrams(one: Event) -> int:
    if "quantity" not in one:
        return 0
    mass_mg = one["quantity"] * MG_PER_KG
    if one.get("uom") != KILOGRAM or mass_mg != int(mass_mg):
        raise Unreadable(f"{one} is no whole number of milligrams.")
    return int(mass_mg)
