"""Bottles in hands: places, dispatches and recalls, through the services."""

from __future__ import annotations

from collections.abc import Sequence

from batches.models import Bottle, Dispatch
from producer.models import Consignee, Place, Stock
from producer.services import registers
from quality.models import Recall
from quality.services import recalling, supplying
from tests import bottling, make


def place(crew: make.Crew, name: str = "Cellar") -> Place:
    """Return a registered place."""
    return registers.save(by=crew.maker, entry=Place(name=name))


def dispatched(
    crew: make.Crew, bottles: Sequence[Bottle], consignee: Consignee
) -> Dispatch:
    """Send bottles to a consignee, released before if they are not."""
    for lot in {bottle.filling_lot for bottle in bottles}:
        bottling.may_leave(crew, lot)
    return supplying.dispatch(by=crew.maker, bottles=bottles, consignee=consignee)


def recall(crew: make.Crew, root: Stock) -> Recall:
    """Open a recall of a lot or batch."""
    return recalling.open_recall(
        by=crew.reviewer,
        root=root,
        hazard_class="2",
        reason="too much alkali",
        public_notice="Do not use it; call us.",
    )
