"""Dispatches found by words: their code, who got them, the note, and what was sent."""

from __future__ import annotations

from django.db.models import Count, Q, QuerySet

from batches.lifecycle import BottleStatus
from batches.models import Bottle, BottleEvent, Dispatch, FillingLot
from producer.codes import normalise


def found(words: str = "") -> QuerySet[Dispatch]:
    """Return the dispatches that all these words fit, newest first, with ``bottles``.

    A word is a part of the code, of the name of the consignee or of the note, the code
    of a bottle or a filling lot, or a batch number.
    """
    rows = Dispatch.objects.select_related(
        "consignee", "entered_by__person", "taken_back__entered_by__person"
    ).annotate(bottles=Count("events", filter=Q(events__new=BottleStatus.DISPATCHED)))
    for word in words.split():
        rows = rows.filter(
            Q(code__icontains=word)
            | Q(consignee__name__icontains=word)
            | Q(note__icontains=word)
            | Q(pk__in=_with_bottle(word))
        )
    return rows.order_by("-pk")


def _with_bottle(word: str) -> QuerySet[BottleEvent]:
    lots = FillingLot.objects.filter(
        Q(code__iexact=word) | Q(batch__stock__code__iexact=word)
    )
    bottles = Bottle.objects.filter(Q(code=normalise(word)) | Q(filling_lot__in=lots))
    sent = BottleEvent.objects.filter(
        bottle__in=bottles, new=BottleStatus.DISPATCHED, dispatch__isnull=False
    )
    return sent.values("dispatch")  # type: ignore[return-value]
