"""Complaints about a bottle, a filling lot or a batch, on the pages of these."""

from __future__ import annotations

from typing import Any

from django import template
from django.template import RequestContext

from batches.models import Batch, Bottle, FillingLot
from producer.models import Right
from quality.models import ComplaintAccount
from quality.services import complaints

register = template.Library()
BLOCK = "quality/_complaints.html"


@register.inclusion_tag(BLOCK, takes_context=True)
def complaints_of_batch(context: RequestContext, batch: Batch) -> dict[str, Any]:
    """List the complaints about a batch and its bottles, with the way to a new one."""
    return _block(context, complaints.of_batches([batch.pk]), batch.number)


@register.inclusion_tag(BLOCK, takes_context=True)
def complaints_of_lot(context: RequestContext, lot: FillingLot) -> dict[str, Any]:
    """List the complaints about a filling lot and its bottles."""
    return _block(context, complaints.of_filling_lot(lot), lot.code)


@register.inclusion_tag(BLOCK, takes_context=True)
def complaints_of_bottle(context: RequestContext, bottle: Bottle) -> dict[str, Any]:
    """List the complaints about the filling lot of a bottle: its sisters' too."""
    found = complaints.of_filling_lot(bottle.filling_lot)
    return _block(context, found, bottle.code)


def _block(
    context: RequestContext, rows: list[ComplaintAccount], code: str
) -> dict[str, Any]:
    user = context.get("user")
    return {
        "rows": [(one, complaints.about(one), complaints.is_open(one)) for one in rows],
        "code": code,
        "can_open": bool(user and (user.may(Right.MAKER) or user.may(Right.REVIEWER))),
    }
