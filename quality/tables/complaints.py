"""Complaints as a table."""

from __future__ import annotations

import django_tables2 as tables
from django.urls import reverse
from django.utils.safestring import SafeString

from producer.tables.base import MomentColumn, link, status_words
from quality.complaint_life import Conclusion
from quality.models import ComplaintAccount
from quality.services import complaints


class ComplaintTable(tables.Table):
    """Complaints, the open ones first."""

    code = tables.Column(accessor="complaint__code", verbose_name="Complaint")
    about = tables.Column(empty_values=(), orderable=False, verbose_name="Of")
    nature = tables.Column(verbose_name="About what")
    was_hurt = tables.Column(verbose_name="Somebody hurt")
    status = tables.Column(empty_values=(), orderable=False, verbose_name="Status")
    observed_at = MomentColumn(verbose_name="Came")

    class Meta:
        model = ComplaintAccount
        fields = ()
        empty_text = "No complaint here."

    def render_code(self, value: str) -> SafeString:
        """Link to the complaint."""
        return link(reverse("quality:complaint", args=[value]), value)

    def render_about(self, record: ComplaintAccount) -> str:
        """Say what it is about."""
        return complaints.about(record)

    def render_was_hurt(self, record: ComplaintAccount) -> str:
        """Say whether somebody was hurt."""
        return "yes" if record.was_hurt else "no"

    def render_status(self, record: ComplaintAccount) -> SafeString:
        """Show open or closed, and what came of it, by word and shape."""
        slug = "open" if complaints.is_open(record) else "closed"
        concluded = complaints.conclusion_of(record)
        words = f": {Conclusion(concluded).label}" if concluded else ""
        return status_words(slug, f"{slug}{words}")
