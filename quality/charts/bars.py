"""A budget as a picture: one bar per input, as long as its share of the variance."""

from __future__ import annotations

import math
from collections.abc import Sequence

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from producer.quantities import MINUS
from quality.statistics.budgets import Budget, Line

MOST_BARS = 8  # the others are one bar together: they are small, or none dominates
LONGEST_NAME = 30  # letters that fit beside the percentage on a phone
ROW = 46  # pixels from one bar to the next
BASE = 17  # of the words, from the top of a row
BAR_TOP, BAR_HEIGHT = 24, 12

Bar = tuple[str, float]


def budget_bars(budget: Budget) -> SafeString:
    """Return the shares as an SVG picture with a text alternative.

    “” where nothing is uncertain.
    It has no width of its own and no colour but that of the words around it, so that
    it fits a phone, a dark page and a print. A share below zero, of an input that
    takes away from what others do, is an open bar.
    """
    if budget.dominant is None:
        return SafeString("")
    bars = _bars(budget.lines)
    rows = format_html_join(
        "", "{}", ((_row(place, bar),) for place, bar in enumerate(bars))
    )
    told = "; ".join(f"{name} {percent_of(share)}" for name, share in bars)
    return format_html(
        '<svg class="bars" role="img" width="100%" height="{}" fill="currentColor"'
        ' font-size="13" font-family="sans-serif"'
        ' aria-label="Share of each input in the uncertainty: {}">{}</svg>',
        len(bars) * ROW,
        told,
        rows,
    )


def _bars(lines: Sequence[Line]) -> list[Bar]:
    bars = [(line.quantity.name, line.share) for line in lines]
    if len(bars) <= MOST_BARS:
        return bars
    shown, others = bars[: MOST_BARS - 1], bars[MOST_BARS - 1 :]
    rest = math.fsum(share for _, share in others)
    return [*shown, (f"the other {len(others)} together", rest)]


def _row(place: int, bar: Bar) -> SafeString:
    name, share = bar
    top = place * ROW
    width = f"{min(abs(share), 1) * 100:.2f}%"
    return format_html(
        '<text x="0" y="{}">{}</text>'
        '<text x="100%" y="{}" text-anchor="end">{}</text>'
        '<rect x="0" y="{}" width="100%" height="{}" fill-opacity="0.15"/>'
        '<rect x="0" y="{}" width="{}" height="{}"{}/>',
        top + BASE,
        _shortened(name),
        top + BASE,
        percent_of(share),
        top + BAR_TOP,
        BAR_HEIGHT,
        top + BAR_TOP,
        width,
        BAR_HEIGHT,
        SafeString(' fill="none" stroke="currentColor"') if share < 0 else "",
    )


def percent_of(share: float) -> str:
    """Return a share as whole percent; “< 1 %” for what is there but small."""
    percent = round(share * 100)
    if not percent and share:
        return "< 1 %"
    return f"{percent} %".replace("-", MINUS)


def _shortened(name: str) -> str:
    """Return both ends of a long name: two oils often differ only at the end."""
    if len(name) <= LONGEST_NAME:
        return name
    front = LONGEST_NAME // 2
    return f"{name[:front].rstrip()}…{name[front - LONGEST_NAME + 1 :].lstrip()}"
