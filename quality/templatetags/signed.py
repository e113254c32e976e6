"""Signatures of one batch or several, wherever somebody decides by them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import template

from batches.models import Batch
from quality.services import as_signed

register = template.Library()


@register.inclusion_tag("quality/_signature_list.html")
def signatures_of(batch: Batch) -> dict[str, Any]:
    """List the signatures of a batch, each with its meaning and what befell it."""
    return {"signatures": as_signed.signatures_of([batch.pk])}


@register.inclusion_tag("quality/_signature_list.html")
def signatures_of_each(batches: Iterable[Batch]) -> dict[str, Any]:
    """List the signatures of several batches, in one query and one for the marks."""
    ids = [batch.pk for batch in batches]
    return {"signatures": as_signed.signatures_of(ids), "with_batch": True}
