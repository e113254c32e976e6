"""Excess alkali by a titration of the free alkali: share times paste."""

from __future__ import annotations

import dataclasses
from decimal import Decimal
from typing import Any

from batches.chemistry import excess as chemistry
from batches.models import Titration
from batches.services.entries import Entries, standing
from batches.services.results import yield_of
from quality.services.judgement import outdated
from quality.statistics.budgets import Budget, Quantity, budget, rectangular, triangular


@dataclasses.dataclass(frozen=True, kw_only=True)
class Titrated:
    """E by the free alkali that was titrated; grams of KOH and percent of the paste."""

    budget: Budget
    percent: Decimal
    uncertainty_percent: Decimal
    paste_mg: int
    over: float


def last_titration(entries: Entries) -> tuple[Titration | None, str]:
    """Return the last titration of the free alkali that counts, or why it does not."""
    rows = standing(entries.titrations)
    free = [row for row in rows if row.kind == Titration.Kind.FREE_ALKALI]
    last = free[-1] if free else None
    if last is not None and outdated(entries, last):
        return None, (
            "The free alkali was titrated before the last charge went in. Titrate it"
            " again."
        )
    return last, ""


def titrated(
    entries: Entries, titration: Titration, limits: chemistry.Limits
) -> Titrated | None:
    """Return E = share × paste ± u of a titration, or None where nothing is in it."""
    percent = titration.value or Decimal(0)
    spread = titration.standard_uncertainty or Decimal(0)
    result = yield_of(entries.batch, entries)
    paste_mg = result.actual_mg or result.theoretical_mg
    if not paste_mg:
        return None
    share = Quantity(
        name="free alkali as titrated",
        value=float(percent),
        standard_uncertainty=float(spread),
        unit="%",
        origin=titration.method or titration.get_kind_display(),
    )
    masses = _paste(entries, paste_mg)
    return Titrated(
        budget=budget(_share_of, [share, *masses], unit="g"),
        percent=percent,
        uncertainty_percent=spread,
        paste_mg=paste_mg,
        over=chemistry.probability_above(
            limits.free_alkali_percent,
            value=float(percent),
            uncertainty=float(spread),
        ),
    )


def _share_of(percent: Any, mass: Any, bias: Any = 0.0) -> Any:
    """Return grams of KOH in a paste; the ± of the scale adds to its mass."""
    return percent / 100 * (mass + bias)


def _paste(entries: Entries, paste_mg: int) -> list[Quantity]:
    weighing = entries.weighing
    if weighing is None:
        return [
            Quantity(
                name="mass of the paste",
                value=paste_mg / 1000,
                standard_uncertainty=0.0,
                unit="g",
                origin="all that went in; what boiled off makes it less",
            )
        ]
    scale = weighing.scale
    mass = triangular(
        "mass of the paste",
        paste_mg / 1000,
        scale.resolution,
        unit="g",
        origin=f"weighed on {scale.name}",
    )
    if not scale.bias_half_width:
        return [mass]
    return [
        mass,
        rectangular(f"± of the scale {scale.name}", 0, scale.bias_half_width, unit="g"),
    ]
