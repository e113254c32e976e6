"""The store as a table."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

import django_tables2 as tables
from django.template.loader import render_to_string
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from batches.cover import LEAST_HISTORY
from batches.services.cover import InStore
from producer.middleware import decimal_mark
from producer.models import RawLot
from producer.quantities import format_computed_mass
from producer.tables.base import MassColumn
from producer.templatetags.kettlebook import mass


class StoreTable(tables.Table):
    """A row a material."""

    material = tables.Column(accessor="material__name", verbose_name="Material")
    usable = MassColumn(accessor="usable_mg", verbose_name="Usable")
    reserved = MassColumn(accessor="reserved_mg", verbose_name="Meant for open batches")
    days = tables.Column(verbose_name="Lasts", empty_values=(), order_by="lasts")
    lots = tables.Column(
        verbose_name="Lots, by their last day",
        order_by="next_or_never",
        attrs={"td": {"class": "roomy"}},
    )

    class Meta:
        fields = ()
        sequence = (
            "material",
            "usable",
            "reserved",
            "days",
            "lots",
        )
        empty_text = "Nothing ever came. Book a raw lot in when goods arrive."

    def render_material(self, value: str, record: InStore) -> SafeString:
        """Show the material, and below it what of it is there at all."""
        return format_html(
            '{}<div class="small">{} on hand</div>', value, mass(record.on_hand_mg)
        )

    def render_usable(self, record: InStore) -> SafeString:
        """Show what is usable, and below it what is not and why."""
        parts = []
        if record.waiting_mg:
            parts.append(f"{mass(record.waiting_mg)} held or on hold")
        if record.out_of_use_mg:
            parts.append(f"{mass(record.out_of_use_mg)} rejected or out of date")
        return format_html(
            '{}<div class="small">{}</div>', mass(record.usable_mg), "; ".join(parts)
        )

    def render_reserved(self, value: int) -> str:
        """Show what plans ask for as roughly as a plan is."""
        return about(value)

    def render_days(self, record: InStore) -> SafeString:
        """Show the days of cover, the use behind them, and what will be too late."""
        return format_html(
            '{}<div class="small">{}</div>', lasts_words(record), why_words(record)
        )

    def render_lots(self, value: Sequence[RawLot]) -> SafeString:
        """Link to the lots in the order in which they go."""
        html = render_to_string("batches/_store_lots.html", {"lots": value})
        return mark_safe(html.strip())  # noqa: S308 - our own template, which escapes


def about(mg: int | Fraction) -> str:
    """Say a mass that was computed, from a gram on to a tenth of a gram."""
    return format_computed_mass(mg, mark=decimal_mark())


def days_words(days: Fraction | None) -> str:
    """Say whole days, rounded down: what lasts 2.9 days is missing on the third."""
    if days is None:
        return "no forecast"
    whole = math.floor(days)
    return "1 day" if whole == 1 else f"{whole} days"


def lasts_words(record: InStore) -> str:
    """Say how long it lasts, and how long after what open batches mean to take."""
    if record.is_too_new:
        return "no forecast yet"
    words, after = days_words(record.days), record.days_after_meant
    return (
        words if after is None else f"{words}; after what is meant: {days_words(after)}"
    )


def why_words(record: InStore) -> str:
    """Say the mean use, and what cannot be used before its last day."""
    if record.is_too_new:
        days = "1 day" if record.window == 1 else f"{record.window} days"
        return f"{days} of history; a forecast needs {LEAST_HISTORY}."
    of = f"the last {record.window} days" if record.window > 1 else "today"
    daily = record.cover.daily_mg
    if not daily:
        words = f"Nothing was used in {of}."
    else:
        words = f"At {about(daily)} a day, the mean of {of}."
    too_late = record.cover.too_late_mg
    if not round(too_late):
        return words
    return f"{words} {about(too_late)} cannot be used before its last day."
