"""How often a batch was corrected, beside it on screens and prints."""

from __future__ import annotations

from collections.abc import Iterable

from django import template

from batches.models import Batch
from batches.services import corrections

register = template.Library()


register.filter("times_corrected", corrections.in_words)


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
