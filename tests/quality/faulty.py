"""Builders of deviations, made by the services themselves."""

from __future__ import annotations

from typing import Any

from batches.models import Batch
from producer.models import Stock, User
from quality.models import Deviation, DeviationStep
from quality.services import deviating
from tests import make
from tests.once import once


@once
def deviation(
    by: User, stock: Stock | None = None, characteristic: str = "", **changes: Any
) -> Deviation:
    """Open a deviation about a stock, or what ``changes`` say."""
    facts = {
        "stock": stock,
        "characteristic": characteristic,
        "classification": "major",
        "what": "the strip said 11",
        **changes,
    }
    return deviating.open_deviation(by=by, **facts)


@once
def looked_into(by: User, found: Deviation) -> Deviation:
    """Add a cause, an action, and a further test."""
    for kind, text in (
        ("cause", "the sample came from the rim of the pot"),
        ("action", "stirred for ten minutes, sampled from the middle"),
        ("test", "tested again from the middle, with the meter checked"),
    ):
        deviating.add_step(by=by, deviation=found, kind=kind, text=text)
    return found


def close(by: User, found: Deviation, decision: str, **changes: Any) -> DeviationStep:
    """Sign the decision with the right password."""
    facts = {"text": "for floors only", "password": make.PASSWORD, **changes}
    return deviating.close_deviation(by=by, deviation=found, decision=decision, **facts)


@once
def closed(
    crew: make.Crew, batch: Batch, characteristic: str, decision: str
) -> Deviation:
    """Return a deviation of a result of a batch, looked into and decided."""
    found = deviation(crew.maker, batch.stock, characteristic)
    close(crew.reviewer, looked_into(crew.maker, found), decision)
    return found
