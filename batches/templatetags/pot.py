"""Tags of the pot screen: fields in two parts, short times, excursions."""

from __future__ import annotations

import datetime
from typing import Any

from django import template
from django.forms import BoundField, Form
from django.utils import timezone

from batches.excursions import Excursion
from batches.forms.typed import typed
from batches.models import Batch
from batches.services.entries import Entries
from batches.services.excursions import excursions_of, sentence
from producer.middleware import decimal_mark
from producer.wall_clock import on_the_wall

register = template.Library()

register.filter(typed)


@register.filter
def only(form: Form, names: str) -> list[BoundField]:
    """Return the fields of these names: ``{% for field in form|only:"a,b" %}``."""
    wanted = names.split(",")
    return [form[name] for name in wanted if name in form.fields]


@register.filter
def but(form: Form, names: str) -> list[BoundField]:
    """Return the visible fields without those of these names."""
    left_out = set(names.split(","))
    return [field for field in form.visible_fields() if field.name not in left_out]


@register.filter
def clock(at: datetime.datetime | None) -> str:
    """Show when something was, by the clock on the wall: “14:05”, or “4 Oct, 14:05”."""
    if at is None:
        return "–"
    local = timezone.localtime(at)
    shown = on_the_wall(local)
    is_today = local.date() == timezone.localdate()
    return shown if is_today else f"{local.day} {local:%b}, {shown}"


@register.filter
def in_full(one: Excursion) -> str:
    """Show an excursion in words, with what the readings leave open and its class."""
    return sentence(one, mark=decimal_mark())


@register.inclusion_tag("batches/_excursions.html")
def excursions_block(batch: Batch, entries: Entries | None = None) -> dict[str, Any]:
    """List the times at which a batch was above its limit; nothing if it never was."""
    return {"excursions": excursions_of(batch, entries)}
