"""Consecutive numbers for lots, batches, filling lots, dispatches and recalls."""

from __future__ import annotations

from django.db import models

from producer.codes import FIRST_YEAR, LAST_YEAR, numbered_code
from producer.errors import Refusal
from producer.models import NumberSeries


def next_code(prefix: str, year: int) -> str:
    """Give out the next code of a series, such as ``L26-0017-8``.

    The series row is locked until the surrounding transaction ends, so no number is
    given out twice; one that was rolled back is given out again.
    """
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise Refusal(f"The year {year} is not possible. Check the date.")
    name = f"{prefix}{year}"
    NumberSeries.objects.get_or_create(name=name, defaults={"last": 0})
    NumberSeries.objects.filter(name=name).update(last=models.F("last") + 1)
    number = NumberSeries.objects.values_list("last", flat=True).get(name=name)
    return numbered_code(prefix, year, number)
