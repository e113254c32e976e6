"""The log of sprays as tables: tanks mixed, leaves tried."""

from __future__ import annotations

import datetime

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from batches.models import PatchTest, SprayMix
from batches.services.spraying import SOONEST
from producer.tables.base import (
    MassColumn,
    MomentColumn,
    NumberColumn,
    link,
    status_words,
)

LOOKS = {
    PatchTest.Result.UNHARMED: ("pass", "unharmed"),
    PatchTest.Result.HARMED: ("fail", "harmed"),
}


class MixTable(tables.Table):
    """Tanks mixed for own use, newest first."""

    code = tables.Column(verbose_name="Mix")
    observed_at = MomentColumn(verbose_name="When")
    plant = tables.Column(verbose_name="Plant")
    pest = tables.Column(verbose_name="Pest")
    where = tables.Column(verbose_name="Where")
    source = tables.Column(verbose_name="Of batch", orderable=False)
    target_g_per_l = NumberColumn(verbose_name="g/l")
    mass_mg = MassColumn(verbose_name="Product")
    entered_by = tables.Column(
        accessor="entered_by__person__name", verbose_name="Who", orderable=False
    )

    class Meta:
        model = SprayMix
        fields = ()
        prefix = "m"
        empty_text = (
            "No tank was mixed yet. Go to a released batch, and to “Mix a spray”."
        )

    def render_code(self, value: str) -> SafeString:
        """Link to the mix."""
        return link(reverse("quality:mix", args=[value]), value)

    def render_source(self, value: object) -> SafeString:
        """Link to the batch."""
        return link(reverse("batches:batch", args=[value]), str(value))


class PatchTestTable(tables.Table):
    """Leaves that were sprayed first."""

    code = tables.Column(verbose_name="Test")
    plant = tables.Column(verbose_name="Plant")
    target_g_per_l = NumberColumn(verbose_name="g/l")
    source = tables.Column(verbose_name="Of batch", orderable=False)
    sprayed_at = MomentColumn(verbose_name="Sprayed")
    result = tables.Column(verbose_name="The leaf")
    note = tables.Column(verbose_name="Note", orderable=False)
    next = tables.Column(empty_values=(), orderable=False, verbose_name="Next")

    class Meta:
        model = PatchTest
        fields = ()
        prefix = "t"
        empty_text = "No leaf was tried yet. Begin on the page of a released batch."

    def __init__(
        self, *args: object, may: bool, now: datetime.datetime, **options: object
    ) -> None:
        self.may, self.now = may, now
        super().__init__(*args, **options)

    def render_source(self, value: object) -> SafeString:
        """Link to the batch."""
        return link(reverse("batches:batch", args=[value]), str(value))

    def render_result(self, record: PatchTest) -> SafeString:
        """Say how the leaf is, by word and shape."""
        result = PatchTest.Result(record.result)
        if result in LOOKS:
            return status_words(*LOOKS[result])
        if record.sprayed_at <= self.now - SOONEST:
            return status_words("retest_due", "look now")
        return status_words("planned", "wait a day")

    def render_next(self, record: PatchTest) -> str | SafeString:
        """Lead to looking at the leaf, and to taking the test back."""
        if not self.may:
            return ""
        words = "Look at it" if record.result == "waiting" else "Look again"
        return format_html(
            '<a href="{}">{}</a> <a href="{}">Take back</a>',
            reverse("quality:patch_test_look", args=[record.code]),
            words,
            reverse("quality:patch_test_void", args=[record.code]),
        )
