"""What is due, held, waiting, expiring or failing today."""

from __future__ import annotations

import dataclasses
import datetime
from typing import Any

from django.db.models import Q

from batches.lifecycle import BatchStatus
from batches.models import Batch
from producer.models import Instrument, RawLot
from quality.models import Recall
from quality.services import deviations, impact

SOON = datetime.timedelta(days=30)
MOST_SHOWN = 10


@dataclasses.dataclass(frozen=True)
class Due:
    """Records of one kind that somebody should look at."""

    heading: str
    kind: str
    rows: list[Any]


def due(today: datetime.date) -> list[Due]:
    """Return only the kinds of which there is something; empty on an empty day."""
    soon = today + SOON
    batches = Batch.objects.listed()
    lots = RawLot.objects.listed()
    in_stock = lots.filter(status=RawLot.Status.RELEASED, stock__on_hand_mg__gt=0)
    deviating = list(deviations.found("", "open")[:MOST_SHOWN])
    in_hand = {one.instrument_id for one in deviating}
    found = [
        Due("Open recalls", "recall", _open_recalls()),
        Due("Open deviations", "deviation", deviating),
        Due(
            "Failed instruments: what depends on them is not looked into",
            "failed check",
            [
                check
                for check in impact.not_looked_into()
                if check.instrument_id not in in_hand
            ],
        ),
        Due(
            "On hold: to review again",
            "batch",
            list(batches.filter(status=BatchStatus.ON_HOLD)[:MOST_SHOWN]),
        ),
        Due(
            "Waiting for review",
            "batch",
            list(batches.filter(status=BatchStatus.AWAITING_REVIEW)[:MOST_SHOWN]),
        ),
        Due(
            "In the pot or planned",
            "batch",
            list(
                batches.filter(
                    status__in=[BatchStatus.PLANNED, BatchStatus.IN_PROCESS]
                )[:MOST_SHOWN]
            ),
        ),
        Due(
            "Rejected: rework or dispose of",
            "batch",
            list(batches.filter(status=BatchStatus.REJECTED)[:MOST_SHOWN]),
        ),
        Due(
            "Raw lots to decide about",
            "lot",
            list(
                lots.filter(
                    status__in=[RawLot.Status.QUARANTINE, RawLot.Status.ON_HOLD]
                )[:MOST_SHOWN]
            ),
        ),
        Due(
            "Raw lots past or near a date",
            "lot",
            list(
                in_stock.filter(Q(expires_on__lte=soon) | Q(retest_on__lte=soon))[
                    :MOST_SHOWN
                ]
            ),
        ),
        Due(
            "Test strips and instruments past or near their date",
            "instrument",
            list(Instrument.objects.filter(in_use=True, expires_on__lte=soon)),
        ),
    ]
    return [one for one in found if one.rows]


def _open_recalls() -> list[Recall]:
    return list(
        Recall.objects.exclude(status=Recall.Status.CLOSED).select_related("root")
    )
