"""Pots for the tests of the excess alkali, and what is read from their balance."""

from __future__ import annotations

from decimal import Decimal

from django.utils import timezone

from batches.models import Batch, Titration
from batches.services import planning
from producer.models import RawLot, Stock
from quality.services.alkali import Weighed, alkali_of
from tests import make


def chosen(crew: make.Crew, batch: Batch, **lots: RawLot | None) -> Batch:
    """Choose lots by the kind of the line, or made ones; None leaves it unchosen."""
    choices: dict[int, Stock | None] = {}
    for line in batch.formula_version.lines.select_related("material"):
        assert line.material is not None
        key = line.material.name.split()[0]
        if key in lots:
            lot = lots[key]
            choices[line.pk] = lot.stock if lot else None
        else:
            choices[line.pk] = make.stock_of(crew, line)
    planning.choose_lots(by=crew.maker, batch=batch, choices=choices)
    return make.fresh(batch)


def balance(batch: Batch, *, to_the_full: bool = False) -> Weighed:
    weighed = alkali_of(batch, to_the_full=to_the_full).weighed
    assert weighed is not None
    return weighed


def names(weighed: Weighed) -> list[str]:
    return [line.quantity.name for line in weighed.budget.lines]


def share_of(weighed: Weighed, start: str) -> float:
    return sum(
        line.share
        for line in weighed.budget.lines
        if line.quantity.name.startswith(start)
    )


def free_alkali(batch: Batch, percent: str, u: str = "0.02", **changes: object) -> None:
    """Record a titration of the free alkali as the bench would."""
    by = batch.maker
    batch.stock.titrations.create(
        kind=Titration.Kind.FREE_ALKALI,
        value=Decimal(percent),
        standard_uncertainty=Decimal(u),
        titrant_concentration=Decimal("0.1"),
        scale=make.scale(by),
        **{"observed_at": timezone.now(), "entered_by": by, **changes},
    )
