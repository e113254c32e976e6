"""A judgement for somebody who hates statistics: what it could be, and what to do.

Numbers take the decimal mark they are given.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Final

from producer.quantities import format_number
from quality.models import Characteristic, Limit
from quality.statistics.conformity import doubtful_ends, method_fit
from quality.statistics.rounding import rounded

NOT_THAT_OIL: Final = (
    "it may be another oil than the label says: ask the supplier, titrate it, or reject"
    " it"
)
# What to do where it is too high, and where it is too low.
REMEDIES: Final = {
    Characteristic.PH: (
        "cook on or correct the alkali, then test again",
        "look at a portion in hot water, correct the alkali, then test again",
    ),
    Characteristic.YIELD_VARIANCE: (
        "check every tare and weigh again, or drive more water off",
        "look for a loss nobody wrote down, and weigh again",
    ),
    Characteristic.FREE_ALKALI: (
        "cook on, correct the alkali, and titrate again",
        "look at a portion in hot water: oil may be left",
    ),
    Characteristic.SOAP_CONTENT: (
        "it is stronger than agreed: dilute it further as a new batch",
        "it is weaker than agreed: blend it with a stronger one, or reject it",
    ),
    Characteristic.NET_CONTENT: (
        "the bottles hold more than agreed: fill less next time",
        "top the bottles up and weigh them again",
    ),
    Characteristic.ASSAY: (
        "read the certificate again, or titrate the potash yourself",
        "ask the supplier, titrate it yourself, or reject it",
    ),
    Characteristic.SAPONIFICATION_VALUE: (
        NOT_THAT_OIL,
        NOT_THAT_OIL,
    ),
}
TOO_COARSE: Final = " This way of measuring is too coarse for these limits."


def said(
    characteristic: Characteristic,
    *,
    value: Decimal,
    expanded_uncertainty: Decimal,
    limit: Limit,
    unit: str,
    by: str,
    better: str,
    mark: str = ".",
) -> str:
    """Return what a value means for who made it, in one sentence or two.

    ``by`` is where it was read (“on this strip”), ``better`` what would be surer.
    """

    def show(number: Decimal) -> str:
        return format_number(number, mark=mark) + unit

    sides = {"lower": limit.lower, "upper": limit.upper}
    ends = doubtful_ends(value, expanded_uncertainty=expanded_uncertainty, **sides)
    could = " or ".join(show(end) for _, end in ends)
    words = f"{show(_as_known(value, expanded_uncertainty, limit))} {by}".strip()
    fit = method_fit(limit.lower, limit.upper, expanded_uncertainty)
    return _sentence(characteristic, value, limit, words, could, better) + (
        "" if fit else TOO_COARSE
    )


def _sentence(
    characteristic: Characteristic,
    value: Decimal,
    limit: Limit,
    words: str,
    could: str,
    better: str,
) -> str:
    is_high = limit.upper is not None and value > limit.upper
    is_low = limit.lower is not None and value < limit.lower
    high, low = REMEDIES[characteristic]
    if not is_high and not is_low:
        if could:
            return f"{words} could be {could}; {better}."
        return f"{words} is inside, even if it is as far off as it can be."
    side, remedy = ("too high", high) if is_high else ("too low", low)
    if could:
        return (
            f"{words} is {side}, but could be {could}; {better}. If it stays so:"
            f" {remedy}."
        )
    return f"{words} is {side}, even if it is as far off as it can be; {remedy}."


def _as_known(value: Decimal, spread: Decimal, limit: Limit) -> Decimal:
    """Return the value with the digits that are known, unless they cross a limit."""
    shown = rounded(value, spread).value
    limits = [one for one in (limit.lower, limit.upper) if one is not None]
    crosses = any(
        (shown > one, shown < one) != (value > one, value < one) for one in limits
    )
    return value if crosses else shown
