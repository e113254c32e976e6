"""The labels of a filling lot, on its page."""

from __future__ import annotations

from typing import Any

from django import template
from django.db.models import Count, Max

from batches.documents.labels import address_is_local
from batches.models import FillingLot, LabelCount
from batches.services import labelling

register = template.Library()


@register.inclusion_tag("batches/_labels_of_lot.html", takes_context=True)
def labels_of_lot(context: dict[str, Any], lot: FillingLot) -> dict[str, Any]:
    """Show what was issued for a filling lot, what was counted, and if it closes."""
    issues = lot.label_issues.select_related("label", "entered_by__person")
    counts = LabelCount.objects.current().filter(filling_lot=lot)
    return {
        "user": context["user"],
        "public_url": context.get("public_url", ""),
        "lot": lot,
        "issues": issues.annotate(
            labels=Count("copies"), newest_copy=Max("copies__copy")
        ).order_by("pk"),
        "counts": counts.select_related("supersedes", "entered_by__person"),
        "standing": labelling.reconciliation(lot),
        "refused": labelling.why_not_labelled(lot),
        "address_is_local": address_is_local(),
    }
