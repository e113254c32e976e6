"""Builders about liquids: a portion set aside, a density measured."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from batches.models import Batch, LiquidReading, Portion
from batches.services import liquid_readings, portions
from tests import make


def set_aside(
    crew: make.Crew, batch: Batch, mass_mg: int = 10_000, **more: Any
) -> Portion:
    """Set so much of what a batch made aside."""
    return portions.set_aside(by=crew.maker, batch=batch, mass_mg=mass_mg, **more)


def measured(
    crew: make.Crew, batch: Batch, value: str = "1.02", temperature: str = "20"
) -> LiquidReading:
    """Record the density of a liquid."""
    return liquid_readings.record(
        by=crew.maker,
        batch=batch,
        kind="density",
        value=Decimal(value),
        temperature=Decimal(temperature),
    )
