"""Limits that would make no sense or would let pass what can hurt: refused when set.

Common practice of soap making, no source, but for what is named beside it.
"""

from __future__ import annotations

import dataclasses
from decimal import Decimal
from typing import Final

from producer.errors import Refusal
from quality.models import Characteristic, Limit
from quality.statistics.conformity import RULES

# Where a wrong pass hurts, the ± must count.
NEVER_SIMPLE: Final = frozenset({Characteristic.PH, Characteristic.FREE_ALKALI})


@dataclasses.dataclass(frozen=True, kw_only=True)
class Range:
    """Between which figures a limit makes sense, and why not beyond."""

    low: Decimal
    high: Decimal
    why: str


RANGES: Final = {
    Characteristic.PH: Range(
        low=Decimal(6),
        high=Decimal(13),
        why="Below, potassium soap splits; above, it is lye.",
    ),
    # Four times what counts as irritant, see MOST_FREE_ALKALI_PERCENT.
    Characteristic.FREE_ALKALI: Range(
        low=Decimal(0), high=Decimal(2), why="With more in it, it is lye and no soap."
    ),
    Characteristic.YIELD_VARIANCE: Range(
        low=Decimal(-60),
        high=Decimal(5),
        why="What boils off makes it negative, and no pot makes mass.",
    ),
    Characteristic.ASSAY: Range(
        low=Decimal(40), high=Decimal(100), why="It is in percent of the potash."
    ),
    Characteristic.SOAP_CONTENT: Range(
        low=Decimal(0), high=Decimal(100), why="It is in percent of what came out."
    ),
    Characteristic.NET_CONTENT: Range(
        low=Decimal(90),
        high=Decimal(120),
        why="It is in percent of what the label says.",
    ),
}


def check(limit: Limit) -> None:
    """Refuse a limit that makes no sense, with the sentence that says why."""
    characteristic = Characteristic(limit.characteristic)
    _both_sides_of_ph(limit, characteristic)
    _within(limit, characteristic)
    if characteristic in NEVER_SIMPLE and RULES[limit.rule].bands == 0:
        raise Refusal(
            f"{characteristic.label} is judged with its ±: alkali burns. Choose a rule"
            " with a guard band.",
            field="rule",
        )


def _both_sides_of_ph(limit: Limit, characteristic: Characteristic) -> None:
    if characteristic != Characteristic.PH:
        return
    for side, value in (("lower", limit.lower), ("upper", limit.upper)):
        if value is None:
            raise Refusal(
                f"pH needs a lower and an upper limit; the {side} one is missing. Too"
                " high burns, and too low the soap splits.",
                field=side,
            )


def _within(limit: Limit, characteristic: Characteristic) -> None:
    allowed = RANGES.get(characteristic)
    if allowed is None:
        return
    for side, value in (("lower", limit.lower), ("upper", limit.upper)):
        if value is not None and not allowed.low <= value <= allowed.high:
            low = f"{allowed.low}".replace("-", "−")
            raise Refusal(
                f"A limit of {characteristic.label} lies between {low} and"
                f" {allowed.high}. {allowed.why} Check the figure and its sign.",
                field=side,
            )
