"""Whose work a deviation is about, and who explained it: people, never accounts."""

from __future__ import annotations

import datetime
from typing import Any

from django.db import models

from batches.models import Batch
from producer.models import Stock, StockMovement, User
from quality.models import Deviation, DeviationStep, InstrumentCheck
from quality.services.deviations import Standing
from quality.services.reviewing import hands_in, last_entry_at

Kind = DeviationStep.Kind
EXPLAINING = (Kind.CAUSE, Kind.TEST, Kind.ACTION)


def is_own_work(by: User, deviation: Deviation) -> bool:
    """Say whether the person behind ``by`` had a hand in what it is about, or in it."""
    return by.person_id in hands_of(deviation) | explained_by(deviation)


def explained_by(deviation: Deviation) -> set[int]:
    """Return the ids of the people who wrote cause, further test or action.

    Nobody judges their own explanation. Who opened it or changed the class explained
    nothing: what was noticed by a reviewer can be decided by that reviewer.
    """
    return _people(deviation.steps.filter(kind__in=EXPLAINING))


def hands_of(deviation: Deviation) -> set[int]:
    """Return the ids of the people whose work it is about: people, never accounts.

    Of a batch, who made it or entered something in it; of a raw lot, who booked
    anything about it in; of an instrument, who checked it.
    """
    stock = deviation.stock
    if stock is None:
        return _people(InstrumentCheck.objects.filter(instrument=deviation.instrument))
    if stock.kind == Stock.Kind.BATCH:
        return hands_in(Batch.objects.get(pk=stock.pk))
    return _people(
        stock.movements.filter(kind=StockMovement.Kind.RECEIPT),
        stock.lot.certificates.all(),
        stock.titrations.all(),
        stock.container_weighings.all(),
    )


def last_at(found: Standing) -> datetime.datetime:
    """Return when something was last entered in it, or in its batch."""
    deviation = found.deviation
    times = [deviation.entered_at, *(step.entered_at for step in found.steps)]
    if deviation.stock is not None and deviation.stock.kind == Stock.Kind.BATCH:
        times.append(last_entry_at(Batch.objects.get(pk=deviation.stock.pk)))
    return max(times)


def what_of(by: User, deviation: Deviation) -> str:
    """Return what ``by`` made, so that “You made this …” is said of it."""
    if by.person_id not in hands_of(deviation):
        return "explanation: a cause, a further test or an action of it"
    if deviation.stock is None:
        return "check of this instrument"
    if deviation.stock.kind == Stock.Kind.BATCH:
        return "batch or entered something in it"
    return "entry of the raw lot"


def _people(*tables: models.QuerySet[Any]) -> set[int]:
    """Return the people who entered any of these rows."""
    return {
        person
        for rows in tables
        for person in rows.order_by().values_list("entered_by__person", flat=True)
    }
