"""Scanned codes that nobody should hold, as a table."""

from __future__ import annotations

import datetime

import django_tables2 as tables
from django.urls import reverse
from django.utils.safestring import SafeString

from batches.lifecycle import BottleStatus
from batches.models import ScanAlert
from producer.tables.base import DayColumn, link, status_words
from producer.templatetags.kettlebook import day
from quality.services import scan_words


class AlertTable(tables.Table):
    """A code, what is wrong with it and a day a row, those not looked into first."""

    code = tables.Column(verbose_name="Code", empty_values=())
    kind = tables.Column(verbose_name="What")
    bottle_status = tables.Column(verbose_name="Bottle", orderable=False, default="–")
    day = DayColumn(verbose_name="Day")
    count = tables.Column(verbose_name="Scans")
    seen_by = tables.Column(verbose_name="Looked into", empty_values=())

    class Meta:
        model = ScanAlert
        fields = ()
        empty_text = (
            "Nothing. Codes that were never issued, and bottles that nobody should"
            " hold, are told here when somebody opens their page."
        )

    def render_code(self, record: ScanAlert) -> SafeString | str:
        """Link to the history of the bottle, where there is one."""
        name = scan_words.name_of(record)
        known = getattr(record, "bottle_status", None)
        if known is None:
            return name
        return link(reverse("quality:bottle", args=[record.code]), name)

    def render_kind(self, record: ScanAlert) -> str:
        """Say what is wrong."""
        return scan_words.words_of(record)

    def render_bottle_status(self, value: str, record: ScanAlert) -> str:
        """Say what the bottle is recorded as, and since when."""
        since: datetime.datetime | None = getattr(record, "last_event", None)
        lot = getattr(record, "filling_lot", "")
        return f"{BottleStatus(value).label} since {day(since)}, {lot}"

    def render_seen_by(self, record: ScanAlert) -> SafeString | str:
        """Name who looked into it, or offer to."""
        if record.seen_by:
            return f"by {record.seen_by.person.name}"
        at = reverse("quality:scan_alert", args=[record.pk])
        return status_words("open", "") + link(at, "Say what it was")
