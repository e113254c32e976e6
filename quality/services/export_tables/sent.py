"""What was sent of the bottles of a batch, and what was recorded by mistake."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import Count, Q

from batches.models import Batch, DestructionTakenBack, Dispatch
from quality.services.export_tables.cells import WHEN, Row, Table


def _dispatches(batch: Batch) -> Iterator[Row]:
    of_batch = Q(events__new="dispatched", events__bottle__filling_lot__batch=batch)
    rows = Dispatch.objects.annotate(bottles=Count("events", filter=of_batch))
    rows = rows.filter(bottles__gt=0).select_related(
        "consignee", "entered_by__person", "taken_back__entered_by__person"
    )
    for row in rows.order_by("pk"):
        back = getattr(row, "taken_back", None)
        yield (
            batch.number,
            row.code,
            row.consignee.name,
            row.bottles,
            row.note,
            back is not None,
            back.reason if back else "",
            back.entered_at if back else None,
            back.entered_by.person.name if back else "",
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


DISPATCHES = Table(
    name="dispatches",
    about="what left of the batch, to whom and how many bottles of it; one that is"
    " taken back was recorded by mistake, and none of its bottles left in it",
    head=(
        *("batch", "dispatch", "to", "bottles", "note", "is_taken_back"),
        *("taken_back_because", "taken_back_at", "taken_back_by", *WHEN),
    ),
    rows=_dispatches,
)


def _destructions(batch: Batch) -> Iterator[Row]:
    rows = DestructionTakenBack.objects.filter(event__bottle__filling_lot__batch=batch)
    rows = rows.select_related(
        "event__bottle__filling_lot", "event__entered_by__person", "entered_by__person"
    )
    for row in rows.order_by("pk"):
        yield (
            batch.number,
            row.event.bottle.filling_lot.code,
            row.event.bottle.code,
            row.event.observed_at,
            row.event.entered_by.person.name,
            row.event.reason,
            row.reason,
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


DESTRUCTIONS_TAKEN_BACK = Table(
    name="destructions_taken_back",
    about="bottles that were recorded as destroyed by mistake, and found",
    head=(
        *("batch", "filling_lot", "bottle", "destroyed_at", "destroyed_by"),
        *("destroyed_because", "taken_back_because", *WHEN),
    ),
    rows=_destructions,
)
