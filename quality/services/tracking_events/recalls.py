"""Recalls that were opened; a mock one is an exercise and no event."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from django.db.models import Prefetch, Q

from batches.models import FillingLot
from batches.trace import among
from producer.models import Stock
from quality.epcis.shapes import INCORRECT_DATA, Event, amount, declared
from quality.models import Recall, RecallChange, RecallRoot
from quality.services.tracking_events.scopes import AT_A_TIME, Scope, Told


def events(scope: Scope, told: Told) -> Iterator[Event]:
    """Yield, of each recall, that what it began with or was traced to is recalled.

    What was traced has an event for each, at the time at which it was found; what a
    later look cleared is declared wrong, and found again it has another. What is only
    held, because a container of it is bad, is not said to be recalled.
    """
    rows = Recall.objects.filter(_of(scope, "root", "filling_lot"), is_mock=False)
    rows = rows.exclude(root=None, filling_lot=None)
    opened = scope.narrowed_to_days(rows, "opened_at").select_related(
        "root", "filling_lot__batch__formula_version"
    )
    for row in opened.order_by("pk").iterator(AT_A_TIME):
        name = _name(told, row.root, row.filling_lot)
        yield _event(told, ("recall", row.pk), row.opened_at, row.code, name)
    roots = RecallRoot.objects.filter(
        _of(scope, "stock", "filling_lot"), is_walked=True, recall__is_mock=False
    )
    traced = scope.narrowed_to_days(
        roots, "found_at", "changes__revision__observed_at"
    ).distinct()
    traced = traced.select_related(
        "recall", "stock", "filling_lot__batch__formula_version"
    ).prefetch_related(
        Prefetch("changes", RecallChange.objects.select_related("revision"))
    )
    for root in traced.order_by("pk").iterator(AT_A_TIME):
        yield from _of_root(told, root)


def _of_root(told: Told, root: RecallRoot) -> Iterator[Event]:
    """Yield that it was found, declared wrong when a later look cleared it; and again.

    A look that found it for the first time is no second event.
    """
    code, name = root.recall.code, _name(told, root.stock, root.filling_lot)
    stands = _event(told, ("recall-root", root.pk), root.found_at, code, name)
    is_affected = True
    yield stands
    for change in sorted(root.changes.all(), key=lambda one: one.pk):
        if change.is_affected == is_affected:
            continue
        is_affected, at = change.is_affected, change.revision.observed_at
        if is_affected:
            stands = _event(told, ("recall-found-again", change.pk), at, code, name)
            yield stands
        else:
            yield declared(stands, at, INCORRECT_DATA)


def _of(scope: Scope, stock: str, filling_lot: str) -> Q:
    """Return the condition that something in the scope is what was recalled."""
    if scope.stocks is None:
        return Q()
    of_lot = Q(**{f"{filling_lot}__batch__in": among(scope.bottled or ())})
    return Q(**{f"{stock}__in": among(scope.stocks)}) | of_lot


def _name(told: Told, stock: Stock | None, filling_lot: FillingLot | None) -> str:
    if stock is not None:
        return told.names.stock(stock.kind, stock.code)
    if filling_lot is None:
        raise AssertionError("A recall of nothing.")
    formula = filling_lot.batch.formula_version.formula_id
    gtin = told.gtin(formula, filling_lot.nominal_ul, filling_lot.entered_at)
    return told.names.filling_lot(filling_lot.code, gtin)


def _event(
    told: Told, key: tuple[str, int], at: datetime.datetime, recall: str, name: str
) -> Event:
    return {
        "type": "ObjectEvent",
        "eventID": told.names.event(*key),
        **told.when(at, at),
        "action": "OBSERVE",
        "bizStep": "holding",
        "disposition": "recalled",
        "quantityList": [amount(name)],
        # No paper of the vocabulary is a recall: the type is left out.
        "bizTransactionList": [{"bizTransaction": told.names.recall(recall)}],
    }
