"""Deviations as a table."""

from __future__ import annotations

import django_tables2 as tables
from django.urls import reverse
from django.utils.safestring import SafeString

from producer.tables.base import MomentColumn, link, status_words
from quality.models import Deviation, DeviationStep
from quality.services import deviations


class DeviationTable(tables.Table):
    """Deviations, the open ones first."""

    code = tables.Column(verbose_name="Deviation")
    of = tables.Column(empty_values=(), orderable=False, verbose_name="Of")
    what = tables.Column(orderable=False, verbose_name="What happened")
    grade = tables.Column(empty_values=(), orderable=False, verbose_name="Class")
    status = tables.Column(empty_values=(), orderable=False, verbose_name="Status")
    observed_at = MomentColumn(verbose_name="Noticed")

    class Meta:
        model = Deviation
        fields = ()
        empty_text = (
            "No deviation here. Open one from the page of a batch, a raw lot or an"
            " instrument."
        )

    def render_code(self, value: str) -> SafeString:
        """Link to the deviation."""
        return link(reverse("quality:deviation", args=[value]), value)

    def render_of(self, record: Deviation) -> str:
        """Say what it is about, and which result."""
        result = deviations.subject(record.characteristic)
        return f"{deviations.name_of(record)}{': ' if result else ''}{result}"

    def render_grade(self, record: Deviation) -> str:
        """Show the class that holds now."""
        given = getattr(record, "given", None) or record.classification
        return Deviation.Class(given).label

    def render_status(self, record: Deviation) -> SafeString:
        """Show open, or how it ended, by word and shape."""
        decision = getattr(record, "decision", None)
        if decision is None:
            return status_words("open", "open")
        slug = "rejected" if decision == DeviationStep.Decision.REJECTED else "closed"
        return status_words(slug, DeviationStep.Decision(decision).label)
