"""Notices of a recall in plain words, one for each holder, and one to post.

After 21 CFR 7.49(c)(1) as a pattern: short; which product, size, lot and numbers; stop
using it; what to do with it; tell those it went on to. The all clear likewise. Nothing
is sent from here; names are read from the register each time.
"""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterator, Sequence
from typing import Any

from django.db.models import QuerySet

from batches.lifecycle import BatchStatus, BottleStatus
from batches.models import Bottle, FillingLot
from quality.models import Recall
from quality.services import recall_scope
from quality.services.recall_clearing import all_clear_list
from quality.services.recall_holders import holders_of, listed
from quality.services.recall_revising import cleared_lots
from quality.services.recall_scope import Scope
from quality.services.recall_spans import Span, add, in_words


@dataclasses.dataclass(kw_only=True)
class Goods:
    """Bottles of one filling lot, as a person with one in hand knows them."""

    product: str
    nominal_ul: int
    batch: str
    filled_at: datetime.datetime
    filling_lot: str
    runs: list[Span] = dataclasses.field(default_factory=list)

    @property
    def numbers(self) -> str:
        """Their numbers as ranges."""
        return in_words(self.runs)

    @property
    def count(self) -> int:
        """How many."""
        return sum(last - first + 1 for first, last in self.runs)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Letter:
    """One notice to one holder, or the one to post, which has no ``name``.

    ``tells_on`` says that they are to tell those it went on to, ``anew`` that they were
    told of others before, ``keeps_others`` that an all clear is not for all they have,
    ``waits`` that what is clear is on hold for another reason.
    """

    name: str
    address: str
    goods: Sequence[Goods]
    tells_on: bool = False
    anew: bool = False
    is_clear: bool = False
    was_told: bool = False
    waits: bool = False
    keeps_others: bool = False

    @property
    def count(self) -> int:
        """How many bottles it is about."""
        return sum(one.count for one in self.goods)


def letters_of(recall: Recall) -> list[Letter]:
    """Return a notice for each holder who is to be told, in the order to telephone."""
    scope = recall_scope.scope_of(recall)
    by_holder = _goods(scope)
    tells_on = recall.depth in {"", Recall.Depth.CONSUMER}
    letters = []
    for holder in listed(holders_of(recall, scope)):
        goods = by_holder.get(holder.consignee_id or 0)
        if goods and holder.erased_at is None:
            letters.append(
                Letter(
                    name=holder.name,
                    address=holder.address,
                    goods=goods,
                    tells_on=tells_on,
                    anew=holder.is_to_be_told_anew,
                )
            )
    return letters


def poster_of(recall: Recall) -> Letter:
    """Return the notice to post where people may have a bottle: all that are out."""
    scope = recall_scope.scope_of(recall)
    goods = list(_by_lot(_out(scope)))
    return Letter(name="", address="", goods=goods, tells_on=True)


def all_clears_of(recall: Recall) -> list[Letter]:
    """Return an all clear for each who was told, or has a bottle that is clear."""
    lots, _ = cleared_lots(recall)
    by_holder = _goods(Scope(roots=[], made_ids=[], held_ids=[], lot_ids=_ids(lots)))
    held = {one.code for one in lots if one.batch.status != BatchStatus.RELEASED}
    return [
        Letter(
            name=one.name,
            address=one.consignee.address,
            goods=by_holder.get(one.consignee.pk, []),
            is_clear=True,
            was_told=one.was_told,
            waits=bool(held & one.lots.keys()),
            keeps_others=one.keeps_others,
        )
        for one in all_clear_list(recall)
        if one.consignee is not None and one.consignee.erased_at is None
    ]


def _out(scope: Scope) -> QuerySet[Bottle]:
    rows = Bottle.objects.filter(scope.bottles(), status=BottleStatus.DISPATCHED)
    return rows.order_by("filling_lot_id", "number")


def _goods(scope: Scope) -> dict[int, list[Goods]]:
    """Return what each consignee holds of a scope, by id, in order of filling."""
    found: dict[int, list[Goods]] = {}
    for holder, number, *of in _rows(_out(scope)):
        mine = found.setdefault(holder or 0, [])
        goods = _of_lot(*of)
        if not mine or mine[-1].filling_lot != goods.filling_lot:
            mine.append(goods)
        add(mine[-1].runs, number)
    return found


def _by_lot(bottles: QuerySet[Bottle]) -> Iterator[Goods]:
    now: Goods | None = None
    for _, number, *of in _rows(bottles):
        goods = _of_lot(*of)
        if now is None or now.filling_lot != goods.filling_lot:
            if now is not None:
                yield now
            now = goods
        add(now.runs, number)
    if now is not None:
        yield now


def _of_lot(
    product: str, size: int, batch: str, filled_at: datetime.datetime, lot: str
) -> Goods:
    return Goods(
        product=product,
        nominal_ul=size,
        batch=batch,
        filled_at=filled_at,
        filling_lot=lot,
    )


def _ids(lots: Sequence[FillingLot]) -> list[int]:
    return [one.pk for one in lots]


def _rows(bottles: QuerySet[Bottle]) -> Iterator[tuple[Any, ...]]:
    yield from bottles.values_list(
        "consignee_id",
        "number",
        "filling_lot__batch__formula_version__product_name",
        "filling_lot__nominal_ul",
        "filling_lot__batch__stock__code",
        "filling_lot__observed_at",
        "filling_lot__code",
    ).iterator()
