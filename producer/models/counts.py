"""Stock-takes: what was counted, beside the book, all in one go."""

from __future__ import annotations

from django.db import models

from producer.models.containers import Container
from producer.models.records import Record
from producer.models.stock import Stock, StockMovement


class StockTake(Record):
    """One going round with scale and list."""

    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("-pk",)

    def __str__(self) -> str:
        return f"stock-take {self.pk}"


class StockCount(Record):
    """What one lot, or one container of it, was found to hold.

    ``movement`` is the adjustment that set the book to it, empty where they agreed.
    """

    take = models.ForeignKey(StockTake, on_delete=models.PROTECT, related_name="counts")
    stock = models.ForeignKey(Stock, on_delete=models.PROTECT, related_name="counts")
    container = models.ForeignKey(
        Container,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="counts",
    )
    book_mg = models.BigIntegerField("in the book (mg)")
    counted_mg = models.BigIntegerField("counted (mg)")
    movement = models.ForeignKey(
        StockMovement,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="counts",
    )
    reason = models.TextField("why they differ", blank=True)

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(counted_mg__gte=0), name="count_not_negative"
            ),
            models.CheckConstraint(
                condition=models.Q(
                    book_mg=models.F("counted_mg"), movement__isnull=True
                )
                | (
                    ~models.Q(book_mg=models.F("counted_mg"))
                    & models.Q(movement__isnull=False)
                    & ~models.Q(reason="")
                ),
                name="count_that_differs_has_movement_and_reason",
                violation_error_message="Say why count and book differ.",
            ),
        ]

    def __str__(self) -> str:
        return f"count {self.pk}"
