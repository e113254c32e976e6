"""Transcriptions: entries that were written on paper first."""

from __future__ import annotations

from django.db import models

from batches.models.batches import Batch
from producer.models import Attachment, Record


class Transcription(Record):
    """A paper sheet whose lines are typed in afterwards, with its photograph if any.

    Each entry taken from it names it, and so shows when it was observed, when it was
    entered, and that paper stands between.
    """

    batch = models.ForeignKey(
        Batch, on_delete=models.PROTECT, related_name="transcriptions"
    )
    attachment = models.ForeignKey(
        Attachment,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="transcriptions",
    )
    note = models.CharField("which sheet, and why on paper", max_length=200)

    class Meta:
        ordering = ("pk",)

    def __str__(self) -> str:
        return f"transcription {self.pk}"
