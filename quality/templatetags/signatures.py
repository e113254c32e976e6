"""Signatures in the pages of making: may it still be corrected, does it still count."""

from __future__ import annotations

from typing import Any

from django import template

from batches.models import Batch
from producer.models import User
from quality.models import SignatureMark
from quality.services import changing, holding, marks

register = template.Library()


@register.simple_tag(takes_context=True)
def may_change(context: dict[str, Any], batch: Batch) -> bool:
    """Say whether who looks may correct what is signed; never on a print.

    ``{% may_change batch as can_change %}``
    """
    user = context.get("user")
    return (
        isinstance(user, User)
        and any(user.may(right) for right in changing.RIGHTS)
        and changing.is_closed(batch)
    )


@register.simple_tag
def later_changes(mark: SignatureMark) -> list[tuple[changing.Row, str]]:
    """Return what was changed after a signature was void already, in words."""
    return changing.later_changes(mark)


@register.inclusion_tag("quality/_standing_marks.html")
def signature_marks(batch: Batch) -> dict[str, Any]:
    """Show what happened to the basis of the last signature over the findings.

    Nothing where that signature stands as it was given.
    """
    last = marks.newest(batch)
    marked = last is not None and bool(last.marks.all())
    held = holding.last_hold(batch)
    return {
        "batch": batch,
        "signature": last,
        "is_void": last is not None and marks.is_void(last),
        "on_hold": batch.status == "on_hold",
        "held": held,
        "out": marks.bottles_out([batch.pk]) if marked or held else [],
        "caustic": changing.caustic_and_out(batch) if marked else 0,
    }
