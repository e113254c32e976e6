"""Discrepancies: what was done at the pot and does not fit the book."""

from __future__ import annotations

from django.db import models

from batches.models.batches import Batch
from producer.models import Record, Stock

# How the explanation of something that was taken begins, where none of it is in the
# batch; before what the reviewer wrote, so that nobody's words can be taken for it.
NOTHING_WENT_IN = "Nothing of it went into the batch."


class Discrepancy(Record):
    """An entry kept on a device that the book could not take when it arrived.

    It happened all the same, so it is kept as it was sent, with what stood in its way.
    While one is open its batch is neither finished nor released. ``short_mg`` is what
    the stock lacks for it.
    """

    batch = models.ForeignKey(
        Batch, on_delete=models.PROTECT, related_name="discrepancies"
    )
    kind = models.CharField(max_length=30, help_text="Which entry it was to be.")
    sent = models.JSONField("what was sent")
    refused = models.TextField("why the book could not take it")
    stock = models.ForeignKey(
        Stock,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="discrepancies",
    )
    short_mg = models.BigIntegerField("the stock lacks (mg)", default=0)

    class Meta:
        ordering = ("pk",)
        verbose_name_plural = "discrepancies"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(short_mg__gte=0),
                name="discrepancy_lack_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"discrepancy {self.pk}"


class DiscrepancyEnd(Record):
    """How a discrepancy was settled: entered after all, or explained."""

    class Outcome(models.TextChoices):
        """The two ends."""

        ENTERED = "entered", "entered in the record"
        EXPLAINED = "explained", "explained, not entered"

    discrepancy = models.OneToOneField(
        Discrepancy, on_delete=models.PROTECT, related_name="end"
    )
    outcome = models.CharField(max_length=20, choices=Outcome.choices)
    reason = models.TextField()

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(outcome__in=["entered", "explained"]),
                name="discrepancy_outcome_known",
            ),
            models.CheckConstraint(
                condition=~models.Q(reason=""),
                name="discrepancy_end_has_a_reason",
                violation_error_message="Say what happened; the sentence stays.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.outcome} {self.discrepancy_id}"
