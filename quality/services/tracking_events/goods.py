"""Lots that came in, what was decided of lots and batches, what was thrown away."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from batches.lifecycle import BatchStatus
from batches.models import BatchStatusChange
from producer.models import LotStatusChange, RawLot, StockMovement
from quality.epcis.shapes import Event, amount
from quality.epcis.writing import OURS
from quality.services.tracking_events.scopes import AT_A_TIME, Scope, Told

HELD: Final = ("holding", "non_sellable_other")
GOOD: Final = ("inspecting", "conformant")
BAD: Final = ("inspecting", "non_conformant")
OF_LOT: Final = {
    RawLot.Status.QUARANTINE: HELD,
    RawLot.Status.ON_HOLD: HELD,
    RawLot.Status.RELEASED: GOOD,
    RawLot.Status.REJECTED: BAD,
}
# No other state says something of what was made.
OF_BATCH: Final = {
    BatchStatus.ON_HOLD: HELD,
    BatchStatus.RELEASED: GOOD,
    BatchStatus.REJECTED: BAD,
}


def events(scope: Scope, told: Told) -> Iterator[Event]:
    """Yield what came in, what was decided and what was thrown away."""
    yield from _received(scope, told)
    yield from _decided(scope, told, LotStatusChange, "lot", OF_LOT)
    yield from _decided(scope, told, BatchStatusChange, "batch", OF_BATCH)
    yield from _thrown_away(scope, told)


def _received(scope: Scope, told: Told) -> Iterator[Event]:
    rows = StockMovement.objects.filter(kind=StockMovement.Kind.RECEIPT)
    rows = scope.narrowed(rows, "stock", "observed_at").select_related(
        "stock__lot__material"
    )
    for row in rows.order_by("pk").iterator(AT_A_TIME):
        lot = row.stock.lot
        ilmd = {
            "cbvmda:lotNumber": lot.supplier_lot,
            f"{OURS}:material": lot.material.name,
        }
        if lot.expires_on:
            ilmd["cbvmda:itemExpirationDate"] = lot.expires_on.isoformat()
        supplier = told.names.supplier(lot.supplier_id)
        yield {
            "type": "ObjectEvent",
            "eventID": told.names.event("movement", row.pk),
            **told.when(row.observed_at, row.entered_at),
            # Our own code is given to it here, hence ADD.
            "action": "ADD",
            "bizStep": "receiving",
            "disposition": "in_progress",
            "quantityList": [amount(told.names.lot(row.stock.code), row.amount_mg)],
            "sourceList": [{"type": "possessing_party", "source": supplier}],
            "ilmd": ilmd,
        }


def _decided(
    scope: Scope, told: Told, model: Any, of: str, steps: dict[Any, tuple[str, str]]
) -> Iterator[Event]:
    rows = scope.narrowed(model.objects.filter(new__in=list(steps)), of, "observed_at")
    values = rows.order_by("pk").values_list(
        "pk", f"{of}__stock__code", "new", "observed_at", "entered_at"
    )
    for pk, code, new, at, recorded in values.iterator(AT_A_TIME):
        step, disposition = steps[new]
        yield {
            "type": "ObjectEvent",
            "eventID": told.names.event(f"{of}-decision", pk),
            **told.when(at, recorded),
            "action": "OBSERVE",
            "bizStep": step,
            "disposition": disposition,
            # All there is of it, however much that is.
            "quantityList": [amount(told.names.stock(of, code))],
        }


def _thrown_away(scope: Scope, told: Told) -> Iterator[Event]:
    rows = StockMovement.objects.filter(kind=StockMovement.Kind.DISPOSAL)
    values = scope.narrowed(rows, "stock", "observed_at").order_by("pk")
    for row in values.select_related("stock").iterator(AT_A_TIME):
        name = told.names.stock(row.stock.kind, row.stock.code)
        yield {
            "type": "ObjectEvent",
            "eventID": told.names.event("movement", row.pk),
            **told.when(row.observed_at, row.entered_at),
            "action": "DELETE",
            "bizStep": "destroying",
            "disposition": "destroyed",
            "quantityList": [amount(name, -row.amount_mg)],
        }
