"""States: each is what the last recorded move led to, and so is who has what."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db.models import (
    BigIntegerField,
    CharField,
    F,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
)
from django.db.models.functions import Coalesce

from batches.lifecycle import BatchStatus, BottleStatus
from batches.models import Batch, BatchStatusChange, Bottle, BottleEvent
from producer.models import Consignee, LotStatusChange, RawLot
from quality.models import Recall, RecallChange, RecallEvent, RecallItem


def status_faults() -> Iterator[str]:
    """Yield a fault where a state is not what the last recorded move led to."""
    for lot in _strays(
        RawLot.objects.select_related("stock"),
        LotStatusChange.objects.filter(lot=OuterRef("pk")),
        RawLot.Status.QUARANTINE,
    ):
        yield _stray(f"Raw lot {lot.code}", lot.status, lot.last)
    for batch in _strays(
        Batch.objects.select_related("stock"),
        BatchStatusChange.objects.filter(batch=OuterRef("pk")),
        "unknown",
    ):
        yield _stray(f"Batch {batch.number}", batch.status, batch.last)
    for bottle in _strays(
        Bottle.objects.all(),
        BottleEvent.objects.filter(bottle=OuterRef("pk")),
        "unknown",
    ):
        yield _stray(f"Bottle {bottle.code}", bottle.status, bottle.last)
    yield from _holder_faults()


def recall_faults() -> Iterator[str]:
    """Yield a fault where a recall is not at its last step, or holds the wrong lots."""
    for recall in _strays(
        Recall.objects.all(),
        RecallEvent.objects.filter(recall=OuterRef("pk")),
        "unknown",
    ):
        yield _stray(f"Recall {recall.code}", recall.status, recall.last)
    still_open = Recall.objects.filter(is_mock=False).exclude(
        status=Recall.Status.CLOSED
    )
    lots = RawLot.objects.select_related("stock").order_by("pk")
    held_for_nothing = lots.exclude(frozen_by="").exclude(
        frozen_by__in=still_open.values("code")
    )
    for lot in held_for_nothing.iterator():
        yield (
            f"Raw lot {lot.code} is held by recall {lot.frozen_by}, which is not open."
        )
    items = RecallItem.objects.standing().filter(recall__in=still_open)
    affected = items.values("stock")
    for lot in lots.filter(frozen_by="", pk__in=affected).iterator():
        yield f"Raw lot {lot.code} is in an open recall that does not hold it."
    yield from _released_in_a_recall(still_open)


def _released_in_a_recall(still_open: QuerySet[Recall]) -> Iterator[str]:
    """Yield a fault where a batch was released while it lay in an open recall."""
    # By the newest look at the recall before that: a later one may have cleared it.
    changes = RecallChange.objects.filter(
        item=OuterRef("pk"), revision__entered_at__lte=OuterRef(OuterRef("entered_at"))
    )
    newest = changes.order_by("-pk").values("is_affected")[:1]
    then_open = (
        RecallItem.objects.alias(
            affected=Coalesce(Subquery(newest), Value(True))  # noqa: FBT003 - SQL
        )
        .filter(
            Q(recall__closed_at=None) | Q(recall__closed_at__gt=OuterRef("entered_at")),
            stock=OuterRef("batch"),
            recall__is_mock=False,
            found_at__lte=OuterRef("entered_at"),
        )
        .filter(affected=True)
    )
    releases = BatchStatusChange.objects.filter(new=BatchStatus.RELEASED)
    freed: QuerySet[Any] = releases.annotate(
        recall=Subquery(then_open.values("recall__code")[:1])
    ).exclude(recall=None)
    for move in freed.select_related("batch__stock").order_by("pk").iterator():
        yield (
            f"Batch {move.batch.number} was released while the open recall"
            f" {move.recall} affected it."
        )
    items = RecallItem.objects.standing().filter(recall__in=still_open)
    affected = items.values("stock")
    free = Batch.objects.filter(status=BatchStatus.RELEASED, pk__in=affected)
    for batch in free.select_related("stock").order_by("pk").iterator():
        yield f"Batch {batch.number} is released and in a recall that is open."


def _holder_faults() -> Iterator[str]:
    """Yield a fault where a bottle is with somebody else than it was dispatched to."""
    # Back in stock nobody has it; by every other move it stays with whom it went to.
    moves = BottleEvent.objects.filter(
        bottle=OuterRef("pk"), new__in=[BottleStatus.FILLED, BottleStatus.DISPATCHED]
    )
    newest = Subquery(moves.order_by("-pk").values("dispatch__consignee")[:1])
    nobody = Value(0, output_field=BigIntegerField())
    bottles: QuerySet[Any] = Bottle.objects.annotate(
        has=Coalesce(F("consignee_id"), nobody, output_field=BigIntegerField()),
        went_to=Coalesce(newest, nobody, output_field=BigIntegerField()),
    ).exclude(has=F("went_to"))
    for bottle in bottles.select_related("consignee").order_by("pk").iterator():
        sent = Consignee.objects.filter(pk=bottle.went_to).first()
        yield (
            f"Bottle {bottle.code} is with {bottle.consignee or 'nobody'}, but was last"
            f" dispatched to {sent or 'nobody'}."
        )


def _strays(
    records: QuerySet[Any], moves: QuerySet[Any], without: str
) -> Iterator[Any]:
    """Yield the records whose state is not ``last``; with no move, ``without``."""
    newest = Subquery(moves.order_by("-pk").values("new")[:1])
    last = Coalesce(newest, Value(without), output_field=CharField())
    strays = records.annotate(last=last).exclude(status=F("last"))
    yield from strays.order_by("pk").iterator()


def _stray(label: str, status: str, last: str) -> str:
    return (
        f"{label} is {status.replace('_', ' ')}, but its last recorded move led to"
        f" {last.replace('_', ' ')}."
    )
