"""Recalls as a table."""

from __future__ import annotations

import django_tables2 as tables
from django.urls import reverse
from django.utils.safestring import SafeString

from producer.tables.base import MomentColumn, link, status_words
from quality.models import Recall


class RecallTable(tables.Table):
    """Recalls, newest first."""

    code = tables.Column(verbose_name="Recall")
    subject = tables.Column(verbose_name="Of", orderable=False)
    is_mock = tables.Column(verbose_name="Kind")
    status = tables.Column(verbose_name="Status")
    opened_at = MomentColumn(verbose_name="Opened")
    closed_at = MomentColumn(verbose_name="Closed", default="")

    class Meta:
        model = Recall
        fields = ()
        empty_text = "No recall. Begin with what is wrong, as said above."

    def render_code(self, value: str) -> SafeString:
        """Link to the recall."""
        return link(reverse("quality:recall", args=[value]), value)

    def render_is_mock(self, value: object) -> str:
        """Say MOCK where it is one."""
        return "MOCK" if value in (True, "True", "✔") else "recall"

    def render_status(self, record: Recall) -> SafeString:
        """Show word and shape."""
        return status_words(record.status, record.get_status_display())
