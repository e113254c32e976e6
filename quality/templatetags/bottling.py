"""How far a filling lot has come, for its page among those of making."""

from __future__ import annotations

import dataclasses
from typing import Any

from django import template
from django.utils import timezone

from batches.models import FillingLot
from producer.models import Right
from producer.services.checks import local_day
from quality.services import (
    filling_release,
    filling_steps,
    may_leave,
    sample_changes,
)

register = template.Library()


@register.inclusion_tag("quality/_filling_next.html", takes_context=True)
def filling_next(context: template.Context, lot: FillingLot) -> dict[str, Any]:
    """Show the steps of a filling lot, and the next thing to do on top."""
    found = filling_release.looked_at(lot)
    steps = filling_steps.steps_of(found)
    step = filling_steps.next_of(steps)
    user = context["user"]
    # A step leads to its page only those who may do it.
    shown = [
        one if user.may(one.right) else dataclasses.replace(one, url="")
        for one in steps
    ]
    page = {"found": found, "steps": shown, "next": step}
    if step is not None and not user.may(step.right):
        whose = f"{step.words} This is for a {step.right.label.lower()}."
        page["whose"] = whose.strip()
    return page


@register.inclusion_tag("quality/_send_some.html")
def send_some(lot: FillingLot) -> dict[str, Any]:
    """Lead to sending bottles of a filling lot, or say what stands in the way."""
    door = may_leave.door_of(lot, local_day(timezone.now()))
    return {"lot": lot, "door": door}


@register.inclusion_tag("quality/_filling_record.html", takes_context=True)
def filling_record(context: template.Context, lot: FillingLot) -> dict[str, Any]:
    """Show where the mass of a filling went, its samples and its release."""
    found = filling_release.looked_at(lot)
    rows = filling_steps.mass_rows(found.balance) if found.balance else []
    return {"user": context["user"], "found": found, "lot": lot, "rows": rows}


@register.inclusion_tag("quality/_sample_changes.html", takes_context=True)
def sample_changes_of(context: template.Context, lot: FillingLot) -> dict[str, Any]:
    """Say that a kept sample changed, and lead to what can be done about it."""
    user = context["user"]
    may = user.may(Right.MAKER) or user.may(Right.REVIEWER)
    return {"found": sample_changes.changes_of(lot), "lot": lot, "may": may}
