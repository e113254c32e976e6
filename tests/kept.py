"""Entries that a device kept and the book could not take, for any test."""

from __future__ import annotations

import uuid
from decimal import Decimal
from typing import Any

from django.utils import timezone

from batches.models import Batch, Discrepancy, Reading
from batches.services import cooking, discrepancies
from tests import make


def entry(**changes: Any) -> discrepancies.Entry:
    """Return a temperature as a device sent it."""
    facts = {
        "kind": "temperature",
        "title": "temperature",
        "path": "/",
        "fields": {"value": "71,5"},
        "shown": [["Temperature (°C)", "71,5"]],
        "figures": {"value": "71.5"},
        "observed_at": timezone.now(),
    }
    return discrepancies.Entry(**{**facts, **changes})


def facts(crew: make.Crew, batch: Batch | None = None) -> dict[str, Any]:
    """Return what recording it takes."""
    return {
        "by": crew.maker,
        "batch": batch or make.open_batch(crew),
        "entry": entry(),
        "refused": "It came too late.",
    }


def discrepancy(crew: make.Crew, batch: Batch | None = None) -> Discrepancy:
    """Return a temperature that the book could not take."""
    return discrepancies.record(**facts(crew, batch))


def entering(crew: make.Crew) -> dict[str, Any]:
    """Return what entering it after all takes: the ordinary service does it."""
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    probe = make.thermometer(crew.maker)

    def do(submission: uuid.UUID | None) -> Reading:
        return cooking.record_reading(
            by=crew.maker,
            batch=batch,
            characteristic="temperature",
            value=Decimal("71.5"),
            instrument=probe,
            submission=submission,
        )

    found = discrepancy(crew, batch)
    said = {"kind": "temperature", "figures": {"value": "71.5"}}
    return {"by": crew.maker, "discrepancy": found, "do": do, **said}


def explaining(crew: make.Crew) -> dict[str, Any]:
    """Return what explaining it takes."""
    return {
        "by": crew.reviewer,
        "discrepancy": discrepancy(crew),
        "reason": "the other pot",
        "went_in": False,
    }
