"""How a batch stands against its limits, in the pages of making it."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django import template
from django.template import RequestContext
from django.urls import reverse

from batches.models import Batch, Reading, Titration
from batches.services.cooking import stops_finishing
from batches.services.entries import Entries
from batches.services.formulas import newest_versions
from producer.middleware import decimal_mark
from quality.services.at_once import outside_now, ph_out_of_limits, said_of
from quality.services.limits import missing_by_version, missing_of
from quality.services.reviewing import review_of

register = template.Library()


@register.inclusion_tag("quality/_open_findings.html", takes_context=True)
def open_findings(context: RequestContext, batch: Batch) -> dict[str, Any]:
    """Show everything that will stop the release, and what it needs a reason for."""
    review = review_of(batch, by=context["user"], mark=decimal_mark())
    return {
        "obstacles": review.obstacles,
        "stops": stops_finishing(batch),
        "notes": review.notes if review.needs_reason else [],
    }


@register.inclusion_tag("quality/_outside_now.html", takes_context=True)
def outside_its_limits(
    context: RequestContext, batch: Batch, entries: Entries | None = None
) -> dict[str, Any]:
    """Show at once each result that lies outside, and what to do about it."""
    address = reverse("quality:deviation_open", args=[batch.number])
    return {
        "user": context["user"],
        "outside": [
            (one, f"{address}?{urlencode({'of': one.characteristic.value})}")
            for one in outside_now(batch, decimal_mark(), entries)
        ],
    }


@register.simple_tag
def against_its_limit(row: Reading | Titration) -> str:
    """Say of a result just entered that it lies outside, and what to do, or nothing."""
    return said_of(row, decimal_mark())


@register.simple_tag
def ph_outside(batch: Batch, entries: Entries) -> set[int]:
    """Return the keys of the pH readings that lie outside the limit of the batch."""
    return ph_out_of_limits(batch, entries)


@register.inclusion_tag("quality/_limits_missing.html")
def limits_missing(batch: Batch) -> dict[str, Any]:
    """Warn that a limit is missing without which this batch cannot be released."""
    version = batch.formula_version
    labels = [one.label for one in missing_of(version)]
    return {"formulas": [(version, labels)] if labels else []}


@register.inclusion_tag("quality/_limits_missing.html")
def limits_missing_each() -> dict[str, Any]:
    """Warn of each formula without the limits that a release needs, before opening."""
    missing = missing_by_version(newest_versions())
    return {
        "formulas": [
            (version, [one.label for one in lacking]) for version, lacking in missing
        ],
        "before": True,
    }
