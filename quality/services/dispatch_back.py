"""A dispatch taken back: what recalls and results say about its bottles by now."""

from __future__ import annotations

import uuid
from collections.abc import Collection

from batches.models import Dispatch, DispatchTakenBack, FillingLot
from batches.services import dispatch_back
from producer.models import User
from quality.services import filling_checks, supplying


def take_back(
    *,
    by: User,
    dispatch: Dispatch,
    reason: str,
    submission: uuid.UUID | None = None,
) -> DispatchTakenBack:
    """Record that a dispatch never was, as :func:`batches.services.dispatch_back`.

    Refused while an open real recall lists a bottle of it. What a weighing holds, or
    something within, is held again.
    """
    return dispatch_back.take_back(
        by=by,
        dispatch=dispatch,
        reason=reason,
        recalled=recalled,
        held=held,
        submission=submission,
    )


def recalled(lots: Collection[FillingLot]) -> dict[int, str]:
    """Return, by filling lot that an open real recall lists, which one it is."""
    return supplying.recalled([lot.pk for lot in lots])


def held(lots: Collection[FillingLot]) -> dict[int, str]:
    """Return, by filling lot that its newest weighing holds, the reason to keep."""
    return {
        lot.pk: filling_checks.held_words(lot)
        for lot in lots
        if filling_checks.newest_stops(lot)
    }
