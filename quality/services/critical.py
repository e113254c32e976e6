"""A critical deviation: what can harm somebody stays here while it is looked into."""

from __future__ import annotations

from typing import Any

from producer.models import Stock, User
from producer.services import intake
from quality.models import Deviation
from quality.services import deviations, holding


def hold(*, by: User, deviation: Deviation, now: str) -> dict[str, Any]:
    """Hold what it is about and all made from it, with their bottles; for the journal.

    ``now`` is the class it is given; any other than critical holds nothing.
    Whoever found it: making it safer needs no right of a reviewer, lifting it does.
    Callers hold the transaction. An instrument holds nothing: what it measured is
    found on its page.
    """
    stock = deviation.stock
    if stock is None or now != Deviation.Class.CRITICAL:
        return {}
    reason = f"Deviation {deviation.code} of {deviations.name_of(deviation)}: critical."
    ids, facts = holding.below([stock.pk]), {}
    if stock.kind == Stock.Kind.BATCH:
        ids = [stock.pk, *ids]
    elif intake.hold_if_released(by, stock.lot, reason):
        facts = {"lots_held": [stock.code]}
    return {**facts, **holding.hold(by=by, batch_ids=ids, reason=reason).facts}
