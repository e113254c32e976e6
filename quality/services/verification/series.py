"""The numbers given out: each series is at the highest code in use.

A series that is behind gives a number out a second time.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db import models

from batches.models import Dispatch, FillingLot, PatchTest, SprayMix
from producer.codes import FIRST_YEAR, is_numbered_code
from producer.models import NumberSeries, Stock
from quality.models import Complaint, Deviation, Recall
from quality.services.verification.checks import Remark

NUMBERED: tuple[type[models.Model], ...] = (
    Stock,
    FillingLot,
    Dispatch,
    SprayMix,
    PatchTest,
    Recall,
    Deviation,
    Complaint,
)


def faults() -> Iterator[str]:
    """Yield a fault for each series behind its codes, a remark for one ahead."""
    highest: dict[str, tuple[int, str]] = {}
    for model in NUMBERED:
        codes: models.QuerySet[Any] = models.QuerySet(model)
        for code in codes.values_list("code", flat=True).iterator():
            if is_numbered_code(code):  # else the journal says what it was
                name, number = _series_of(code)
                highest[name] = max(highest.get(name, (0, "")), (number, code))
    last = dict(NumberSeries.objects.values_list("name", "last"))
    for name in sorted(highest.keys() | last.keys()):
        number, code = highest.get(name, (0, "no code"))
        given = last.get(name, 0)
        if given < number:
            yield (
                f"The number series {name} is at {given}, but {code} is in use: a"
                " number would be given out twice."
            )
        elif given > number:
            yield Remark(
                f"The number series {name} is at {given}, but the highest in use is"
                f" {code}: numbers in between are missing."
            )


def _series_of(code: str) -> tuple[str, int]:
    """Return the series of a code and its number in it, as they were given out.

    >>> _series_of("L26-0017-8")
    ('L2026', 17)
    """
    start, number, _ = code.split("-")
    return f"{start[0]}{FIRST_YEAR + int(start[1:])}", int(number)
