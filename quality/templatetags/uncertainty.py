"""Numbers that are not exact, in templates: rounded to what is known of them."""

from __future__ import annotations

import math
from decimal import Decimal

from django import template

from producer.middleware import decimal_mark
from producer.quantities import format_number
from quality.charts.bars import budget_bars, percent_of
from quality.statistics import uncertainty
from quality.statistics.budgets import Budget
from quality.statistics.rounding import as_decimal, rounded, rounded_up, to_place
from quality.statistics.simulation import Agreement, Simulation, compare

register = template.Library()
register.simple_tag(budget_bars)
register.filter("share", percent_of)

SHARP = 5  # beyond so many zeros a number is written with a power of ten
LARGE = 9
SUPERSCRIPT = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


@register.filter
def with_uncertainty(budget: Budget) -> str:
    """Show a result as “x ± U”: U with two digits rounded up, x to the same place."""
    both = rounded(budget.value, budget.expanded_uncertainty)
    return both.text(mark=decimal_mark())


@register.filter
def spread(uncertainty: float | Decimal) -> str:
    """Show an uncertainty alone: two digits, rounded up."""
    return to_place(rounded_up(as_decimal(uncertainty)), mark=decimal_mark())


@register.filter
def expanded(standard_uncertainty: Decimal) -> Decimal:
    """Return U = 2·u, as everywhere beside a result."""
    return uncertainty.expanded(standard_uncertainty)


@register.filter
def significant(value: float | Decimal, digits: int = 3) -> str:
    """Show a number with so many significant digits, closing zeros dropped.

    Very small and very large ones get a power of ten.
    """
    number = as_decimal(float(f"{float(value):.{digits}g}"))
    exponent = number.adjusted() if number else 0
    if -SHARP <= exponent < LARGE:
        return format_number(number, mark=decimal_mark())
    front = format_number(number.scaleb(-exponent), mark=decimal_mark())
    return f"{front} × 10{str(exponent).translate(SUPERSCRIPT)}"


@register.filter
def chance(probability: float) -> str:
    """Show a probability, 0 to 1, as people can use it: “3 %”, “< 0.1 %”, “> 99.9 %”.

    No risk is shown as nought and none as certain: what was left out of the budget is
    always larger than such a number.
    """
    mark = decimal_mark()
    least, digits = Decimal("0.1"), as_decimal(probability * 100)
    if digits < least:
        return f"< {format_number(least, mark=mark)} %"
    if digits > 100 - least:
        return f"> {format_number(100 - least, mark=mark)} %"
    places = 0 if 1 <= digits <= 99 else 1  # noqa: PLR2004 - percent
    return f"{format_number(digits, mark=mark, places=places)} %"


@register.filter
def finite(number: float) -> bool:
    """Say whether a number is finite: degrees of freedom often are not."""
    return math.isfinite(number)


@register.simple_tag
def agreement(budget: Budget, simulation: Simulation) -> Agreement:
    """Return how far a simulation lies from the budget."""
    return compare(budget, simulation)
