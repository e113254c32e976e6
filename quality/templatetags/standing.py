"""What still stands open before a batch is finished, in the pages of making it."""

from __future__ import annotations

from typing import Any

from django import template

from batches.models import Batch
from quality.services.judging import findings

register = template.Library()


@register.inclusion_tag("quality/_open_findings.html")
def open_findings(batch: Batch) -> dict[str, Any]:
    """Show each result that is missing or fails, with the sentence what to do.

    Those that stop a release apart from those that only need a reason.
    """
    found = findings(batch)
    return {
        "findings": [one for one in found if one.stops],
        "warnings": [one for one in found if one.warns],
    }
