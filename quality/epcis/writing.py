"""A document as pieces of text, however many events there are."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from typing import Final

from quality.epcis.names import Names
from quality.epcis.shapes import Event

CONTEXT: Final = "https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"
OURS: Final = "kettlebook"  # the prefix of our own words
VERSION: Final = "2.0"


def written(names: Names, events: Iterable[Event]) -> Iterator[str]:
    """Yield the document that holds ``events``, an event a line.

    It is created when its newest row was recorded, so that the same events make the
    same bytes; this is known last and stands last. A document that breaks off is no
    JSON, so that nobody takes a part for the whole.

    >>> names = Names("https://kettle.example")
    >>> event = {"type": "ObjectEvent", "recordTime": "2026-03-01T12:00:00Z"}
    >>> made = json.loads("".join(written(names, [event])))
    >>> made["schemaVersion"], made["creationDate"]
    ('2.0', '2026-03-01T12:00:00Z')
    >>> made["epcisBody"]["eventList"] == [event]
    True
    """
    context = [CONTEXT, {OURS: names.terms}]
    yield (
        f'{{"@context":{_json(context)},"type":"EPCISDocument",'
        f'"schemaVersion":{_json(VERSION)},"epcisBody":{{"eventList":['
    )
    newest, before = "", "\n"
    for event in events:
        newest = max(newest, event["recordTime"])
        yield before + _json(event)
        before = ",\n"
    yield f'\n]}},"creationDate":{_json(newest)}}}\n'


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
