"""Samples that changed: what they say about their bottles, and whether it was taken up.

Nothing is held by itself. A deviation of the batch is how it is decided what a change
means, and a critical one holds the batch with its bottles.
"""

from __future__ import annotations

import dataclasses

from django.db.models import Exists, OuterRef, Q, QuerySet

from batches.lifecycle import BottleStatus
from batches.models import FillingLot, SampleLook
from batches.services import samples
from quality.models import Deviation, DeviationStep
from quality.services import deviations
from quality.services.deviations import Standing

HERE = (BottleStatus.FILLED, BottleStatus.RETURNED, BottleStatus.RECOVERED)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Changes:
    """What changed in the samples of a filling lot.

    ``known`` are the deviations of the batch that are open, or were opened since it
    was entered; ``is_taken_up`` says whether each look has one. ``here`` is how many
    bottles are here and not on hold, ``out`` how many are with somebody else.
    """

    looks: list[SampleLook]
    known: list[Standing]
    is_taken_up: bool
    here: int
    out: int


def not_taken_up() -> QuerySet[SampleLook]:
    """Return the looks that found a change, with no deviation of the batch about it.

    One that is open takes it up, and so does one that was opened after the look was
    entered, however it was decided.
    """
    closed = DeviationStep.objects.filter(
        deviation=OuterRef("pk"), kind=DeviationStep.Kind.CLOSED
    )
    about = Deviation.objects.filter(
        Q(entered_at__gte=OuterRef("entered_at")) | ~Exists(closed),
        stock=OuterRef("sample__filling_lot__batch"),
    )
    return samples.changed().exclude(Exists(about))


def changes_of(lot: FillingLot) -> Changes | None:
    """Return what changed in the samples of a lot; None where nothing did."""
    looks = list(samples.changed().filter(sample__filling_lot=lot))
    if not looks:
        return None
    first = min(look.entered_at for look in looks)
    return Changes(
        looks=looks,
        known=[
            one
            for one in deviations.of_stocks([lot.batch_id])
            if one.is_open or one.deviation.entered_at >= first
        ],
        is_taken_up=not not_taken_up().filter(sample__filling_lot=lot).exists(),
        here=lot.bottles.filter(status__in=HERE).count(),
        out=lot.bottles.filter(status=BottleStatus.DISPATCHED).count(),
    )
