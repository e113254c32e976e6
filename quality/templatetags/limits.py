"""Limits and what is held against them, in the pages of goods and of filling."""

from __future__ import annotations

from typing import Any

from django import template

from producer.middleware import decimal_mark
from producer.models import RawLot
from quality.services import goods
from quality.services.judgement import Finding
from quality.services.limits import possible

register = template.Library()


@register.filter
def plainly(finding: Finding) -> str:
    """Show a judgement in a sentence for somebody who hates statistics."""
    return finding.in_plain_words(decimal_mark())


@register.inclusion_tag("quality/_lot_limits.html")
def lot_limits(lot: RawLot) -> dict[str, Any]:
    """Show a lot held against each limit of its material; nothing of water and acids.

    As it is known today: the decision that was taken has its judgement in the journal.
    """
    return {
        "lot": lot,
        "findings": goods.findings_of(lot),
        "possible": possible(material=lot.material),
    }
