"""The events of a lot, a batch or some days, as others can read them.

Received, decided, charged, made, filled, sent, returned, destroyed, and what was
recorded by mistake, declared so. Read row by row: memory stays the same, however many
there are. What is in them and what is not stands in the page and in README.md.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from django.conf import settings

from batches.services import item_numbers
from producer.errors import Refusal
from producer.models import Premises
from producer.services import registers
from quality.epcis.names import Names
from quality.epcis.shapes import Event
from quality.epcis.writing import written
from quality.services.tracking_events import bottles, goods, making, recalls
from quality.services.tracking_events.scopes import Scope, Told, between, of_stock

__all__ = ["Scope", "between", "document", "events", "of_stock"]


def document(scope: Scope) -> Iterator[str]:
    """Return the document of a scope, a piece at a time.

    Raises :class:`Refusal` where nothing happened, before a piece is handed out.
    """
    found = events(scope)
    first = next(found, None)
    if first is None:
        raise Refusal("Nothing was recorded there. Choose other days.", field="from")
    return written(_told().names, itertools.chain([first], found))


def events(scope: Scope) -> Iterator[Event]:
    """Yield the events of a scope: goods, makings, bottles filling by filling, recalls.

    Those of one bottle stand in the order in which they were recorded. An event and
    the declaration that it was wrong follow each other.
    """
    told = _told()
    for part in (goods, making, bottles, recalls):
        yield from part.events(scope, told)


def _told() -> Told:
    return Told(
        names=Names(settings.PUBLIC_URL),
        zone=Premises.objects.get().zone,
        sizes=item_numbers.by_size(),
        locations=registers.location_numbers(),
    )
