"""Deviations of a lot, a batch or an instrument, on the pages of these."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django import template
from django.template import RequestContext
from django.urls import reverse

from producer.models import Instrument, Right, Stock
from quality.models import Characteristic
from quality.services import deviations
from quality.services.reviewing import Review

register = template.Library()
BLOCK = "quality/_deviations.html"


@register.inclusion_tag(BLOCK, takes_context=True)
def deviations_of_stock(
    context: RequestContext, stock: Stock, review: Review | None = None
) -> dict[str, Any]:
    """List the deviations of a raw lot or a batch, with the way to open one.

    With the ``review`` of a batch, also those of everything in it, and from each result
    that is out of specification and has no open deviation a way to one of that result.
    """
    known = review.around.known if review else deviations.of_stocks([stock.pk])
    address = reverse("quality:deviation_open", args=[stock.code])
    taken = {
        one.deviation.characteristic
        for one in known
        if one.is_open and one.deviation.stock_id == stock.pk
    }
    return {
        "stock": stock,
        "known": known,
        "can_open": _may_open(context),
        "address": address,
        "wanted": [
            (f"{address}?{urlencode({'of': one.value})}", one.label)
            for one in _outside(review)
            if one not in taken
        ],
    }


@register.inclusion_tag(BLOCK, takes_context=True)
def deviations_of_instrument(
    context: RequestContext, instrument: Instrument
) -> dict[str, Any]:
    """List the deviations of an instrument, with the way to open one."""
    return {
        "known": deviations.of(instruments=[instrument.pk]),
        "can_open": _may_open(context),
        "address": reverse("quality:deviation_open_instrument", args=[instrument.pk]),
        "wanted": [],
    }


def _outside(review: Review | None) -> list[Characteristic]:
    """Return what is out of specification, each once."""
    if review is None:
        return []
    outside = [
        finding.characteristic
        for finding in review.findings
        if finding.verdict is not None and not finding.acceptable
    ]
    if review.free_alkali is not None and not review.free_alkali.acceptable:
        outside.append(Characteristic.FREE_ALKALI)
    return list(dict.fromkeys(outside))


def _may_open(context: RequestContext) -> bool:
    user = context.get("user")
    return bool(user and (user.may(Right.MAKER) or user.may(Right.REVIEWER)))
