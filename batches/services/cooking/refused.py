"""A draw that was refused leaves a trace too: who wanted how much of what, and when."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any, ParamSpec, cast

from django.db import transaction

from batches.models import Batch, Charge
from producer import journal
from producer.errors import NotEnough
from producer.models import Stock, User

P = ParamSpec("P")


def leaves_a_trace(service: Callable[P, Charge]) -> Callable[P, Charge]:
    """Write a refused draw into the journal, in a transaction of its own.

    The refusal has rolled everything back by then, so of two who draw the last grams
    at once both are on record: one as a charge, the other as refused. Without the id of
    the form, which may be sent again. Where the caller has a transaction around it, the
    trace stays or goes with that.
    """

    @functools.wraps(service)
    def traced(*args: P.args, **kwargs: P.kwargs) -> Charge:
        try:
            return service(*args, **kwargs)
        except NotEnough as refusal:
            _write(cast("dict[str, Any]", kwargs), refusal)
            raise

    return traced


@transaction.atomic
def _write(facts: dict[str, Any], refusal: NotEnough) -> None:
    by: User = facts["by"]
    corrected: Charge | None = facts.get("charge")
    batch: Batch = corrected.batch if corrected else facts["batch"]
    source: Stock = facts.get("source") or cast("Charge", corrected).source
    wanted = facts.get("gross_mg", 0) - facts.get("tare_mg", 0)
    journal.write(
        by=by,
        act="draw refused",
        subject=batch,
        label=batch.number,
        after={
            "source": source.code,
            "wanted_mg": wanted,
            "refused": refusal.message,
        },
    )
