"""Stock-takes as a table."""

from __future__ import annotations

import django_tables2 as tables
from django.urls import reverse
from django.utils.safestring import SafeString

from producer.models import StockTake
from producer.tables.base import MomentColumn, link


class StockTakeTable(tables.Table):
    """The list of stock-takes."""

    pk = tables.Column(verbose_name="Stock-take")
    observed_at = MomentColumn(verbose_name="Counted")
    counted = tables.Column(verbose_name="Counts")
    differing = tables.Column(verbose_name="Of them other than the book")
    person = tables.Column(accessor="entered_by__person__name", verbose_name="By")
    note = tables.Column(verbose_name="Note", orderable=False)

    class Meta:
        model = StockTake
        fields = ()
        sequence = ("pk", "observed_at", "counted", "differing", "person", "note")
        empty_text = "Nothing was counted yet."

    def render_pk(self, value: int) -> SafeString:
        """Link to the stock-take."""
        return link(reverse("producer:stock_take", args=[value]), f"No. {value}")
