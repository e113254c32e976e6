"""What stands in the way of closing a complaint besides its own steps.

An open deviation of its batch, and an open recall that reaches it: what they find can
change what was concluded, so they end first. Nothing is decided or written here.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence

from django.db.models import Exists, OuterRef, Q
from django.urls import reverse

from batches import trace
from batches.models import Batch, FillingLot
from quality.models import ComplaintAccount, Recall, RecallItem, RecallRoot
from quality.services import complaints, deviations, recall_scope


@dataclasses.dataclass(frozen=True, kw_only=True)
class Touching:
    """A real recall that reaches what a complaint is about, or did once.

    ``reaches`` says that it does by the book as it is now.
    """

    recall: Recall
    reaches: bool

    @property
    def is_open(self) -> bool:
        """Say whether it is not closed."""
        return self.recall.status != Recall.Status.CLOSED


@dataclasses.dataclass(frozen=True, kw_only=True)
class Obstacle:
    """One thing that must end first: a sentence, what to do, and its page."""

    words: str
    do: str
    at: str


def recalls_of(batch: Batch, lot: FillingLot | None) -> list[Touching]:
    """Return the real recalls, open and closed, of a batch or one filling lot of it.

    Also those that found the batch affected and do not reach it now. Of a batch
    without a lot, those of any of its filling lots as well.
    """
    in_lot = Q(filling_lot=lot.pk) if lot else Q(filling_lot__batch=batch.pk)
    roots = RecallRoot.objects.filter(in_lot, recall=OuterRef("pk"))
    standing = RecallRoot.objects.standing().filter(in_lot, recall=OuterRef("pk"))
    items = RecallItem.objects.filter(stock=batch.pk, recall=OuterRef("pk"))
    real = Recall.objects.filter(is_mock=False)
    above = recall_scope.reaching(trace.upstream_ids(batch.pk), lot.pk if lot else None)
    now = {
        *above.values_list("pk", flat=True),
        *real.filter(in_lot | Q(Exists(standing))).values_list("pk", flat=True),
    }
    ever = real.filter(Q(pk__in=now) | Q(Exists(roots)) | Q(Exists(items)))
    return [
        Touching(recall=one, reaches=one.pk in now)
        for one in ever.order_by("pk").distinct()
    ]


def in_the_way(account: ComplaintAccount) -> list[Obstacle]:
    """Return what must end before a complaint with this account is closed."""
    batch = complaints.batch_of(account)
    if batch is None:
        return []
    return in_the_way_of(
        deviations.of_stocks([batch.pk]), recalls_of(batch, complaints.lot_of(account))
    )


def in_the_way_of(
    known: Sequence[deviations.Standing], recalls: Sequence[Touching]
) -> list[Obstacle]:
    """Return which of these deviations and recalls must end first."""
    return [*_deviations(known), *_recalls(recalls)]


def _deviations(known: Sequence[deviations.Standing]) -> Iterator[Obstacle]:
    for one in known:
        if one.is_open:
            yield Obstacle(
                words=(
                    f"Deviation {one.code} of {one.name} is open"
                    f" ({one.classification.value}). It is decided before the"
                    " complaint is closed."
                ),
                do="See the deviation",
                at=reverse("quality:deviation", args=[one.code]),
            )


def _recalls(recalls: Sequence[Touching]) -> Iterator[Obstacle]:
    for one in recalls:
        if one.is_open and one.reaches:
            yield Obstacle(
                words=(
                    f"Recall {one.recall.code} is open and reaches it. It is carried"
                    " through and closed before the complaint is."
                ),
                do="See the recall",
                at=reverse("quality:recall", args=[one.recall.code]),
            )
