"""Whether bottles may leave, as the door would answer: for the pages about them.

A page that says a bottle may leave asks what :func:`.supplying.dispatch` asks, so that
nobody packs a box that is then refused.
"""

from __future__ import annotations

import dataclasses
import datetime
from collections import defaultdict
from collections.abc import Sequence

from batches.lifecycle import BottleStatus
from batches.models import Bottle, FillingLot
from batches.services import leaving
from producer.codes import grouped
from quality.services.supplying import barred_for, not_accepted


@dataclasses.dataclass(frozen=True, kw_only=True)
class Door:
    """How many bottles of a filling lot are in stock, how many of them may leave.

    ``stops`` are the sentences that stand in the way, those that stop most first.
    """

    in_stock: int
    may: int
    stops: Sequence[str]


def against(bottles: Sequence[Bottle], on: datetime.date) -> dict[int, list[str]]:
    """Return by bottle what stands in its way to anybody on that day.

    Those of :meth:`.listed`, all of them in stock. Of one filling lot with one set of
    queries, however many bottles there are.
    """
    stops = leaving.stops(bottles, None, on)
    batches = {one.filling_lot.batch_id: one.filling_lot.batch for one in bottles}
    barred = barred_for(None)(list(batches.values()))
    weighed = not_accepted({bottle.filling_lot_id for bottle in bottles})
    found = {}
    for bottle in bottles:
        lot = bottle.filling_lot
        words = [stop.words for stop in stops.get(bottle.pk, ())]
        around = (barred.get(lot.batch_id), weighed.get(lot.pk))
        found[bottle.pk] = [*words, *filter(None, around)]
    return {pk: words for pk, words in found.items() if words}


def door_of(lot: FillingLot, on: datetime.date) -> Door:
    """Return what the door would say of the bottles of a filling lot in stock."""
    bottles = list(lot.bottles.listed().filter(status=BottleStatus.FILLED))
    stopped = against(bottles, on) if bottles else {}
    named = {one.pk: f"Bottle {grouped(one.code)} " for one in bottles}
    alike: dict[str, list[str]] = defaultdict(list)
    for pk, said in stopped.items():
        for words in said:
            alike[words.replace(named[pk], "Each ")].append(words)
    most_first = sorted(alike.items(), key=lambda one: -len(one[1]))
    return Door(
        in_stock=len(bottles),
        may=len(bottles) - len(stopped),
        stops=[_said(words, own, len(bottles)) for words, own in most_first],
    )


def _said(words: str, own: Sequence[str], in_stock: int) -> str:
    """Return a sentence that stops some bottles: of all, of so many, or of one."""
    if len(own) == in_stock:
        return words
    return own[0] if len(own) == 1 else f"{words} So it is with {len(own)} of them."
