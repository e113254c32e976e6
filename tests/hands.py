"""Bottles in hands: places, dispatches and recalls, through the services."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from batches.models import Bottle, Dispatch
from batches.services import bottle_moves
from producer.models import Consignee, Place, Stock, User
from producer.services import registers
from quality.models import Recall, RecallEvent
from quality.services import recall_closing, recalling, supplying
from tests import bottling, make


def place(crew: make.Crew, name: str = "Cellar") -> Place:
    """Return a registered place."""
    return registers.save(by=crew.maker, entry=Place(name=name))


def moved(by: User, bottle: Bottle, new: str, reason: str, **more: Any) -> Bottle:
    """Record what became of a bottle; return it as the database has it then.

    Whether a recall covers it is not looked at, unless ``recalled`` is given.
    """
    more.setdefault("recalled", lambda bottles: [one.pk for one in bottles])
    bottle_moves.move_bottles(by=by, bottles=[bottle], new=new, reason=reason, **more)
    return Bottle.objects.listed().get(pk=bottle.pk)


def dispatched(
    crew: make.Crew, bottles: Sequence[Bottle], consignee: Consignee
) -> Dispatch:
    """Send bottles to a consignee, released before if they are not."""
    for lot in {bottle.filling_lot for bottle in bottles}:
        bottling.may_leave(crew, lot)
    return supplying.dispatch(by=crew.maker, bottles=bottles, consignee=consignee)


def closed(crew: make.Crew, recall: Recall, note: str = "all back") -> Recall:
    """Say that the holders of an open recall are notified, and close it."""
    recall = recalling.advance(by=crew.reviewer, recall=recall, note="told them")
    return recall_closing.close(
        by=crew.reviewer,
        recall=recall,
        note=note,
        password=make.PASSWORD,
        why_not="the scene needs it closed",
    )


def kept(new: str) -> dict[str, Any]:
    """Return what was kept with the step of the one recall that led to this state."""
    facts: dict[str, Any] | None = RecallEvent.objects.get(new=new).facts
    assert facts is not None
    return facts


def recall(crew: make.Crew, root: Stock) -> Recall:
    """Open a recall of a lot or batch."""
    return recalling.open_recall(
        by=crew.reviewer,
        root=root,
        hazard_class="2",
        reason="too much alkali",
        public_notice="Do not use it; call us.",
    )
