"""Potash that was opened before: put on the scale, as a charge of it asks."""

from __future__ import annotations

import datetime

from django.utils import timezone

from batches.models import Batch
from batches.services import containers, potash_gain
from producer.models import Instrument, Stock, User

TIN_MG = 350_000


def weigh(
    by: User,
    batch: Batch,
    source: Stock,
    scale: Instrument,
    at: datetime.datetime | None = None,
) -> None:
    """Weigh a lot of potash if that is asked for: it weighs what the book says."""
    at = at or timezone.now()
    if not potash_gain.is_potash(source):
        return
    if potash_gain.is_unopened(batch, source, None, at):
        return
    on_hand = Stock.objects.get(pk=source.pk).on_hand_mg
    if on_hand > 0 and potash_gain.weighed_lately(batch, source, None, at) is None:
        containers.weigh_container(
            by=by,
            lot=source.lot,
            scale=scale,
            gross_mg=on_hand + TIN_MG,
            tare_mg=TIN_MG,
            observed_at=at,
        )
