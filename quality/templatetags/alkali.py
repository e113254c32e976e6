"""The excess alkali of a batch, summed up in the pages of making it."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import template

from batches.models import Batch
from batches.services.entries import Entries
from producer.middleware import decimal_mark
from producer.quantities import format_number
from quality.services.alkali import Alkali, alkali_of, words
from quality.statistics.budgets import Budget
from quality.statistics.rounding import as_decimal

register = template.Library()


@register.inclusion_tag("quality/_alkali_summary.html")
def alkali_summary(
    batch: Batch,
    *,
    weighing: bool = False,
    known: Alkali | None = None,
    entries: Entries | None = None,
) -> dict[str, Any]:
    """Show E ± U and both risks; ``weighing`` as if the rest were weighed exactly.

    ``known`` is what is known of it already, so that it is not worked out twice, and
    ``entries`` are the rows of the batch, where the page has read them.
    """
    return {
        "batch": batch,
        "alkali": known or alkali_of(batch, to_the_full=weighing, entries=entries),
        "weighing": weighing,
    }


@register.simple_tag
def known_alkali(batch: Batch, entries: Entries | None = None) -> Alkali:
    """Return what is known of the excess alkali of a batch, for several places."""
    return alkali_of(batch, entries=entries)


@register.inclusion_tag("quality/_alkali_caution.html")
def alkali_caution(batch: Batch, known: Alkali) -> dict[str, Any]:
    """Warn above what comes next, where the risk of an open cook says to stop."""
    stops = batch.is_open and batch.kind == "cook" and known.level == "stop"
    return {
        "batch": batch,
        "alkali": known,
        "stops": stops,
        "is_to_correct": words.is_to_correct(known),
    }


@register.filter
def in_words(budget: Budget) -> str:
    """Show E as “1.2 ± 3.4 g left over” or “… lacking”."""
    return words.excess_in_words(budget, mark=decimal_mark())


@register.filter
def amount(budget: Budget) -> str:
    """Show E alone, for a large figure."""
    return words.amount_in_words(budget, mark=decimal_mark())


@register.filter
def doubt(budget: Budget) -> str:
    """Show that E cannot be told from none, or nothing."""
    return words.doubt_in_words(budget)


@register.filter
def verdict(alkali: Alkali) -> str:
    """Show what the risks mean, in plain words."""
    return words.verdict(alkali, mark=decimal_mark())


@register.filter
def grams_signed(grams: float) -> str:
    """Show grams of KOH to a tenth as “1.2 g left over” or “1.2 g lacking”."""
    amount = as_decimal(abs(grams))
    side = "lacking" if grams < 0 else "left over"
    return f"{format_number(amount, mark=decimal_mark(), places=1)} g {side}"


@register.filter
def as_percent(share: Decimal | float) -> str:
    """Show a share, exact as it is, in percent: ``0.0125`` → “1.25 %”."""
    return f"{format_number(as_decimal(share * 100), mark=decimal_mark())} %"
