"""Judgements and differences, as they are shown."""

from __future__ import annotations

from decimal import Decimal

from django import template
from django.utils.safestring import SafeString

from producer.middleware import decimal_mark
from producer.quantities import format_number
from quality.charts import window
from quality.services.reading_order.judgements import Shown

register = template.Library()


@register.simple_tag
def window_picture(shown: Shown) -> SafeString:
    """Draw a value with its ± between its limits; nothing where there is no value."""
    return window.window_picture(shown, decimal_mark())


@register.filter
def signed(value: Decimal, places: int) -> str:
    """Show a difference with its sign, a plus too: “+1.2”, “−0.4”, “0.0”."""
    shown = format_number(value, mark=decimal_mark(), places=places)
    above = value > 0 and any(digit in "123456789" for digit in shown)
    return f"+{shown}" if above else shown
