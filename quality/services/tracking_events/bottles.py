"""Bottles: filled, moved, sent, back, destroyed; filling lot by filling lot.

Bottles of one filling lot that an act moved together are one event, at most
:data:`MOST_BOTTLES` of them; more are several events that say the same. Destroyed ones
have an event each, because each may be found again and be declared not destroyed.
"""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Iterable, Iterator
from typing import Any, Final, NamedTuple

from batches.lifecycle import BottleStatus
from batches.models import BottleEvent
from quality.epcis.shapes import (
    COMMISSIONED,
    DID_NOT_OCCUR,
    MAKING,
    Event,
    amount,
    declared,
    step_to,
)
from quality.epcis.writing import OURS
from quality.services.tracking_events.scopes import AT_A_TIME, Scope, Told

MOST_BOTTLES: Final = 1000
# What takes a dispatch back moves its bottles, which never left: no event of its own.
NEVER_LEFT: Final = (BottleStatus.DISPATCHED, BottleStatus.FILLED)


class Move(NamedTuple):
    """A row of :class:`BottleEvent` with what its event says besides."""

    pk: int
    code: str
    lot: int
    old: str
    new: str
    place: int | None
    dispatch: int | None
    at: datetime.datetime
    recorded: datetime.datetime
    dispatch_code: str | None
    consignee: int | None
    dispatch_wrong: datetime.datetime | None
    destruction_wrong: datetime.datetime | None
    lot_code: str
    batch: str
    product: str
    filled_mg: int
    loss_mg: int
    use_by: datetime.date
    formula: int
    nominal_ul: int
    lot_entered: datetime.datetime

    @property
    def together(self) -> tuple[Any, ...]:
        """What rows of one act on one filling lot have in common."""
        alone = self.pk if self.new == BottleStatus.DESTROYED else 0
        acted = (self.old, self.new, self.place, self.dispatch, self.at)
        return (self.lot, alone, *acted)

    @property
    def wrong_since(self) -> datetime.datetime | None:
        """When it was recorded that this never was."""
        sent = self.new == BottleStatus.DISPATCHED
        return self.dispatch_wrong if sent else self.destruction_wrong


_COLUMNS: Final = (
    "pk",
    "bottle__code",
    "bottle__filling_lot",
    "old",
    "new",
    "place",
    "dispatch",
    "observed_at",
    "entered_at",
    "dispatch__code",
    "dispatch__consignee",
    "dispatch__taken_back__entered_at",
    "taken_back__entered_at",
    "bottle__filling_lot__code",
    "bottle__filling_lot__batch__stock__code",
    "bottle__filling_lot__batch__formula_version__product_name",
    "bottle__filling_lot__filled_mg",
    "bottle__filling_lot__loss_mg",
    "bottle__filling_lot__use_by",
    "bottle__filling_lot__batch__formula_version__formula",
    "bottle__filling_lot__nominal_ul",
    "bottle__filling_lot__entered_at",
)


def events(scope: Scope, told: Told) -> Iterator[Event]:
    """Yield the events of the bottles."""
    rows = scope.narrowed(
        BottleEvent.objects.all(),
        "bottle__filling_lot__batch",
        "observed_at",
        "dispatch__taken_back__entered_at",
        "taken_back__entered_at",
        bottled=True,
    )
    rows = rows.order_by("bottle__filling_lot", "pk")
    moves = itertools.starmap(Move, rows.values_list(*_COLUMNS).iterator(AT_A_TIME))
    for _, acted in itertools.groupby(moves, lambda move: move.together):
        for number, piece in enumerate(_pieces(acted)):
            yield from _events(told, piece, is_first=number == 0)


def _pieces(moves: Iterable[Move]) -> Iterator[list[Move]]:
    waiting = iter(moves)
    while piece := list(itertools.islice(waiting, MOST_BOTTLES)):
        yield piece


def _events(told: Told, piece: list[Move], *, is_first: bool) -> Iterator[Event]:
    move = piece[0]
    if (move.old, move.new) == NEVER_LEFT:
        return
    step, disposition = step_to(move.old, move.new)
    event: Event = {
        "eventID": told.names.event("bottles", move.pk),
        **told.when(move.at, move.recorded),
        "bizStep": step,
        "disposition": disposition,
    }
    if move.place is not None:
        event["bizLocation"] = {"id": told.names.place(move.place)}
    gtin = told.gtin(move.formula, move.nominal_ul, move.lot_entered)
    bottles = [told.names.bottle(one.code, gtin) for one in piece]
    if (step, disposition) == COMMISSIONED:
        event |= _filled(told, move, bottles, is_first=is_first)
    else:
        event |= _moved(told, move, bottles)
    yield event
    if move.wrong_since is not None:
        yield declared(event, move.wrong_since, DID_NOT_OCCUR)


def _filled(told: Told, move: Move, bottles: list[str], *, is_first: bool) -> Event:
    """Return what a filling says: of which batch, how much, and which bottles.

    The mass is in the first event of a filling; they all have one transformation.
    """
    taken_mg = move.filled_mg + move.loss_mg
    drawn = [amount(told.names.batch(move.batch), taken_mg)] if is_first else []
    return {
        "type": "TransformationEvent",
        "transformationID": f"{told.names.filling_lot(move.lot_code)}{MAKING}",
        **({"inputQuantityList": drawn} if drawn else {}),
        "outputEPCList": bottles,
        "ilmd": {
            "cbvmda:lotNumber": move.lot_code,
            "cbvmda:itemExpirationDate": move.use_by.isoformat(),
            f"{OURS}:product": move.product,
        },
    }


def _moved(told: Told, move: Move, bottles: list[str]) -> Event:
    is_end = move.new == BottleStatus.DESTROYED
    event: Event = {
        "type": "ObjectEvent",
        "action": "DELETE" if is_end else "OBSERVE",
        "epcList": bottles,
    }
    if move.new == BottleStatus.DISPATCHED and move.dispatch_code is not None:
        paper = told.names.dispatch(move.dispatch_code)
        event["bizTransactionList"] = [{"type": "desadv", "bizTransaction": paper}]
        if move.consignee is not None:
            to = told.names.consignee(move.consignee)
            event["destinationList"] = [{"type": "possessing_party", "destination": to}]
    return event
