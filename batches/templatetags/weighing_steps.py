"""What stands half weighed, and the button that undoes the last entry."""

from __future__ import annotations

from typing import Any

from django import template

from batches.forms.charging import UndoForm
from batches.lifecycle import AT_THE_POT
from batches.models import Batch
from batches.services import half_weighings, undoing
from producer.models import Right

register = template.Library()


@register.inclusion_tag("batches/_half_weighings.html", takes_context=True)
def half_weighings_of(context: dict[str, Any], batch: Batch) -> dict[str, Any]:
    """List the weighings of a batch that stand incomplete, each with its two ends."""
    found = half_weighings.open_starts(batch) if batch.status in AT_THE_POT else []
    return {
        "batch": batch,
        "user": context["user"],
        "starts": [(row, half_weighings.words_of(row)) for row in found],
    }


@register.inclusion_tag("batches/_undo.html", takes_context=True)
def undo_last(context: dict[str, Any], batch: Batch, then: str = "") -> dict[str, Any]:
    """Offer to undo what this account has just entered; nothing if it cannot.

    ``then`` is the address to come back to, the page of the batch without one.
    """
    user = context["user"]
    may = user.may(Right.MAKER)
    offer = undoing.offered(batch, user) if may else undoing.Offer()
    row = offer.row
    return {
        "batch": batch,
        "then": then,
        "row": row,
        "peak": offer.above,
        "words": undoing.words_of(row) if row else "",
        "undo_form": UndoForm(auto_id=False, initial={"entry": undoing.key_of(row)})
        if row
        else None,
    }
