"""What went into the pot and what came out of it: the transformations.

A batch is one transformation over days: an event for each charge and one for what was
weighed out, all with the same ``transformationID``. So each can be declared wrong by
itself, and a batch that is still in the pot has what is in it so far.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Any

from django.db.models import Exists, OuterRef

from batches.models import (
    BulkWeighing,
    Charge,
    Discrepancy,
    DiscrepancyEnd,
    Input,
)
from quality.epcis.shapes import (
    DID_NOT_OCCUR,
    INCORRECT_DATA,
    MAKING,
    Event,
    amount,
    declared,
)
from quality.epcis.writing import OURS
from quality.services.tracking_events.scopes import AT_A_TIME, Scope, Told

_CORRECTED = ("superseded_by", "superseded_by__is_void", "superseded_by__entered_at")
_TIMES = ("observed_at", "superseded_by__entered_at")


def events(scope: Scope, told: Told) -> Iterator[Event]:
    """Yield the charges, the entries the book could not take, and what came out."""
    yield from _charges(scope, told)
    yield from _kept(scope, told)
    yield from _outputs(scope, told)


def _charges(scope: Scope, told: Told) -> Iterator[Event]:
    rows = scope.narrowed(Charge.objects.filter(is_void=False), "batch", *_TIMES)
    values = rows.order_by("pk").values_list(
        "pk",
        "batch__stock__code",
        "source__kind",
        "source__code",
        "net_mg",
        "observed_at",
        "entered_at",
        *_CORRECTED,
    )
    for pk, batch, kind, source, net_mg, at, recorded, *new in values.iterator(
        AT_A_TIME
    ):
        went_in = amount(told.names.stock(kind, source), net_mg)
        event = {
            **_of_batch(told, "charge", pk, batch, at, recorded),
            "inputQuantityList": [went_in],
        }
        yield from _with_correction(told, "charge", event, *new)


def _outputs(scope: Scope, told: Told) -> Iterator[Event]:
    rows = scope.narrowed(BulkWeighing.objects.filter(is_void=False), "batch", *_TIMES)
    values = rows.order_by("pk").values_list(
        "pk",
        "batch__stock__code",
        "batch__formula_version__formula__name",
        "net_mg",
        "observed_at",
        "entered_at",
        *_CORRECTED,
    )
    for pk, batch, product, net_mg, at, recorded, *new in values.iterator(AT_A_TIME):
        event = {
            **_of_batch(told, "weighing", pk, batch, at, recorded),
            "outputQuantityList": [amount(told.names.batch(batch), net_mg)],
            "ilmd": {"cbvmda:lotNumber": batch, f"{OURS}:product": product},
        }
        yield from _with_correction(told, "weighing", event, *new)


def _of_batch(
    told: Told,
    kind: str,
    pk: int,
    batch: str,
    at: datetime.datetime,
    recorded: datetime.datetime,
) -> Event:
    return {
        "type": "TransformationEvent",
        "eventID": told.names.event(kind, pk),
        **told.when(at, recorded),
        "transformationID": f"{told.names.batch(batch)}{MAKING}",
        "bizStep": "creating_class_instance",
        "disposition": "in_progress",
    }


def _with_correction(
    told: Told,
    kind: str,
    event: Event,
    by: int | None,
    is_void: bool | None,  # noqa: FBT001
    since: datetime.datetime | None,
) -> Iterator[Event]:
    """Yield an event and, if its row was corrected or taken back, that it was wrong."""
    yield event
    if by is None or since is None:
        return
    if is_void:
        yield declared(event, since, DID_NOT_OCCUR)
    else:
        yield declared(event, since, INCORRECT_DATA, told.names.event(kind, by))


def _kept(scope: Scope, told: Told) -> Iterator[Event]:
    """Yield the entries from devices that the book could not take, without a mass.

    Each until somebody enters it, which is a charge of its own, or says that nothing
    went in: then it is declared wrong.
    """
    edge = Input.objects.filter(batch=OuterRef("batch"), source=OuterRef("stock"))
    rows: Any = (
        Discrepancy.objects.filter(stock__isnull=False)
        .annotate(is_in=Exists(edge))
        # Of another kind: nothing of it could be in there.
        .exclude(is_in=False, end__isnull=True)
    )
    rows = scope.narrowed(rows, "batch", "observed_at", "end__entered_at")
    rows = rows.select_related("batch__stock", "stock", "end")
    for row in rows.order_by("pk").iterator(AT_A_TIME):
        event = {
            **_of_batch(
                told,
                "kept",
                row.pk,
                row.batch.stock.code,
                row.observed_at,
                row.entered_at,
            ),
            "inputQuantityList": [
                amount(told.names.stock(row.stock.kind, row.stock.code))
            ],
        }
        yield event
        end = getattr(row, "end", None)
        if end is not None and end.outcome == DiscrepancyEnd.Outcome.ENTERED:
            yield declared(event, end.entered_at, INCORRECT_DATA)
        elif end is not None and not row.is_in:
            yield declared(event, end.entered_at, DID_NOT_OCCUR)
