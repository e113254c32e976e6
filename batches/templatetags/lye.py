"""The block “The lye” on the pages at the pot."""

from __future__ import annotations

from typing import Any

from django import template

from batches.models import Batch
from batches.services.lye import START_C, lye_of
from batches.services.planning import Plan

register = template.Library()


@register.inclusion_tag("batches/_lye.html")
def lye_block(batch: Batch, plan: Plan) -> dict[str, Any]:
    """Show how strong the lye of a batch is and how hot it gets.

    ``{% lye_block batch plan %}``; nothing for what takes no potash.
    """
    return {"lye": lye_of(batch, plan), "start_c": START_C}
