"""Raw lots and their ledger as tables."""

from __future__ import annotations

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from producer.models import RawLot, StockMovement
from producer.tables.base import DayColumn, MassColumn, MomentColumn, link, status_words


class RawLotTable(tables.Table):
    """The list of raw lots."""

    code = tables.Column(accessor="stock__code", verbose_name="Code")
    material = tables.Column(accessor="material__name", verbose_name="Material")
    supplier = tables.Column(accessor="supplier__name", verbose_name="Supplier")
    status = tables.Column(verbose_name="Status")
    on_hand = MassColumn(accessor="stock__on_hand_mg", verbose_name="On hand")
    received_on = DayColumn(verbose_name="Received")
    expires_on = DayColumn(verbose_name="Expires")

    class Meta:
        model = RawLot
        fields = ()
        sequence = (
            "code",
            "material",
            "supplier",
            "status",
            "on_hand",
            "received_on",
            "expires_on",
        )
        empty_text = "No raw lot here. Book one in when goods arrive."

    def render_code(self, value: str) -> SafeString:
        """Link to the lot."""
        return link(reverse("producer:lot", args=[value]), value)

    def render_material(self, value: str, record: RawLot) -> SafeString:
        """Say below the material where the lot is kept: a column of its own is wide."""
        if not record.place:
            return format_html("{}", value)
        return format_html('{}<div class="small">{}</div>', value, record.place)

    def render_status(self, record: RawLot) -> SafeString:
        """Show word and shape."""
        return status_words(record.status, record.get_status_display())


class MovementTable(tables.Table):
    """The ledger of one stock."""

    observed_at = MomentColumn(verbose_name="When")
    kind = tables.Column(verbose_name="What")
    amount_mg = MassColumn(verbose_name="Amount")
    balance_mg = MassColumn(verbose_name="Then on hand")
    purpose = tables.Column(verbose_name="For")
    person = tables.Column(accessor="entered_by__person__name", verbose_name="By")
    reason = tables.Column(verbose_name="Why", orderable=False)

    class Meta:
        model = StockMovement
        fields = ()
        orderable = False
        empty_text = "Nothing has moved yet."

    def render_kind(self, record: StockMovement) -> SafeString:
        """Show the kind in words, and the container where one is named."""
        kind = record.get_kind_display()
        if record.container is None:
            return format_html("{}", kind)
        return format_html(
            '{}<div class="small">container {}</div>', kind, record.container.number
        )
