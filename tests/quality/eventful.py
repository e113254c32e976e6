"""A small premises in which everything happened that others may hear of."""

from __future__ import annotations

from batches.models import BottleDiscrepancy, FillingLot
from batches.services import bottle_doubts, bottle_moves, places
from producer.services import intake
from producer.services import stock as ledger
from quality.services import dispatch_back
from tests import hands, leaving, make


def premises(crew: make.Crew) -> FillingLot:
    """Return a filling lot of eight bottles, each with a fate of its own.

    1 here, 2 sent, 3 sent and back, 4 sent and recovered, 5 sent by mistake, 6 on
    hold, 7 destroyed, 8 destroyed by mistake.
    """
    spoiled = make.held_lot(crew, make.sunflower(crew.maker))
    intake.decide_lot(by=crew.reviewer, lot=spoiled, new="rejected", reason="rancid")
    ledger.dispose(by=crew.maker, lot=spoiled, amount_mg=1_234_567, reason="rancid")
    lot = leaving.filled(crew, count=8, nominal_ul=100_000)
    one, *rest = make.bottles_of(lot)
    places.put(by=crew.maker, bottles=[one], place=hands.place(crew))
    shop = make.consignee(crew.maker)
    hands.dispatched(crew, rest[:3], shop)
    hands.moved(crew.maker, rest[1], "returned", "not wanted")
    wrong = hands.dispatched(crew, rest[3:4], shop)
    dispatch_back.take_back(by=crew.maker, dispatch=wrong, reason="the other shop")
    hands.moved(crew.reviewer, rest[4], "on_hold", "cloudy")
    bottle_moves.move_bottles(  # in one act, of which one is found again
        by=crew.maker,
        bottles=rest[5:7],
        new="destroyed",
        reason="leaks",
        recalled=lambda bottles: [one.pk for one in bottles],
    )
    doubt = bottle_doubts.report(
        by=crew.maker,
        bottle=rest[6],
        kind=BottleDiscrepancy.Kind.SHOULD_NOT_EXIST,
        found="behind the shelf, full",
    )
    bottle_doubts.settle(
        by=crew.reviewer, doubt=doubt, reason="it was not", never_destroyed=True
    )
    hands.recall(crew, lot.batch.stock)
    hands.moved(crew.maker, rest[2], "recovered", "brought back")
    return lot
