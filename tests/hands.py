"""Bottles in hands: places, dispatches and recalls, through the services."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from typing import Any

from django.utils import timezone

from batches.models import Bottle, Charge, Dispatch
from batches.services import bottle_moves
from producer.models import Consignee, Place, Stock, User
from producer.services import registers
from quality.models import Recall, RecallEvent
from quality.services import (
    bottle_face,
    changing,
    recall_clearing,
    recall_closing,
    recall_contacts,
    recall_hazard,
    recall_revising,
    recalling,
    supplying,
)
from quality.services.recall_roots import Window
from tests import bottling, leaving, make
from tests.once import once


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


HAZARD: Mapping[str, Any] = {
    "hazard_class": "2",
    "depth": "consumer",
    "happened": "nothing so far",
    "exposed": "whoever washes by hand",
    "harm": "sore skin for some days",
    "likelihood": "one in twenty",
}


@once
def corrected(crew: make.Crew) -> Recall:
    """Return a recall of a potash lot that, as was found then, never went in.

    A shop was told of two bottles; the charge is taken back, and nobody has looked at
    the recall since.
    """
    potash = make.released_lot(crew, make.potash(crew.maker), supplier_lot="K-71")
    paste = make.released_paste(crew, sources={"potash": potash.stock})
    lot = make.filled(
        crew, make.released_liquid(crew, paste=paste), count=3, nominal_ul=100_000
    )
    shop = make.consignee(crew.maker)
    leaving.sent(crew, make.bottles_of(lot)[:2], shop)
    found = recall(crew, potash.stock)
    recall_contacts.record_contact(
        by=crew.maker,
        recall=found,
        consignee=shop,
        means="email",
        outcome="reached",
        said="keeps them shut",
    )
    charge = Charge.objects.current().get(source=potash.stock)
    changing.change_charge(
        by=crew.maker, charge=charge, void=True, reason="read the wrong can"
    )
    return found


@once
def cleared(crew: make.Crew) -> Recall:
    """Return that recall as it was looked at again, and the shop told it is clear."""
    found = corrected(crew)
    recall_hazard.evaluate(by=crew.reviewer, recall=found, **HAZARD)
    recall_revising.look_again(
        by=crew.reviewer, recall=found, note="the can was another one"
    )
    recall_clearing.give_all_clear(
        by=crew.maker,
        recall=found,
        consignee=make.consignee(crew.maker),
        means="telephone",
        said="was relieved",
    )
    return found


def of_a_time(crew: make.Crew, *, during: str = "both", **more: Any) -> Recall:
    """Return a recall of what was made or filled in the last two days."""
    now = timezone.now()
    window = Window(since=now - datetime.timedelta(days=2), until=now, during=during)
    return recalling.open_recall(
        by=crew.reviewer,
        root=window,
        hazard_class="3",
        reason="the water was brown",
        public_notice="Do not use it; call us.",
        **more,
    )


def recalls_reaching(bottle: Bottle) -> list[Recall]:
    """Return the recalls that a bottle falls under; its page has to find the same."""
    found = recalling.recalls_of_bottle(bottle)
    face = bottle_face.face_of(bottle.code)
    assert face is not None
    assert bottle_face.recalls_of(face.sheet) == found
    return found
