"""How often a batch was corrected, beside it on screens and prints."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import template

from batches.models import Batch
from batches.services import corrections
from batches.services.cooking import weighed_since
from batches.trace.believed import changes_of_source, made_from_it_until
from producer.models import Stock

register = template.Library()


register.filter("times_corrected", corrections.in_words)


@register.inclusion_tag("batches/_source_changes.html")
def source_changes(stock: Stock) -> dict[str, Any]:
    """List the charges that a correction moved to a stock or away from it.

    Each with what was believed to be made from the stock just before it.
    """
    changes = changes_of_source(stock.pk)
    return {
        "changes": [(one, made_from_it_until(stock.pk, one)) for one in changes],
        "stock": stock,
    }


@register.inclusion_tag("batches/_to_be_counted.html")
def to_be_counted(stock: Stock) -> dict[str, Any]:
    """Say what of a lot is to be counted, because a correction changed its book."""
    return {"places": weighed_since.to_be_counted(stock.pk)}


@register.simple_tag
def corrected(batch: Batch) -> str:
    """Show “corrected 3 times”, or nothing: ``{% corrected batch %}``."""
    return corrections.in_words(corrections.counts_of([batch.pk])[batch.pk])


@register.simple_tag
def corrected_each(batches: Iterable[Batch]) -> dict[int, str]:
    """Return the same words by batch id, all asked for at once.

    ``{% corrected_each batches as words %}``, then ``{{ words|item:batch.pk }}``.
    """
    counts = corrections.counts_of(batch.pk for batch in batches)
    return {pk: corrections.in_words(count) for pk, count in counts.items()}
