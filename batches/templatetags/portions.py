"""The portions of a batch, on its page."""

from __future__ import annotations

from typing import Any

from django import template

from batches.models import Batch, Portion
from batches.services.entries import WHO
from batches.services.portion_books import outside_mg, portions_of
from producer.models import Right

register = template.Library()


@register.inclusion_tag("batches/_portions.html", takes_context=True)
def portions_block(context: dict[str, Any], batch: Batch) -> dict[str, Any]:
    """Show where what is on hand stands: each portion with what is left, and the rest.

    Nothing before the batch was weighed out. What was amended stays legible below.
    """
    known = portions_of(batch)
    may = context["user"].may(Right.MAKER)
    return {
        "batch": batch,
        "portions": known,
        "outside_mg": outside_mg(batch, known) if known else batch.stock.on_hand_mg,
        "former": _former(batch) if known else [],
        "can_add": may and bool(batch.stock.on_hand_mg),
        "can_amend": may,
    }


def _former(batch: Batch) -> list[Portion]:
    """Return the rows that count no more, and those that took one back."""
    rows = Portion.objects.filter(batch=batch).select_related(
        "place", "batch__stock", *WHO
    )
    return [row for row in rows if row.is_void or hasattr(row, "superseded_by")]
